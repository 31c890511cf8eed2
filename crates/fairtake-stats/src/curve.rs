//! A curve with its uncertainty: pointwise and simultaneous bands, and intervals for averages over runs.

use crate::correlation::correlation;
use crate::linear::{Fit, Part};
use crate::matrix::Matrix;
use crate::pooling::{Neighbours, PooledVariance, pool};
use crate::random::Draws;
use crate::simultaneous::{Factors, factors};
use crate::student::t_quantile;

/// Settings of the curve engine.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CurveSettings {
    /// Confidence of every interval.
    pub confidence: f64,
    /// How many simulated error curves the simultaneous band and the runs use.
    pub n_draws: usize,
    /// Seed of the simulation.
    pub seed: u64,
}

/// A curve with its uncertainty.
#[derive(Debug, Clone, PartialEq)]
pub struct Curve {
    /// Best value per column.
    pub estimate: Vec<f64>,
    /// Standard uncertainty per column.
    pub sd: Vec<f64>,
    /// Degrees of freedom per column.
    pub df: Vec<f64>,
    /// Half-width of the pointwise interval per column.
    pub half: Vec<f64>,
    /// Half-width of the simultaneous band per column.
    pub simultaneous_half: Vec<f64>,
    /// Covariance of the estimate between columns.
    pub covariance: Matrix,
    /// Factors on the pointwise half-widths.
    pub factors: Factors,
}

impl Curve {
    /// Average over the columns `from..to` with its half-width, valid for all runs at once.
    ///
    /// # Panics
    /// If the run is empty or reaches beyond the last column.
    pub fn run(&self, from: usize, to: usize) -> (f64, f64) {
        assert!(from < to && to <= self.estimate.len(), "a run has columns");
        let n = (to - from) as f64;
        let mean = self.estimate[from..to].iter().sum::<f64>() / n;
        let variance: f64 =
            (from..to).map(|i| self.covariance.row(i)[from..to].iter().sum::<f64>()).sum::<f64>() / (n * n);
        let t = (from..to).map(|b| self.half[b] / self.sd[b].max(1e-300)).sum::<f64>() / n;
        (mean, variance.max(0.0).sqrt() * t * self.factors.run)
    }
}

/// The curve of a fit.
///
/// Shape: one ascending `position` (octaves) and one positive `shape` per column. `None` with fewer than two
/// residual degrees of freedom, with which nothing is known.
pub fn curve(fit: &Fit, position: &[f64], shape: &[f64], settings: &CurveSettings) -> Option<Curve> {
    let m = fit.estimate.len();
    if fit.df() < 2.0 - 1e-9 || m == 0 {
        return None;
    }
    let Spread { sd, df, pooled, neighbours, correlation, draws } =
        Spread::new(fit, position, shape, settings);
    let t: Vec<f64> = df.iter().map(|d| t_quantile(0.5 + settings.confidence / 2.0, *d)).collect();
    let mut covariance = Matrix::zeros(m, m);
    for i in 0..m {
        for j in 0..m {
            covariance.set(i, j, sd[i] * sd[j] * correlation.at(i, j));
        }
    }
    let shares: Vec<Vec<f64>> = fit
        .parts
        .iter()
        .zip(&pooled)
        .map(|(part, p)| (0..m).map(|b| part.factor * p.variance[b] / (sd[b] * sd[b]).max(1e-300)).collect())
        .collect();
    let factors =
        factors(&fit.parts, &pooled, &shares, &neighbours, &draws, &sd, &t, &covariance, settings.confidence);
    let half: Vec<f64> = sd.iter().zip(&t).map(|(s, t)| s * t * factors.pointwise).collect();
    let simultaneous_half = sd.iter().zip(&t).map(|(s, t)| s * t * factors.simultaneous).collect();
    Some(Curve { estimate: fit.estimate.clone(), sd, df, half, simultaneous_half, covariance, factors })
}

/// What is found on curves such as the fit's estimate might have been: the estimate plus errors with the fitted spread and correlation,
/// each curve stretched by the t-distribution's own uncertainty of the spread. `n_draws` of them; none without freedom.
pub fn resampled<T>(
    fit: &Fit,
    position: &[f64],
    settings: &CurveSettings,
    mut look: impl FnMut(&[f64]) -> T,
) -> Vec<T> {
    let m = fit.estimate.len();
    if fit.df() < 1.0 - 1e-9 || m == 0 {
        return Vec::new();
    }
    let spread = Spread::new(fit, position, &vec![1.0; m], settings);
    let z = t_quantile(0.975, f64::INFINITY);
    let reach: Vec<f64> =
        spread.sd.iter().zip(&spread.df).map(|(sd, df)| sd * t_quantile(0.975, *df) / z).collect();
    let mut curve = vec![0.0; m];
    (0..settings.n_draws)
        .map(|k| {
            let z = spread.draws.row(k);
            (0..m).for_each(|b| curve[b] = fit.estimate[b] + reach[b] * f64::from(z[b]));
            look(&curve)
        })
        .collect()
}

/// Standard uncertainty per column, with what was needed to find it.
struct Spread {
    sd: Vec<f64>,
    df: Vec<f64>,
    pooled: Vec<PooledVariance>,
    neighbours: Neighbours,
    correlation: Matrix,
    draws: Draws,
}

impl Spread {
    fn new(fit: &Fit, position: &[f64], shape: &[f64], settings: &CurveSettings) -> Spread {
        let m = fit.estimate.len();
        let neighbours = Neighbours::new(position);
        let own: Vec<Vec<f64>> = fit.parts.iter().map(own_variance).collect();
        let correlation = correlation(&weighed(&fit.parts), position, fit.df());
        let draws = Draws::new(&correlation, settings.n_draws, settings.seed);
        let pooled: Vec<PooledVariance> = fit
            .parts
            .iter()
            .zip(&own)
            .map(|(part, own)| pool(own, shape, part.df, &correlation, &neighbours, &draws))
            .collect();
        let (mut variance, mut squares) = (vec![0.0; m], vec![0.0; m]);
        for (part, p) in fit.parts.iter().zip(&pooled) {
            for b in 0..m {
                let v = part.factor * p.variance[b];
                variance[b] += v;
                squares[b] += v * v / p.df[b];
            }
        }
        let df = variance.iter().zip(&squares).map(|(v, q)| v * v / q.max(1e-300)).collect();
        let sd = variance.iter().map(|v| v.sqrt()).collect();
        Spread { sd, df, pooled, neighbours, correlation, draws }
    }
}

fn own_variance(part: &Part) -> Vec<f64> {
    let mut sums = vec![0.0; part.residuals.n_cols()];
    for row in 0..part.residuals.n_rows() {
        sums.iter_mut().zip(part.residuals.row(row)).for_each(|(s, r)| *s += r * r);
    }
    sums.iter_mut().for_each(|s| *s /= part.divisor.max(1e-300));
    sums
}

/// Residuals of all parts, each weighing as its part does in the variance of the estimate.
fn weighed(parts: &[Part]) -> Matrix {
    let mut out = Matrix::zeros(0, parts[0].residuals.n_cols());
    for part in parts {
        let weight = (part.factor / part.divisor.max(1e-300)).sqrt();
        for row in 0..part.residuals.n_rows() {
            let z: Vec<f64> = part.residuals.row(row).iter().map(|r| r * weight).collect();
            out.push_row(&z);
        }
    }
    out
}
