//! Effective number of correlated units, pooled over columns and samples.

use crate::matrix::Matrix;

/// Lag-1 autocorrelation of the rows, pooled over columns and over all samples, corrected for the bias
/// of short series; 0 when nothing can be estimated.
///
/// Shape: each sample is units in order of time × columns; samples with fewer than 4 units are passed over.
///
/// # Source
/// Bias of the lag-1 estimate, −(1 + 3ρ)/n: Marriott and Pope (1954), "Bias in the estimation of
/// autocorrelations", Biometrika 41 (from memory). Checked by simulation in the ground truth.
pub fn pooled_lag1(samples: &[&Matrix]) -> f64 {
    let (mut products, mut squares, mut n_sum, mut n_samples) = (0.0, 0.0, 0.0, 0.0);
    for sample in samples.iter().filter(|s| s.n_rows() >= 4) {
        let mean = sample.column_means();
        // Every column weighs alike: a loud spread in one band must not decide for all.
        for (col, m) in mean.iter().enumerate() {
            let z: Vec<f64> = (0..sample.n_rows()).map(|i| sample.at(i, col) - m).collect();
            let ss: f64 = z.iter().map(|v| v * v).sum();
            if ss > 0.0 {
                products += z.windows(2).map(|w| w[0] * w[1]).sum::<f64>() / ss;
                squares += 1.0;
            }
        }
        n_sum += sample.n_rows() as f64;
        n_samples += 1.0;
    }
    if squares == 0.0 {
        return 0.0;
    }
    let n = n_sum / n_samples;
    let raw = products / squares;
    // E(raw) ≈ ρ − (1 + 4ρ)/n for Σz_t·z_{t+1}/Σz_t²: the −(1 + 3ρ)/n above and −ρ/n for the missing term.
    ((raw + 1.0 / n) / (1.0 - 4.0 / n).max(0.2)).clamp(0.0, 0.95)
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
}
