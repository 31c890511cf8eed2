//! Factors by which pointwise half-widths are widened so that they hold for all columns, or all runs, at once.

use crate::linear::Part;
use crate::matrix::Matrix;
use crate::pooling::{Neighbours, PooledVariance};
use crate::random::Draws;
use fairtake_transform::{Work, widest};
use std::cmp::Ordering;

/// Up to this many degrees of freedom the variances' own errors are simulated field by field; above, one
/// chi-square spread per draw is as good.
const FIELDS_UP_TO_DF: f64 = 16.0;

/// Lengths of the runs that the run factor is taken over, as shares of the run lengths possible: runs of
/// in-between lengths differ too little from these to matter.
const RUN_GROWTH: f64 = 1.4;

/// With few units the correlation and the course of the spread are themselves estimated, which the simulation takes as
/// known: the joint factors are widened by 1 + this/df. Found against the ground truth (two and three placements fell
/// to 0.91 and 0.93 simultaneous coverage without it).
const FEW_UNITS: f64 = 0.35;

/// So many error curves are looked through at once.
const AT_ONCE: usize = 8;

/// Factors on the pointwise half-width `t·sd`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Factors {
    /// Corrects the t quantile for what the degrees-of-freedom approximation leaves, at least 1.
    pub pointwise: f64,
    /// For all columns at once.
    pub simultaneous: f64,
    /// For averages over all contiguous runs at once.
    pub run: f64,
}

/// Simulates the whole interval procedure on error curves with the fitted correlation and reads the factors
/// off the distribution of the greatest exceedance (max-|t|).
#[allow(clippy::too_many_arguments, reason = "private to the engine; each is a different table of one fit")]
pub(crate) fn factors(
    parts: &[Part],
    pooled: &[PooledVariance],
    shares: &[Vec<f64>],
    neighbours: &Neighbours,
    draws: &Draws,
    sd: &[f64],
    t: &[f64],
    covariance: &Matrix,
    confidence: f64,
) -> Factors {
    let (n, m) = (draws.len(), sd.len());
    let runs = Runs::new(m, covariance, t);
    let fields: Vec<Option<Matrix>> = parts
        .iter()
        .zip(pooled)
        .map(|(part, p)| (part.df <= FIELDS_UP_TO_DF).then(|| squared_fields(draws, neighbours, p.share)))
        .collect();
    let (mut all, mut greatest, mut greatest_run) =
        (Vec::with_capacity(n * m), Vec::with_capacity(n), Vec::with_capacity(n));
    let mut spread = vec![0.0; m];
    let mut some = SomeSums::new(m);
    for k in 0..n {
        spread.iter_mut().for_each(|s| *s = 0.0);
        for ((part, field), share) in parts.iter().zip(&fields).zip(shares) {
            match field {
                Some(field) => {
                    let d = (part.df.round() as usize).max(1);
                    for j in 0..d {
                        // Other draws serve as this draw's residuals; the stride keeps sets from repeating.
                        let other = field.row((k + 1 + j * 37 + (k * 13) % 29) % n);
                        for b in 0..m {
                            spread[b] += share[b] * other[b] / d as f64;
                        }
                    }
                }
                None => {
                    // Wilson–Hilferty with the normal of another draw: χ²/d ≈ (1 − 2/9d + z·√(2/9d))³.
                    let c = 2.0 / (9.0 * part.df);
                    let x = (1.0 - c + f64::from(draws.row(k + n / 2)[k % m]) * c.sqrt()).powi(3);
                    (0..m).for_each(|b| spread[b] += share[b] * x);
                }
            }
        }
        let z = draws.row(k);
        all.extend((0..m).map(|b| z[b].abs() / (spread[b].sqrt() * t[b]) as f32));
        greatest.push(all[k * m..].iter().fold(0f32, |a, v| a.max(*v)));
        some.push(z, sd, &spread);
        if some.n == AT_ONCE || k + 1 == n {
            greatest_run.extend_from_slice(&widest(GreatestRuns { runs: &runs, some: &some })[..some.n]);
            some.n = 0;
        }
    }
    let pointwise = quantile(&mut all, f32::total_cmp, confidence).max(1.0);
    let few = 1.0 + FEW_UNITS / parts.iter().map(|p| p.df).sum::<f64>().max(1.0);
    let simultaneous = few * quantile(&mut greatest, f32::total_cmp, confidence).max(pointwise);
    let run = (few * quantile(&mut greatest_run, f64::total_cmp, confidence)).max(simultaneous) / pointwise;
    Factors { pointwise, simultaneous, run }
}

/// Squared error fields with the same borrowing from neighbours as the variances themselves.
fn squared_fields(draws: &Draws, neighbours: &Neighbours, share: f64) -> Matrix {
    let m = neighbours.n_columns();
    let mut out = Matrix::zeros(draws.len(), m);
    for k in 0..draws.len() {
        let squares: Vec<f64> = draws.row(k).iter().map(|z| f64::from(z * z)).collect();
        let smooth = if share > 0.0 { neighbours.average(&squares) } else { squares.clone() };
        let row = out.row_mut(k);
        (0..m).for_each(|b| row[b] = (1.0 - share) * squares[b] + share * smooth[b]);
    }
    out
}

/// Runs of columns, with what is needed to judge their average.
struct Runs {
    /// From, to, and √length/(sd of the sum × t).
    spans: Vec<(usize, usize, f64)>,
}

impl Runs {
    fn new(m: usize, covariance: &Matrix, t: &[f64]) -> Runs {
        let mut spans = Vec::new();
        let mut length = 1;
        while length <= m {
            for from in 0..=m - length {
                let to = from + length;
                let variance: f64 = (from..to).map(|i| covariance.row(i)[from..to].iter().sum::<f64>()).sum();
                let mean_t = t[from..to].iter().sum::<f64>() / length as f64;
                spans.push((from, to, (length as f64 / variance.max(1e-300)).sqrt() / mean_t));
            }
            length = ((length as f64 * RUN_GROWTH).ceil() as usize).max(length + 1);
        }
        Runs { spans }
    }
}

/// Sums of several error curves and of their variance spreads up to each column, side by side.
struct SomeSums {
    n: usize,
    errors: Vec<[f64; AT_ONCE]>,
    spreads: Vec<[f64; AT_ONCE]>,
}

impl SomeSums {
    fn new(m: usize) -> SomeSums {
        let zeros = vec![[0.0; AT_ONCE]; m + 1];
        SomeSums { n: 0, errors: zeros.clone(), spreads: zeros }
    }

    fn push(&mut self, z: &[f32], sd: &[f64], spread: &[f64]) {
        let (mut error, mut sum) = (0.0, 0.0);
        for b in 0..z.len() {
            error += f64::from(z[b]) * sd[b];
            sum += spread[b];
            self.errors[b + 1][self.n] = error;
            self.spreads[b + 1][self.n] = sum;
        }
        self.n += 1;
    }
}

/// Greatest run average over its half-width, of each error curve.
struct GreatestRuns<'a> {
    runs: &'a Runs,
    some: &'a SomeSums,
}

impl Work for GreatestRuns<'_> {
    type Out = [f64; AT_ONCE];

    #[inline(always)]
    fn done(self) -> [f64; AT_ONCE] {
        let mut greatest = [0.0; AT_ONCE];
        for (from, to, scale) in &self.runs.spans {
            let (start, end) = (&self.some.errors[*from], &self.some.errors[*to]);
            let (start_spread, end_spread) = (&self.some.spreads[*from], &self.some.spreads[*to]);
            for k in 0..AT_ONCE {
                // The mean spread's divisor is part of the scale.
                let value = (end[k] - start[k]) * scale;
                let (square, spread) = (value * value, end_spread[k] - start_spread[k]);
                let ratio = square / spread;
                greatest[k] = if square > greatest[k] * spread { ratio } else { greatest[k] };
            }
        }
        greatest.map(f64::sqrt)
    }
}

/// The value below which `share` of the values lie; 0 for none.
fn quantile<T: Copy + Into<f64>>(values: &mut [T], order: impl Fn(&T, &T) -> Ordering, share: f64) -> f64 {
    if values.is_empty() {
        return 0.0;
    }
    let idx = ((values.len() as f64 * share).ceil() as usize).clamp(1, values.len()) - 1;
    (*values.select_nth_unstable_by(idx, order).1).into()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_quantile_of_a_hundred_is_the_ninety_fifth() {
        let mut values: Vec<f64> = (1..=100).rev().map(f64::from).collect();
        assert_eq!(quantile(&mut values, f64::total_cmp, 0.95), 95.0);
    }
}
