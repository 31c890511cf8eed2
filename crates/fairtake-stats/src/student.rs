//! Student's t distribution, with the normal distribution as its limit.
//!
//! Degrees of freedom may be fractional (correlated units count for less than one) and infinite (the spread is
//! known). Both ends of that range are where general-purpose code loses digits, so they are taken apart here.

use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

/// From here on the expansion of the quantile around the normal one serves: its error falls with the fourth power
/// of the degrees of freedom (1e-11 here), while statrs' inverse loses digits (1e-8 off at 1e4, 6e-5 at 1e6).
const QUANTILE_EXPANSION_FROM_DF: f64 = 1e3;

/// The same for the probability, where statrs keeps its digits for longer and the approximation is of second order.
const CDF_EXPANSION_FROM_DF: f64 = 1e5;

/// Fewer degrees of freedom than this are taken as this many: a quantile then is astronomically wide anyway,
/// and smaller numbers overflow.
const LEAST_DF: f64 = 0.1;

/// Quantile of Student's t at probability `p` (0 < p < 1) with `df` degrees of freedom, 0 < df ≤ ∞.
///
/// # Source
/// statrs below 1000 degrees of freedom; above, Cornish and Fisher's expansion around the normal quantile
/// (Abramowitz and Stegun, Handbook of Mathematical Functions, 26.7.5, first three terms; from memory).
/// Checked against `reference/11_student_t.csv` and, at the seam, one form against the other.
pub fn t_quantile(p: f64, df: f64) -> f64 {
    let df = df.max(LEAST_DF);
    if df < QUANTILE_EXPANSION_FROM_DF {
        return StudentsT::new(0.0, 1.0, df).expect("positive degrees of freedom").inverse_cdf(p);
    }
    let z = unit_normal().inverse_cdf(p);
    let first = (z.powi(3) + z) / 4.0;
    let second = (5.0 * z.powi(5) + 16.0 * z.powi(3) + 3.0 * z) / 96.0;
    let third = (3.0 * z.powi(7) + 19.0 * z.powi(5) + 17.0 * z.powi(3) - 15.0 * z) / 384.0;
    z + first / df + second / (df * df) + third / (df * df * df)
}

/// Probability that Student's t with `df` degrees of freedom, 0 < df ≤ ∞, is at most `t`.
///
/// # Source
/// statrs below 1e5 degrees of freedom; above, the normal distribution at
/// t·(1 − 1/(4·df))/√(1 + t²/(2·df)) (Abramowitz and Stegun 26.7.8; from memory).
/// Checked as the inverse of [`t_quantile`].
pub fn t_cdf(t: f64, df: f64) -> f64 {
    let df = df.max(LEAST_DF);
    if df < CDF_EXPANSION_FROM_DF {
        return StudentsT::new(0.0, 1.0, df).expect("positive degrees of freedom").cdf(t);
    }
    unit_normal().cdf(t * (1.0 - 0.25 / df) / (1.0 + t * t / (2.0 * df)).sqrt())
}

/// The factor by which a standard uncertainty is multiplied for a two-sided interval of this confidence.
pub fn t_factor(confidence: f64, df: f64) -> f64 {
    t_quantile(0.5 + confidence / 2.0, df)
}

fn unit_normal() -> Normal {
    Normal::new(0.0, 1.0).expect("a unit normal exists")
}

/// Distribution function of the standard normal distribution.
pub fn normal_cdf(x: f64) -> f64 {
    unit_normal().cdf(x)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn infinite_freedom_is_the_normal_distribution() {
        // Reference: 1.959964, the two-sided 95 % point of the normal distribution, in every table; six decimals.
        assert!((t_factor(0.95, f64::INFINITY) - 1.959964).abs() < 5e-7);
        assert!((t_cdf(1.959964, f64::INFINITY) - 0.975).abs() < 5e-8);
    }

    #[test]
    fn the_two_forms_meet_at_the_seam() {
        // Exact: the two forms describe one continuous function. Between the arguments below the true quantile
        // changes by (z³ + z)/4 · 2e-6/df < 3e-8 · 1e-3 · 10; 1e-9 leaves room for that and both forms' errors.
        for p in [0.6, 0.9, 0.975, 0.995, 0.9995] {
            let below = t_quantile(p, QUANTILE_EXPANSION_FROM_DF * (1.0 - 1e-6));
            let above = t_quantile(p, QUANTILE_EXPANSION_FROM_DF * (1.0 + 1e-6));
            assert!((below - above).abs() < 1e-8 * below.abs(), "p = {p}: {below} and {above}");
        }
        for t in [-3.0, -0.5, 1.0, 2.5] {
            let below = t_cdf(t, CDF_EXPANSION_FROM_DF * (1.0 - 1e-6));
            let above = t_cdf(t, CDF_EXPANSION_FROM_DF * (1.0 + 1e-6));
            assert!((below - above).abs() < 1e-9, "t = {t}: {below} and {above}");
        }
    }

    #[test]
    fn probability_and_quantile_undo_each_other_at_any_freedom() {
        for df in [1.0, 1.7, 2.5, 12.3, 999.0, 5e4, 1e6, f64::INFINITY] {
            for p in [0.005, 0.025, 0.3, 0.5, 0.95, 0.999] {
                // The expansions for many degrees of freedom leave errors of order 1/df²: at most 1e-8.
                let back = t_cdf(t_quantile(p, df), df);
                assert!((back - p).abs() < 1e-8, "df = {df}, p = {p}: {back}");
            }
        }
    }

    #[test]
    fn one_degree_of_freedom_is_the_cauchy_distribution() {
        // Exact: the quantile is tan(π·(p − 1/2)).
        for p in [0.1, 0.6, 0.975] {
            let exact = (std::f64::consts::PI * (p - 0.5)).tan();
            assert!((t_quantile(p, 1.0) - exact).abs() < 1e-9 * exact.abs().max(1.0));
        }
    }
}
