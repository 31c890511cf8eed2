//! Variances that borrow strength from their neighbours.
//!
//! With two or three placements a band's own variance says next to nothing. Neighbouring bands have nearly
//! the same, so the variance is averaged over neighbours, as far as the data do not speak against it.

use crate::matrix::Matrix;
use crate::random::{Draws, dot};
use statrs::function::gamma::digamma;

/// How far the average over neighbours reaches to each side, in the unit of the positions (octaves).
/// Reason: of 0.6, 1 and 1.5 octaves the last gave the best simultaneous coverage in the ground truth with two and
/// three placements, at equal pointwise coverage.
const REACH: f64 = 1.5;

/// Above this many degrees of freedom a variance needs no neighbours.
const ENOUGH_DF: f64 = 60.0;

/// Weights by which variances are averaged over neighbouring columns; every row sums to 1.
#[derive(Debug, Clone, PartialEq)]
pub struct Neighbours {
    /// Per column: the first neighbour and the weights from there on.
    rows: Vec<(usize, Vec<f64>)>,
}

impl Neighbours {
    /// Triangular weights around each of the ascending positions.
    pub fn new(position: &[f64]) -> Neighbours {
        let m = position.len();
        let rows = (0..m)
            .map(|i| {
                let weight = |j: usize| 1.0 - (position[i] - position[j]).abs() / REACH;
                let first = (0..=i).find(|j| weight(*j) > 0.0).unwrap_or(i);
                let last = (i..m).rev().find(|j| weight(*j) > 0.0).unwrap_or(i);
                let raw: Vec<f64> = (first..=last).map(weight).collect();
                let sum: f64 = raw.iter().sum();
                (first, raw.into_iter().map(|w| w / sum).collect())
            })
            .collect();
        Neighbours { rows }
    }

    /// Number of columns.
    pub fn n_columns(&self) -> usize {
        self.rows.len()
    }

    /// Weighted averages over neighbours.
    pub fn average(&self, values: &[f64]) -> Vec<f64> {
        self.rows.iter().map(|(first, w)| dot(w, &values[*first..first + w.len()])).collect()
    }
}

/// A variance per column after borrowing, with its degrees of freedom.
#[derive(Debug, Clone, PartialEq)]
pub struct PooledVariance {
    /// Variance of one unit, per column.
    pub variance: Vec<f64>,
    /// Degrees of freedom, per column.
    pub df: Vec<f64>,
    /// Share of the neighbours in the variance, 0..=1.
    pub share: f64,
}

/// Borrows strength for the variances `own` (each with `df` degrees of freedom) from their neighbours.
///
/// Shape: `own`, `shape`, `neighbours` and the sides of `correlation` have one entry per column. `shape`
/// is proportional to what the variance is expected to look like over the columns (ones when nothing is known);
/// only its course matters.
///
/// # Source
/// Empirical Bayes moderation of variances: Smyth (2004), "Linear models and empirical Bayes methods for
/// assessing differential expression", Stat. Appl. Genet. Mol. Biol. 3(1), art. 3, with a local prior in place of
/// the global one, and the prior's freedom found against simulated residuals of the same correlation.
pub fn pool(
    own: &[f64],
    shape: &[f64],
    df: f64,
    correlation: &Matrix,
    neighbours: &Neighbours,
    draws: &Draws,
) -> PooledVariance {
    let m = own.len();
    if df >= ENOUGH_DF {
        return PooledVariance { variance: own.to_vec(), df: vec![df; m], share: 0.0 };
    }
    let ratio: Vec<f64> = own.iter().zip(shape).map(|(o, s)| o.max(1e-300) / s).collect();
    let smooth = neighbours.average(&ratio);
    let prior_df = prior_freedom(roughness(&ratio, &smooth), df, neighbours, draws);
    let share = if prior_df.is_infinite() { 1.0 } else { prior_df / (prior_df + df) };
    let variance = (0..m).map(|b| ((1.0 - share) * ratio[b] + share * smooth[b]) * shape[b]).collect();
    let df = (0..m)
        .map(|b| {
            // Variance of a weighted sum of correlated chi-squares: Σ a_k·a_l·ρ_kl².
            let (first, weights) = &neighbours.rows[b];
            let a = |k: usize| share * weights[k - first] + if k == b { 1.0 - share } else { 0.0 };
            let near = *first..first + weights.len();
            let spread: f64 = near
                .clone()
                .map(|k| {
                    let of_k = near.clone().map(|l| a(l) * correlation.at(k, l).powi(2)).sum::<f64>();
                    a(k) * of_k
                })
                .sum();
            (df / spread).min(df + prior_df)
        })
        .collect();
    PooledVariance { variance, df, share }
}

/// Mean square of the log ratio of the columns' own variances to their neighbours'.
fn roughness(own: &[f64], smooth: &[f64]) -> f64 {
    let logs = own.iter().zip(smooth).map(|(o, s)| (o.max(1e-300) / s.max(1e-300)).ln());
    let (sum, squares, n) = logs.fold((0.0, 0.0, 0.0), |(a, b, n), l| (a + l, b + l * l, n + 1.0));
    let mean = sum / f64::max(n, 1.0);
    squares / f64::max(n, 1.0) - mean * mean
}

/// Degrees of freedom of the prior: infinite when the variances are no rougher over the columns than equal
/// ones with this correlation would be by chance.
fn prior_freedom(found: f64, df: f64, neighbours: &Neighbours, draws: &Draws) -> f64 {
    let n_fields = (df.round() as usize).max(1);
    let n_trials = (600 / n_fields).clamp(20, 100);
    let mut expected = 0.0;
    for trial in 0..n_trials {
        let mut own = vec![0.0; neighbours.n_columns()];
        for k in 0..n_fields {
            let z = draws.row(trial * n_fields + k);
            own.iter_mut().zip(z).for_each(|(o, z)| *o += f64::from(z * z) / n_fields as f64);
        }
        expected += roughness(&own, &neighbours.average(&own)) / n_trials as f64;
    }
    let excess = found - expected;
    // Reason for 10 %: the simulation's own error with 100 trials; a smaller excess is no evidence.
    if excess <= 0.1 * expected { f64::INFINITY } else { 2.0 * inverse_trigamma(excess) }
}

/// Derivative of the digamma function, by central differences of it.
fn trigamma(x: f64) -> f64 {
    let h = 1e-4 * x;
    (digamma(x + h) - digamma(x - h)) / (2.0 * h)
}

/// The argument at which the trigamma function takes the value `y > 0`, by bisection.
fn inverse_trigamma(y: f64) -> f64 {
    let (mut low, mut high) = (1e-2f64, 1e6f64);
    for _ in 0..80 {
        let middle = (low * high).sqrt();
        if trigamma(middle) > y { low = middle } else { high = middle }
    }
    (low * high).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn trigamma_takes_its_known_value_at_one() {
        // Exact: π²/6. Tolerance: the central difference at step 1e-4 is good to 1e-7.
        assert!((trigamma(1.0) - std::f64::consts::PI.powi(2) / 6.0).abs() < 1e-6);
        assert!((inverse_trigamma(trigamma(3.7)) - 3.7).abs() < 1e-6);
    }

    #[test]
    fn averages_over_neighbours_keep_a_constant() {
        let position: Vec<f64> = (0..40).map(|i| i as f64 / 12.0).collect();
        let out = Neighbours::new(&position).average(&[2.5; 40]);
        assert!(out.iter().all(|v| (v - 2.5).abs() < 1e-12));
    }
}
