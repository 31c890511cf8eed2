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

/// Sum of samples.
pub fn sum(samples: &[f32]) -> f64 {
    samples.chunks(4096).map(|c| f64::from(c.iter().sum::<f32>())).sum()
}
