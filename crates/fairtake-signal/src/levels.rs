//! Plain levels of a slice.

use fairtake_transform::{Work, widest};

/// Highest absolute sample; 0 for none.
pub fn sample_peak(samples: &[f32]) -> f64 {
    f64::from(greatest(samples))
}

/// Greatest absolute value; 0 for none.
pub(crate) fn greatest(samples: &[f32]) -> f32 {
    widest(Greatest(samples))
}

/// Sum of squares.
pub fn energy(samples: &[f32]) -> f64 {
    widest(Energy(samples))
}

/// Sum of samples.
pub fn sum(samples: &[f32]) -> f64 {
    widest(Sum(samples))
}

// Several sums or comparisons at a time: no chain of one waiting for the other.

struct Greatest<'a>(&'a [f32]);

impl Work for Greatest<'_> {
    type Out = f32;

    #[inline(always)]
    fn done(self) -> f32 {
        let (chunks, rest) = self.0.as_chunks::<32>();
        let mut lanes = [0f32; 32];
        for chunk in chunks {
            for (lane, x) in lanes.iter_mut().zip(chunk) {
                let size = x.abs();
                *lane = if size > *lane { size } else { *lane };
            }
        }
        lanes.iter().chain(rest).fold(0f32, |a, x| a.max(x.abs()))
    }
}

struct Energy<'a>(&'a [f32]);

impl Work for Energy<'_> {
    type Out = f64;

    #[inline(always)]
    fn done(self) -> f64 {
        let (chunks, rest) = self.0.as_chunks::<16>();
        let mut sums = [0f64; 16];
        for chunk in chunks {
            for (s, x) in sums.iter_mut().zip(chunk) {
                *s += f64::from(*x) * f64::from(*x);
            }
        }
        sums.iter().sum::<f64>() + rest.iter().map(|x| f64::from(*x).powi(2)).sum::<f64>()
    }
}

/// Sum of the squares of what is made of each value of `a` and the one at its place in `b`; for use inside [`Work`].
#[inline(always)]
pub(crate) fn sum_of_squares(a: &[f32], b: &[f32], of: impl Fn(f32, f32) -> f32) -> f32 {
    let n = a.len().min(b.len());
    let ((a, a_rest), (b, b_rest)) = (a[..n].as_chunks::<32>(), b[..n].as_chunks::<32>());
    let mut sums = [0f32; 32];
    for (a, b) in a.iter().zip(b) {
        for ((s, x), y) in sums.iter_mut().zip(a).zip(b) {
            let value = of(*x, *y);
            *s += value * value;
        }
    }
    let square = |(x, y): (&f32, &f32)| of(*x, *y).powi(2);
    sums.iter().sum::<f32>() + a_rest.iter().zip(b_rest).map(square).sum::<f32>()
}

struct Sum<'a>(&'a [f32]);

impl Work for Sum<'_> {
    type Out = f64;

    #[inline(always)]
    fn done(self) -> f64 {
        let mut total = 0.0;
        // In parts, so that f32 is exact enough.
        for part in self.0.chunks(4096) {
            let (chunks, rest) = part.as_chunks::<32>();
            let mut sums = [0f32; 32];
            for chunk in chunks {
                sums.iter_mut().zip(chunk).for_each(|(s, x)| *s += x);
            }
            total += sums.iter().chain(rest).map(|x| f64::from(*x)).sum::<f64>();
        }
        total
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_greatest_is_found_wherever_it_lies() {
        for at in 0..40 {
            let mut x = [0.25f32; 40];
            x[at] = -0.5;
            assert_eq!(sample_peak(&x), 0.5);
        }
        assert_eq!(sample_peak(&[]), 0.0);
    }

    #[test]
    fn the_fast_sums_are_the_slow_ones() {
        for n in [0usize, 5, 16, 100] {
            let a: Vec<f32> = (0..n).map(|i| i as f32).collect();
            let b: Vec<f32> = (0..n).map(|i| 3.0 - i as f32).collect();
            // Exact: all are whole numbers below 2^24.
            let slow: f32 = a.iter().zip(&b).map(|(x, y)| (x - y).powi(2)).sum();
            assert_eq!(sum_of_squares(&a, &b, |x, y| x - y), slow);
            assert_eq!(sum(&a), a.iter().map(|x| f64::from(*x)).sum::<f64>());
        }
    }
}
