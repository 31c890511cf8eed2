//! Effective number of correlated units, pooled over columns and samples.

use crate::matrix::Matrix;

/// Lag-1 autocorrelation as far as it is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lag1 {
    /// Best value, −0.3..=0.95; below zero only by chance, and not cut off so that its error keeps its middle.
    pub value: f64,
    /// Its standard error.
    pub sd: f64,
    /// How many columns that are independent of each other it was found from; infinite where nothing was estimated.
    pub independent_columns: f64,
}

impl Lag1 {
    /// Independent units.
    pub const NONE: Lag1 = Lag1 { value: 0.0, sd: 0.0, independent_columns: f64::INFINITY };

    /// One-sided upper bound, `z` standard errors above the best value: 0..=0.97.
    pub fn upper(&self, z: f64) -> f64 {
        (self.value.max(0.0) + z * self.sd).min(0.97)
    }
}

/// Nothing correlates more than this: beyond, a handful of units says nothing at all.
const MOST: f64 = 0.95;

/// Less than this is chance.
const LEAST: f64 = -0.3;

/// Lag-1 autocorrelation of the rows, pooled over columns and over all samples, corrected for the bias
/// of short series; 0 when nothing can be estimated.
///
/// Shape: each sample is units in order of time × columns; samples with fewer than 4 units are passed over.
///
/// # Source
/// Bias of the lag-1 estimate, −(1 + 3ρ)/n: Marriott and Pope (1954), "Bias in the estimation of
/// autocorrelations", Biometrika 41 (from memory). Variance (1 − ρ²)/n of one series (Bartlett, textbook) over the number
/// of columns that are independent of each other: `docs/methods/difference-curve.md`. Checked by simulation here and in
/// the ground truth.
pub fn lag1(samples: &[&Matrix]) -> Lag1 {
    let (mut products, mut n_columns, mut n_sum, mut n_samples) = (0.0, 0.0, 0.0, 0.0);
    // What one series tells, times the number of series that are independent of each other.
    let mut information = 0.0;
    for sample in samples.iter().filter(|s| s.n_rows() >= 4) {
        let n = sample.n_rows();
        let mut columns: Vec<Vec<f64>> = Vec::new();
        for (col, m) in sample.column_means().iter().enumerate() {
            let z: Vec<f64> = (0..n).map(|i| sample.at(i, col) - m).collect();
            let ss: f64 = z.iter().map(|v| v * v).sum();
            // Every column weighs alike: a loud spread in one band must not decide for all.
            if ss > 0.0 {
                products += z.windows(2).map(|w| w[0] * w[1]).sum::<f64>() / ss;
                n_columns += 1.0;
                columns.push(z.iter().map(|v| v / ss.sqrt()).collect());
            }
        }
        information += n as f64 * independent_columns(&columns);
        n_sum += n as f64;
        n_samples += 1.0;
    }
    if n_columns == 0.0 {
        return Lag1::NONE;
    }
    let n = n_sum / n_samples;
    let raw = products / n_columns;
    // E(raw) ≈ ρ − (1 + 4ρ)/n for Σz_t·z_{t+1}/Σz_t²: the −(1 + 3ρ)/n above and −ρ/n for the missing term.
    let correction = (1.0 - 4.0 / n).max(0.2);
    let value = ((raw + 1.0 / n) / correction).clamp(LEAST, MOST);
    let sd = ((1.0 - value.max(0.0).powi(2)) / information.max(1.0)).sqrt() / correction;
    Lag1 { value, sd, independent_columns: information / n_sum }
}

/// The best value of [`lag1`] alone, 0..=0.95.
pub fn pooled_lag1(samples: &[&Matrix]) -> f64 {
    lag1(samples).value.max(0.0)
}

/// How many independent columns the columns are worth, m²/Σr², from columns of unit length: with r the correlation of
/// every two. Its chance part, 1/(n − 1) in every r², makes this too few rather than too many.
fn independent_columns(columns: &[Vec<f64>]) -> f64 {
    let n = columns.first().map_or(0, Vec::len);
    // The sum of r² over pairs of columns is that of squared products over pairs of rows: a much smaller table.
    let mut rows = Matrix::zeros(n, n);
    for column in columns {
        for (i, a) in column.iter().enumerate() {
            rows.row_mut(i).iter_mut().zip(column).for_each(|(r, b)| *r += a * b);
        }
    }
    let sum: f64 = (0..n).flat_map(|i| rows.row(i)).map(|r| r * r).sum();
    let m = columns.len() as f64;
    if sum > 0.0 { m * m / sum } else { 1.0 }
}

/// Effective number of `n` units with lag-1 autocorrelation `lag1` (first-order autoregression).
///
/// # Source
/// Var(mean) = σ²/n·[1 + 2·Σ_k (1 − k/n)·ρ^k], k = 1..n−1: textbook.
pub fn effective_number(n: usize, lag1: f64) -> f64 {
    let n_f = n as f64;
    let sum: f64 = (1..n).map(|k| (1.0 - k as f64 / n_f) * lag1.powi(k as i32)).sum();
    n_f / (1.0 + 2.0 * sum)
}

/// What correlated units are worth while their autocorrelation is itself only estimated.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Effective {
    /// Effective number: its inverse is averaged over what the autocorrelation may be.
    pub n: f64,
    /// Variance of that inverse over its squared mean: so much less well is a variance of a mean known.
    pub relative_variance: f64,
}

/// Effective number of `n` units whose autocorrelation is known with an error that is taken as normal.
///
/// # Source
/// Our own; checked by simulation here and in the ground truth. With one series of 30 units the best value alone makes
/// intervals that hold in 0.89 at ρ = 0.5 and in 0.71 at ρ = 0.7, instead of 0.95.
pub fn effective(n: usize, lag1: Lag1) -> Effective {
    const STEP: f64 = 0.01;
    if lag1.sd < STEP {
        return Effective { n: effective_number(n, lag1.value.max(0.0)), relative_variance: 0.0 };
    }
    let (mut sum, mut first, mut second) = (0.0, 0.0, 0.0);
    let (from, to) = ((LEAST / STEP).round() as i32, (MOST / STEP).round() as i32);
    for i in from..=to {
        let rho = STEP * f64::from(i);
        let off = (rho - lag1.value) / lag1.sd;
        let weight = (-0.5 * off * off).exp();
        if weight > 1e-4 {
            let inverse = 1.0 / effective_number(n, rho);
            sum += weight;
            first += weight * inverse;
            second += weight * inverse * inverse;
        }
    }
    let (mean, square) = (first / sum, second / sum);
    Effective { n: (1.0 / mean).min(n as f64), relative_variance: (square / (mean * mean) - 1.0).max(0.0) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn independent_units_count_in_full() {
        assert_eq!(effective_number(24, 0.0), 24.0);
    }

    #[test]
    fn many_correlated_units_count_by_the_limit_of_the_formula() {
        // Exact limit n·(1 − ρ)/(1 + ρ) for n → ∞; at n = 10,000 the rest is of order 1/n.
        assert!((effective_number(10_000, 0.5) / 10_000.0 - 1.0 / 3.0).abs() < 1e-3);
    }

    #[test]
    fn what_is_known_of_the_correlation_decides_what_units_count() {
        let (known, vague) = (Lag1 { value: 0.5, ..Lag1::NONE }, Lag1 { value: 0.5, sd: 0.2, ..Lag1::NONE });
        assert_eq!(effective(30, known), Effective { n: effective_number(30, 0.5), relative_variance: 0.0 });
        let vague = effective(30, vague);
        assert!(vague.n < effective_number(30, 0.5) && vague.relative_variance > 0.1, "{vague:?}");
        // By chance below zero: never more than there are.
        assert_eq!(effective(30, Lag1 { value: -0.2, sd: 0.1, ..Lag1::NONE }).n, 30.0);
    }

    /// `n` units in `n_columns` independent columns, each a first-order autoregression of unit variance.
    fn series(n: usize, rho: f64, n_columns: usize, normal: &mut impl FnMut() -> f64) -> Matrix {
        let mut now: Vec<f64> = (0..n_columns).map(|_| normal()).collect();
        let mut rows = Matrix::zeros(0, n_columns);
        for _ in 0..n {
            rows.push_row(&now);
            now.iter_mut().for_each(|s| *s = rho * *s + f64::sqrt(1.0 - rho * rho) * normal());
        }
        rows
    }

    fn normals(seed: u64) -> impl FnMut() -> f64 {
        use rand_chacha::ChaCha8Rng;
        use rand_chacha::rand_core::SeedableRng;
        use rand_distr::{Distribution, StandardNormal};
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        move || StandardNormal.sample(&mut rng)
    }

    #[test]
    fn the_upper_bound_of_the_correlation_lies_above_it_in_about_nine_of_ten_series() {
        let mut normal = normals(4);
        for (n, rho, n_columns) in [(16, 0.8, 10), (16, 0.5, 10), (60, 0.8, 10), (24, 0.0, 30)] {
            let above = |rows: Matrix| u32::from(lag1(&[&rows]).upper(1.2816) >= rho);
            let n_above: u32 = (0..400).map(|_| above(series(n, rho, n_columns, &mut normal))).sum();
            // At least 90 % is wanted: 340 or fewer of 400 have a chance below 0.1 % there. Chance correlations
            // make it more.
            assert!(n_above > 340, "{n} units at {rho}: {n_above} of 400");
        }
    }

    #[test]
    fn the_mean_of_one_correlated_series_is_held_by_the_interval_that_knows_how_little_is_known() {
        use crate::linear::{Stratum, fit_strata};
        use crate::student::t_quantile;
        let mut normal = normals(11);
        for (n, rho) in [(60, 0.0), (60, 0.3), (60, 0.5)] {
            let (mut held, mut held_by_the_best_value) = (0, 0);
            for _ in 0..1000 {
                let rows = series(n, rho, 1, &mut normal);
                let found = lag1(&[&rows]);
                let holds = |e: Effective| {
                    let stratum = Stratum { rows: rows.clone(), n_effective: e.n, weight: 1.0, side: 0 };
                    let fit = fit_strata(&[stratum]).with_uncertain_scale(e.relative_variance);
                    let part = &fit.parts[0];
                    let squares: f64 = (0..n).map(|i| part.residuals.at(i, 0).powi(2)).sum();
                    let sd = (part.factor * squares / part.divisor).sqrt();
                    u32::from(fit.estimate[0].abs() <= t_quantile(0.975, part.df) * sd)
                };
                held += holds(effective(n, found));
                held_by_the_best_value += holds(effective(n, Lag1 { sd: 0.0, ..found }));
            }
            // 95 % is wanted: 931 or fewer of 1000 have a chance below 1 % there.
            assert!(held > 931, "{rho}: {held} of 1000");
            assert!(held > held_by_the_best_value, "{rho}: {held} {held_by_the_best_value}");
        }
    }
}
