//! The search for the best change of distance, and the little algebra that it needs.

use super::{CannotTell, NEAREST_MM};
use crate::Playing;
use fairtake_stats::autocorrelation::{effective_number, pooled_lag1};
use fairtake_stats::matrix::Matrix;

/// The search reaches to this many times the distance.
const FARTHEST_RATIO: f64 = 5.0;
/// Step of the search, in the logarithm of the distance: 2 %. It is refined from there.
const SEARCH_STEP: f64 = 0.02;

/// The logarithm of the ratio of distances that leaves the least whitened residual.
pub(super) fn best(
    difference: &[f64],
    whitener: &Matrix,
    model: impl Fn(f64) -> Vec<f64>,
    from_mm: f64,
) -> Result<f64, CannotTell> {
    let left = |u: f64| -> f64 {
        let residual: Vec<f64> = difference.iter().zip(model(u)).map(|(d, m)| d - m).collect();
        forward(whitener, &residual).iter().map(|v| v * v).sum()
    };
    let (low, high) = ((NEAREST_MM / from_mm).ln().min(-SEARCH_STEP), FARTHEST_RATIO.ln());
    let n_steps = ((high - low) / SEARCH_STEP).ceil() as usize;
    let at = |i: usize| low + (high - low) * i as f64 / n_steps as f64;
    let least = (0..=n_steps)
        .map(|i| (i, left(at(i))))
        .min_by(|a, b| a.1.total_cmp(&b.1))
        .map(|(i, _)| i)
        .filter(|i| *i > 0 && *i < n_steps);
    let Some(least) = least else { return Err(CannotTell::TooWide { half_mm: None }) };
    // Golden section between the neighbours; 40 steps make it exact to far below a micrometre.
    let share = (5f64.sqrt() - 1.0) / 2.0;
    let (mut a, mut b) = (at(least - 1), at(least + 1));
    for _ in 0..40 {
        let (x, y) = (b - share * (b - a), a + share * (b - a));
        if left(x) < left(y) {
            b = y;
        } else {
            a = x;
        }
    }
    Ok((a + b) / 2.0)
}

/// Variance of the weighted difference from the spread of events, with its degrees of freedom (Welch, Satterthwaite).
/// Takes of one placement are judged around their own means; blocks count as fewer where they hang together.
pub(super) fn event_variance(sides: &[Vec<Matrix>; 2], weights: &[f64], playing: Playing) -> (f64, f64) {
    let projected = sides.each_ref().map(|takes| -> Vec<Matrix> {
        takes
            .iter()
            .map(|t| {
                let values: Vec<f64> = (0..t.n_rows())
                    .map(|i| t.row(i).iter().zip(weights).map(|(v, w)| v * w).sum::<f64>())
                    .collect();
                Matrix::from_rows(values.len(), 1, values)
            })
            .collect()
    });
    let lag1 = match playing {
        Playing::Sustained => pooled_lag1(&projected.iter().flatten().collect::<Vec<&Matrix>>()),
        _ => 0.0,
    };
    let (mut variance, mut squares) = (0.0, 0.0);
    for takes in &projected {
        let (mut ss, mut df, mut n) = (0.0, 0.0, 0.0);
        for take in takes {
            let mean = take.column_means()[0];
            ss += (0..take.n_rows()).map(|i| (take.at(i, 0) - mean).powi(2)).sum::<f64>();
            let effective = match playing {
                Playing::Sustained => effective_number(take.n_rows(), lag1),
                _ => take.n_rows() as f64,
            };
            df += effective - 1.0;
            n += effective;
        }
        // Seen from their own mean, correlated blocks scatter less than they do: by (n_eff − 1)/n_eff of (n − 1)/n.
        let n_rows: f64 = takes.iter().map(|t| t.n_rows() as f64).sum();
        let df = df.max(1.0);
        let v = ss / n_rows * n / df / n;
        variance += v;
        squares += v * v / df;
    }
    (variance, variance * variance / f64::max(squares, 1e-300))
}

/// `w′·M·w`.
pub(super) fn quadratic(matrix: &Matrix, w: &[f64]) -> f64 {
    (0..w.len()).map(|i| w[i] * matrix.row(i).iter().zip(w).map(|(m, w)| m * w).sum::<f64>()).sum()
}

/// Solves `L·x = v`.
pub(super) fn forward(lower: &Matrix, v: &[f64]) -> Vec<f64> {
    let mut x = vec![0.0; v.len()];
    for i in 0..v.len() {
        let dot: f64 = lower.row(i)[..i].iter().zip(&x).map(|(l, x)| l * x).sum();
        x[i] = (v[i] - dot) / lower.at(i, i);
    }
    x
}

/// Solves `L′·x = v`.
pub(super) fn backward(lower: &Matrix, v: &[f64]) -> Vec<f64> {
    let mut x = vec![0.0; v.len()];
    for i in (0..v.len()).rev() {
        let dot: f64 = (i + 1..v.len()).map(|j| lower.at(j, i) * x[j]).sum();
        x[i] = (v[i] - dot) / lower.at(i, i);
    }
    x
}
