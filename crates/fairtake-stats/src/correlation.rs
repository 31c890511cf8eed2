//! How errors of neighbouring columns move together: a smooth correlation model fitted to residuals.

use crate::matrix::Matrix;

/// Correlation lengths offered to the fit, in the unit of the positions (octaves). The last one stands for
/// errors that all columns share.
const LENGTHS: [f64; 6] = [0.1, 0.25, 0.5, 1.0, 2.0, 6.0];

/// Share of the model in the returned correlation, expressed as the degrees of freedom that it is worth.
/// Reason: with few units the sample correlation has low rank and would make the largest of many errors
/// look too small; the ground truth's simultaneous coverage was tried with 10, 20 and 40.
const MODEL_DF: f64 = 20.0;

/// Correlation between columns from standardised residual rows.
///
/// Shape: `residuals` is units × columns, `position` one ascending value per column, `df` the degrees of
/// freedom behind the residuals. Result: columns × columns, unit diagonal, positive definite.
///
/// # Source
/// Shrinkage of a sample correlation towards a stationary model; our own derivation,
/// `docs/methods/difference-curve.md`. *Not checked against outside values;* coverage is.
pub fn correlation(residuals: &Matrix, position: &[f64], df: f64) -> Matrix {
    let m = residuals.n_cols();
    let scale: Vec<f64> = column_sums_of_squares(residuals).iter().map(|s| s.max(1e-300).sqrt()).collect();
    let mut z = residuals.clone();
    for row in 0..z.n_rows() {
        z.row_mut(row).iter_mut().zip(&scale).for_each(|(v, s)| *v /= s);
    }
    let mut sample = Matrix::zeros(m, m);
    for row in 0..z.n_rows() {
        let r = z.row(row).to_vec();
        for (i, ri) in r.iter().enumerate() {
            sample.row_mut(i).iter_mut().zip(&r).for_each(|(c, rj)| *c += ri * rj);
        }
    }
    let shares = fit_shares(&sample, position, df);
    let own = (df / (df + MODEL_DF)).clamp(0.0, 1.0);
    let mut out = Matrix::zeros(m, m);
    for i in 0..m {
        out.set(i, i, 1.0);
        for j in 0..i {
            let model = model_correlation(&shares, (position[i] - position[j]).abs());
            let value = own * sample.at(i, j) + (1.0 - own) * model;
            out.set(i, j, value);
            out.set(j, i, value);
        }
    }
    out
}

fn column_sums_of_squares(m: &Matrix) -> Vec<f64> {
    let mut sums = vec![0.0; m.n_cols()];
    for row in 0..m.n_rows() {
        sums.iter_mut().zip(m.row(row)).for_each(|(s, v)| *s += v * v);
    }
    sums
}

/// Matérn correlation of order 3/2: smooth, but not so smooth that it oscillates.
fn matern(distance: f64, length: f64) -> f64 {
    let x = 3f64.sqrt() * distance / length;
    (1.0 + x) * (-x).exp()
}

/// The rest up to one is uncorrelated from column to column.
fn model_correlation(shares: &[f64; LENGTHS.len()], distance: f64) -> f64 {
    shares.iter().zip(LENGTHS).map(|(s, l)| s * matern(distance, l)).sum()
}

/// Non-negative shares of the lengths that fit the average correlation at each distance, by non-negative
/// least squares (coordinate descent from the longest on).
fn fit_shares(sample: &Matrix, position: &[f64], df: f64) -> [f64; LENGTHS.len()] {
    const BIN: f64 = 1.0 / 12.0;
    const N_BINS: usize = 48;
    let m = position.len();
    let (mut sum, mut count) = ([0.0; N_BINS + 1], [0.0; N_BINS + 1]);
    for i in 0..m {
        for j in 0..i {
            let bin = ((position[i] - position[j]) / BIN).round() as usize;
            if (1..=N_BINS).contains(&bin) {
                // With few degrees of freedom a sample correlation r is too large in size: E(r) falls short of ρ
                // by about ρ(1 − ρ²)/(2·df) only, but r² exceeds ρ² by 1/df; averaging r, not r², needs no correction.
                sum[bin] += sample.at(i, j);
                count[bin] += 1.0;
            }
        }
    }
    let lags: Vec<(f64, f64, f64)> = (1..=N_BINS)
        .filter(|b| count[*b] > 0.0)
        .map(|b| (b as f64 * BIN, sum[b] / count[b], count[b]))
        .collect();
    let mut shares = [0.0; LENGTHS.len()];
    if lags.is_empty() || df < 1.0 {
        return shares;
    }
    // Weighted products of every two of the lengths' correlations, and of each with what was found.
    let basis: Vec<[f64; LENGTHS.len()]> =
        lags.iter().map(|(distance, _, _)| LENGTHS.map(|length| matern(*distance, length))).collect();
    let weighed = |value: &dyn Fn(usize) -> f64| -> f64 {
        lags.iter().enumerate().map(|(i, (_, _, weight))| weight * value(i)).sum()
    };
    let with_found: [f64; LENGTHS.len()] = std::array::from_fn(|k| weighed(&|i| basis[i][k] * lags[i].1));
    let with_other: [[f64; LENGTHS.len()]; LENGTHS.len()] =
        std::array::from_fn(|k| std::array::from_fn(|l| weighed(&|i| basis[i][k] * basis[i][l])));
    for _ in 0..200 {
        for k in (0..LENGTHS.len()).rev() {
            let others: f64 =
                (0..LENGTHS.len()).filter(|l| *l != k).map(|l| with_other[k][l] * shares[l]).sum();
            shares[k] = ((with_found[k] - others) / with_other[k][k]).max(0.0);
        }
    }
    // Noise can push the sum above one, which no correlation can be.
    let sum: f64 = shares.iter().sum();
    if sum > 1.0 {
        shares.iter_mut().for_each(|s| *s /= sum);
    }
    shares
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn errors_shared_by_all_columns_are_found_to_be_shared() {
        let position: Vec<f64> = (0..60).map(|i| i as f64 / 12.0).collect();
        let rows: Vec<f64> = (0..30).flat_map(|u| vec![((u * 7919) % 31) as f64 - 15.0; 60]).collect();
        let r = correlation(&Matrix::from_rows(30, 60, rows), &position, 29.0);
        // Reason for 0.9: the longest length offered still falls a little over five octaves.
        assert!(r.at(0, 59) > 0.8 && r.at(0, 1) > 0.9, "{} {}", r.at(0, 59), r.at(0, 1));
    }
}
