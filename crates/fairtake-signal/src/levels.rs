//! Plain levels of a slice.

/// Highest absolute sample; 0 for none.
pub fn sample_peak(samples: &[f32]) -> f64 {
    f64::from(samples.iter().fold(0f32, |a, s| a.max(s.abs())))
}

/// Sum of squares.
pub fn energy(samples: &[f32]) -> f64 {
    // Eight sums at a time: no chain of additions, and little rounding.
    let mut sums = [0f64; 8];
    let mut chunks = samples.chunks_exact(8);
    for chunk in &mut chunks {
        for (s, x) in sums.iter_mut().zip(chunk) {
            *s += f64::from(*x) * f64::from(*x);
        }
    }
    sums.iter().sum::<f64>() + chunks.remainder().iter().map(|x| f64::from(*x).powi(2)).sum::<f64>()
}

/// Sum of products, of two slices of one length. Sixteen sums at a time: no chain of additions.
pub fn dot(a: &[f32], b: &[f32]) -> f32 {
    let ((a, a_rest), (b, b_rest)) = (a.as_chunks::<16>(), b.as_chunks::<16>());
    let mut sums = [0f32; 16];
    for (a, b) in a.iter().zip(b) {
        for ((s, x), y) in sums.iter_mut().zip(a).zip(b) {
            *s += x * y;
        }
    }
    sums.iter().sum::<f32>() + a_rest.iter().zip(b_rest).map(|(x, y)| x * y).sum::<f32>()
}

/// Sum of samples.
pub fn sum(samples: &[f32]) -> f64 {
    samples.chunks(4096).map(|c| f64::from(c.iter().sum::<f32>())).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_fast_sum_of_products_is_the_slow_one() {
        for n in [0usize, 5, 16, 100] {
            let a: Vec<f32> = (0..n).map(|i| i as f32).collect();
            let b: Vec<f32> = (0..n).map(|i| 3.0 - i as f32).collect();
            // Exact: all are whole numbers below 2^24.
            let slow: f32 = a.iter().zip(&b).map(|(x, y)| x * y).sum();
            assert_eq!(dot(&a, &b), slow);
        }
    }
}
