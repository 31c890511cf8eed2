//! Uncertainty of an average of squared noise, in dB: the chi-square law of a spectral estimate.

use statrs::distribution::{ChiSquared, ContinuousCDF};
use statrs::function::gamma::digamma;

/// 10/ln 10: turns a small relative change of a power into dB.
const DB_PER_NEPER_OF_POWER: f64 = 10.0 / std::f64::consts::LN_10;

/// Where the true level lies relative to an estimate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ChiSquareInterval {
    /// Lower end in dB re the estimate; negative.
    pub low_db: f64,
    /// Upper end in dB re the estimate; positive.
    pub high_db: f64,
}

/// Interval for the true level of noise whose mean square was estimated with `dof` degrees of freedom.
///
/// `dof` may be fractional; `None` unless it is positive and finite and 0 < `confidence` < 1.
///
/// # Source
/// dof·estimate/truth follows chi-square with `dof` degrees of freedom (Bendat and Piersol, Random Data, spectral
/// estimates; from memory). Checked against `reference/08_chi_square_interval.csv`.
pub fn interval_db(dof: f64, confidence: f64) -> Option<ChiSquareInterval> {
    if !dof.is_finite() || confidence <= 0.0 || confidence >= 1.0 {
        return None;
    }
    let law = ChiSquared::new(dof).ok()?;
    let tail = (1.0 - confidence) / 2.0;
    Some(ChiSquareInterval {
        low_db: 10.0 * (dof / law.inverse_cdf(1.0 - tail)).log10(),
        high_db: 10.0 * (dof / law.inverse_cdf(tail)).log10(),
    })
}

/// Standard deviation of the estimate's level in dB; infinite without degrees of freedom.
///
/// # Source
/// Variance of the logarithm of chi-square is trigamma(dof/2): textbook. Checked as [`interval_db`].
pub fn sd_db(dof: f64) -> f64 {
    if dof > 0.0 { DB_PER_NEPER_OF_POWER * trigamma(dof / 2.0).sqrt() } else { f64::INFINITY }
}

/// How far the mean of the estimate's level in dB lies from the true level: negative, since the logarithm
/// favours small values; minus infinity without degrees of freedom.
///
/// # Source
/// Mean of the logarithm of chi-square is digamma(dof/2) + ln 2: textbook. Checked as [`interval_db`].
pub fn bias_db(dof: f64) -> f64 {
    if dof > 0.0 {
        DB_PER_NEPER_OF_POWER * (digamma(dof / 2.0) - (dof / 2.0).ln())
    } else {
        f64::NEG_INFINITY
    }
}

/// Second derivative of ln Γ at `x` > 0.
///
/// # Source
/// Recurrence ψ′(x) = ψ′(x + 1) + 1/x² up to 10, then the asymptotic series (Abramowitz and Stegun 6.4.6, 6.4.12;
/// from memory). Checked against π²/6 at 1 and the outside values.
fn trigamma(x: f64) -> f64 {
    let mut shifted = x;
    let mut sum = 0.0;
    while shifted < 10.0 {
        sum += 1.0 / (shifted * shifted);
        shifted += 1.0;
    }
    let inverse = 1.0 / shifted;
    let square = inverse * inverse;
    let series = 1.0 / 6.0 - square * (1.0 / 30.0 - square * (1.0 / 42.0 - square / 30.0));
    sum + inverse + square / 2.0 + square * inverse * series
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn trigamma_of_one_is_known() {
        // Exact: π²/6. The series' first term left out is 5/66 / 10^11, below 1e-12.
        assert!((trigamma(1.0) - std::f64::consts::PI.powi(2) / 6.0).abs() < 1e-12);
        // Exact: π²/2 at one half.
        assert!((trigamma(0.5) - std::f64::consts::PI.powi(2) / 2.0).abs() < 1e-12);
    }

    #[test]
    fn no_freedom_means_no_interval() {
        assert_eq!(interval_db(0.0, 0.95), None);
        assert_eq!(interval_db(f64::NAN, 0.95), None);
        assert_eq!(interval_db(10.0, 1.0), None);
        assert_eq!((sd_db(0.0), bias_db(0.0)), (f64::INFINITY, f64::NEG_INFINITY));
    }

    #[test]
    fn two_degrees_of_freedom_are_the_exponential_law() {
        // Exact: the quantile of chi-square with 2 degrees of freedom at p is −2·ln(1 − p).
        let at = interval_db(2.0, 0.95).expect("two degrees of freedom");
        assert!((at.high_db - 10.0 * (-1.0 / 0.975_f64.ln()).log10()).abs() < 1e-8);
        assert!((at.low_db - 10.0 * (-1.0 / 0.025_f64.ln()).log10()).abs() < 1e-8);
    }
}
