//! One-way random effects: how much of a spread lies between groups and how much within them.
//!
//! Groups are placements, what varies within them are hits; groups may differ in size.

use crate::describe::describe;
use crate::student::t_factor;
use statrs::distribution::{ChiSquared, ContinuousCDF, FisherSnedecor};

/// Lower and upper end.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interval {
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

/// Variance components with what follows from them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Components {
    /// Number of groups.
    pub n_groups: usize,
    /// Number of values in all.
    pub n_values: usize,
    /// Variance between groups, by restricted maximum likelihood; 0 or more.
    pub between: f64,
    /// Interval of the variance between groups (approximate).
    pub between_interval: Interval,
    /// Variance within groups, by restricted maximum likelihood.
    pub within: f64,
    /// Interval of the variance within groups (exact for normal values).
    pub within_interval: Interval,
    /// Share of the variance that lies between groups: between/(between + within).
    pub intraclass: f64,
    /// Interval of that share (exact for normal values).
    pub intraclass_interval: Interval,
    /// Mean over groups, weighted as the components ask.
    pub mean: f64,
    /// Its standard error.
    pub mean_standard_error: f64,
    /// Interval of the mean, by Student's t with groups − 1 degrees of freedom.
    pub mean_interval: Interval,
}

/// Sizes, means and the sum of squares within groups: all that the components need.
struct Sums {
    groups: Vec<(f64, f64)>,
    n: f64,
    within_squares: f64,
}

impl Sums {
    fn k(&self) -> f64 {
        self.groups.len() as f64
    }

    /// Weighted mean of group means at the ratio between/within, the sum of squares around it, and the sum of
    /// the weights n/(1 + n·ratio).
    fn weighted(&self, ratio: f64) -> (f64, f64, f64) {
        let weight = |n: f64| n / (1.0 + n * ratio);
        let total: f64 = self.groups.iter().map(|(n, _)| weight(*n)).sum();
        let mean = self.groups.iter().map(|(n, m)| weight(*n) * m).sum::<f64>() / total;
        let squares = self.groups.iter().map(|(n, m)| weight(*n) * (m - mean).powi(2)).sum();
        (mean, squares, total)
    }

    /// Minus twice the restricted log-likelihood at a ratio, the variance within groups profiled out.
    fn deviance(&self, ratio: f64) -> f64 {
        let (_, squares, total) = self.weighted(ratio);
        let spread: f64 = self.groups.iter().map(|(n, _)| (n * ratio).ln_1p()).sum();
        (self.n - 1.0) * (self.within_squares + squares).ln() + spread + total.ln()
    }

    /// Derivative of [`Sums::deviance`] by the ratio.
    fn deviance_slope(&self, ratio: f64) -> f64 {
        let weight = |n: f64| n / (1.0 + n * ratio);
        let (mean, squares, total) = self.weighted(ratio);
        let squares_slope: f64 = self.groups.iter().map(|(n, m)| -(weight(*n) * (m - mean)).powi(2)).sum();
        let total_slope: f64 = self.groups.iter().map(|(n, _)| -weight(*n).powi(2)).sum();
        (self.n - 1.0) * squares_slope / (self.within_squares + squares) + total + total_slope / total
    }

    /// Mean square around the weighted mean over the mean square within: F-distributed at the true ratio, and
    /// falling as the ratio grows.
    fn f_at(&self, ratio: f64) -> f64 {
        let (_, squares, _) = self.weighted(ratio);
        (squares / (self.k() - 1.0)) / (self.within_squares / (self.n - self.k()))
    }
}

/// Variance components of `groups`, with intervals of the given confidence.
///
/// Shape: one slice per group, sizes may differ; empty groups do not count. `None` with fewer than two groups,
/// or without any spread within groups: nothing separates the components then.
///
/// # Source
/// Restricted likelihood of the one-way model with the variance within profiled out (own derivation, the textbook's
/// in the balanced case). Interval of the ratio of components: Wald (1940), Ann. Math. Statist. 11, exact for
/// unequal groups too. Interval of the component between groups: Williams (1962), with the unweighted means of
/// Thomas and Hultquist (1978) for unequal groups (all from memory). Checked against
/// `reference/11_random_effects.toml` and by simulation for unequal groups.
pub fn components(groups: &[&[f64]], confidence: f64) -> Option<Components> {
    let described: Vec<_> = groups.iter().filter_map(|g| describe(g)).collect();
    let sums = Sums {
        groups: described.iter().map(|d| (d.n as f64, d.mean)).collect(),
        n: described.iter().map(|d| d.n as f64).sum(),
        within_squares: described.iter().map(|d| d.sd.map_or(0.0, |sd| sd * sd * (d.n as f64 - 1.0))).sum(),
    };
    let (k, n) = (sums.k(), sums.n);
    if described.len() < 2 || n <= k || sums.within_squares <= 0.0 || !sums.within_squares.is_finite() {
        return None;
    }
    let ratio = likeliest_ratio(&sums);
    let (mean, squares, total) = sums.weighted(ratio);
    let within = (sums.within_squares + squares) / (n - 1.0);
    let mean_standard_error = (within / total).sqrt();
    let half_width = t_factor(confidence, k - 1.0) * mean_standard_error;
    let tail = (1.0 - confidence) / 2.0;
    let f_law = FisherSnedecor::new(k - 1.0, n - k).ok()?;
    let (f_low, f_high) = (f_law.inverse_cdf(tail), f_law.inverse_cdf(1.0 - tail));
    let share = |ratio: f64| ratio / (1.0 + ratio);
    let within_law = ChiSquared::new(n - k).ok()?;
    Some(Components {
        n_groups: described.len(),
        n_values: n as usize,
        between: ratio * within,
        between_interval: between_interval(&sums, tail, f_low, f_high)?,
        within,
        within_interval: Interval {
            low: sums.within_squares / within_law.inverse_cdf(1.0 - tail),
            high: sums.within_squares / within_law.inverse_cdf(tail),
        },
        intraclass: share(ratio),
        intraclass_interval: Interval {
            low: share(ratio_where_f_is(&sums, f_high)),
            high: share(ratio_where_f_is(&sums, f_low)),
        },
        mean,
        mean_standard_error,
        mean_interval: Interval { low: mean - half_width, high: mean + half_width },
    })
}

/// The ratio between/within of the least deviance: a coarse look over 12 decades, then the zero of the slope.
fn likeliest_ratio(sums: &Sums) -> f64 {
    let at = |step: i32| 10f64.powf(f64::from(step) / 4.0);
    let coarse = (-24..=24).min_by(|a, b| sums.deviance(at(*a)).total_cmp(&sums.deviance(at(*b))));
    let middle = coarse.unwrap_or(0);
    let (mut low, mut high) = (at(middle - 1), at(middle + 1));
    for _ in 0..100 {
        let middle = 0.5 * (low + high);
        if sums.deviance_slope(middle) < 0.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
    let best = 0.5 * (low + high);
    if sums.deviance(0.0) <= sums.deviance(best) { 0.0 } else { best }
}

/// The ratio at which [`Sums::f_at`] takes a value, by bisection; 0 where it is smaller from the start.
fn ratio_where_f_is(sums: &Sums, f: f64) -> f64 {
    if sums.f_at(0.0) <= f {
        return 0.0;
    }
    let (mut low, mut high) = (0.0_f64, 1.0_f64);
    while sums.f_at(high) > f && high < 1e12 {
        low = high;
        high *= 2.0;
    }
    for _ in 0..200 {
        let middle = 0.5 * (low + high);
        if sums.f_at(middle) > f {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

/// Williams' interval of the variance between groups, on unweighted means of groups.
fn between_interval(sums: &Sums, tail: f64, f_low: f64, f_high: f64) -> Option<Interval> {
    let k = sums.k();
    let harmonic_size = k / sums.groups.iter().map(|(n, _)| 1.0 / n).sum::<f64>();
    let means: Vec<f64> = sums.groups.iter().map(|(_, m)| *m).collect();
    let between_squares = harmonic_size * describe(&means)?.sd?.powi(2) * (k - 1.0);
    let f = between_squares / (k - 1.0) / (sums.within_squares / (sums.n - k));
    let law = ChiSquared::new(k - 1.0).ok()?;
    let end = |chi_square: f64, f_quantile: f64| {
        (between_squares / (harmonic_size * chi_square) * (1.0 - f_quantile / f)).max(0.0)
    };
    if f <= 0.0 {
        return Some(Interval { low: 0.0, high: 0.0 });
    }
    Some(Interval { low: end(law.inverse_cdf(1.0 - tail), f_high), high: end(law.inverse_cdf(tail), f_low) })
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand_chacha::ChaCha8Rng;
    use rand_chacha::rand_core::SeedableRng;
    use rand_distr::{Distribution, StandardNormal};

    #[test]
    fn what_cannot_be_separated_gives_no_answer() {
        assert_eq!(components(&[&[1.0, 2.0]], 0.95), None);
        assert_eq!(components(&[&[1.0], &[2.0], &[3.0]], 0.95), None);
        assert_eq!(components(&[&[1.0, 1.0], &[2.0, 2.0]], 0.95), None);
        assert_eq!(components(&[&[], &[2.0, 3.0]], 0.95), None);
    }

    #[test]
    fn groups_that_differ_less_than_chance_have_no_variance_between_them() {
        let c = components(&[&[1.0, 5.0], &[5.0, 1.1], &[1.2, 5.1]], 0.95).expect("spread within");
        assert_eq!((c.between, c.intraclass, c.between_interval.low), (0.0, 0.0, 0.0));
    }

    #[test]
    fn intervals_of_unequal_groups_cover_about_as_often_as_they_say() {
        let sizes = [2, 3, 5, 8, 13, 4];
        let (between_sd, within_sd) = (1.5, 1.0);
        let truth = [between_sd * between_sd, within_sd * within_sd, 2.25 / 3.25, 10.0];
        let mut rng = ChaCha8Rng::seed_from_u64(3);
        let mut n_covered = [0_u32; 4];
        let n_experiments = 2000;
        for _ in 0..n_experiments {
            let groups: Vec<Vec<f64>> = sizes
                .iter()
                .map(|n| {
                    let shift: f64 = StandardNormal.sample(&mut rng);
                    let mut value = || {
                        let error: f64 = StandardNormal.sample(&mut rng);
                        10.0 + between_sd * shift + within_sd * error
                    };
                    (0..*n).map(|_| value()).collect()
                })
                .collect();
            let slices: Vec<&[f64]> = groups.iter().map(Vec::as_slice).collect();
            let c = components(&slices, 0.95).expect("spread within");
            let intervals = [c.between_interval, c.within_interval, c.intraclass_interval, c.mean_interval];
            for (covered, (interval, truth)) in n_covered.iter_mut().zip(intervals.iter().zip(truth)) {
                *covered += u32::from(interval.low <= truth && truth <= interval.high);
            }
        }
        // Exact limits: at 0.95 the chance of fewer than 1867 or more than 1931 of 2,000 is about 0.0005 each.
        for (name, covered) in ["between", "within", "intraclass", "mean"].iter().zip(n_covered) {
            assert!((1867..=1931).contains(&covered), "{name}: {covered} of {n_experiments}");
        }
    }
}
