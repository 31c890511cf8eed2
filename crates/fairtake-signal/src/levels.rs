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

/// Levels of samples that stream by.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Levels {
    /// Highest absolute sample.
    pub peak: f64,
    /// Sum of samples.
    pub sum: f64,
    /// Sum of squares.
    pub squares: f64,
}

impl Levels {
    /// Takes in what was found of a short stretch.
    #[inline(always)]
    pub(crate) fn add(&mut self, found: &Look) {
        self.peak = self.peak.max(f64::from(found.peak));
        self.sum += f64::from(found.sum);
        self.squares += f64::from(found.squares);
    }

    /// Takes in the levels of further samples.
    pub fn join(&mut self, other: &Levels) {
        self.peak = self.peak.max(other.peak);
        self.sum += other.sum;
        self.squares += other.squares;
    }
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

/// What one look at a short stretch finds; sums in f32 are exact enough for its length.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Look {
    /// Sum of squares of the samples.
    pub squares: f32,
    /// Sum of squares of the steps from each sample to the next.
    pub steps: f32,
    /// Sum of the samples.
    pub sum: f32,
    /// Highest absolute sample.
    pub peak: f32,
}

/// So many samples are looked at together.
const LANES: usize = 8;

/// All that is wanted of one stretch at once; for use inside [`Work`].
#[inline(always)]
pub(crate) fn look(stretch: &[f32]) -> Look {
    let mut lanes = Lanes::default();
    let (first, later) = stretch.split_at(LANES.min(stretch.len()));
    let (now, rest) = later.as_chunks::<LANES>();
    if let Some(first) = first.first_chunk::<LANES>() {
        // The first sample has none before it: no step.
        lanes.take(first, &[first[0], first[0], first[1], first[2], first[3], first[4], first[5], first[6]]);
        let before = stretch[LANES - 1..].as_chunks::<LANES>().0;
        for (now, before) in now.iter().zip(before) {
            lanes.take(now, before);
        }
    }
    let last = if first.len() < LANES { first } else { rest };
    let n_before = stretch.len() - last.len();
    for (k, x) in last.iter().enumerate() {
        lanes.take_one(k, *x, stretch[(n_before + k).saturating_sub(1)]);
    }
    let total = |lanes: &[f32; LANES]| lanes.iter().sum::<f32>();
    Look {
        squares: total(&lanes.squares),
        steps: total(&lanes.steps),
        sum: total(&lanes.sum),
        peak: lanes.peak.iter().fold(0f32, |a, x| a.max(*x)),
    }
}

#[derive(Default)]
struct Lanes {
    squares: [f32; LANES],
    steps: [f32; LANES],
    sum: [f32; LANES],
    peak: [f32; LANES],
}

impl Lanes {
    #[inline(always)]
    fn take(&mut self, now: &[f32; LANES], before: &[f32; LANES]) {
        for k in 0..LANES {
            self.take_one(k, now[k], before[k]);
        }
    }

    #[inline(always)]
    fn take_one(&mut self, k: usize, x: f32, before: f32) {
        let (step, size) = (x - before, x.abs());
        self.squares[k] += x * x;
        self.steps[k] += step * step;
        self.sum[k] += x;
        self.peak[k] = if size > self.peak[k] { size } else { self.peak[k] };
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
    fn one_look_finds_what_four_would() {
        for n in [0usize, 1, 5, 8, 15, 16, 17, 110, 120] {
            let x: Vec<f32> = (0..n).map(|i| ((i * 7) % 13) as f32 - 6.0).collect();
            // Exact: all are whole numbers below 2^24.
            let expected = Look {
                squares: x.iter().map(|x| x * x).sum(),
                steps: x.windows(2).map(|w| (w[1] - w[0]).powi(2)).sum(),
                sum: x.iter().sum(),
                peak: x.iter().fold(0.0, |a, x| a.max(x.abs())),
            };
            assert_eq!(look(&x), expected, "{n}");
        }
    }
}
