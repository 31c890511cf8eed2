//! Two one-sided tests: is a mean difference smaller than what matters?

use crate::describe::describe;
use crate::student::{t_cdf, t_quantile};

/// What is asked of an equivalence test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EquivalenceQuestion {
    /// Differences within ± this do not matter; positive.
    pub margin: f64,
    /// Chance of calling two things alike that differ by the margin, 0 < alpha < 0.5.
    pub alpha: f64,
}

/// How two samples are related.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Samples {
    /// Value k of both belongs to the same unit.
    Paired,
    /// Independent, each with its own spread (Welch).
    OwnSpreads,
    /// Independent, with one spread in common.
    CommonSpread,
}

/// Answer of two one-sided tests.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Equivalence {
    /// Mean of the first sample minus mean of the second.
    pub difference: f64,
    /// Standard error of the difference.
    pub standard_error: f64,
    /// Degrees of freedom.
    pub df: f64,
    /// Lower end of the interval with confidence 1 − 2·alpha.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// The greater of the two one-sided p-values.
    pub p: f64,
    /// True where the interval lies inside ± margin, which is the same as p < alpha.
    pub equivalent: bool,
}

/// Tests whether the means of `first` and `second` differ by less than the margin.
///
/// `None` where nothing can be known: fewer than two values in a sample, pairs of unequal number, or no spread
/// at all.
///
/// # Source
/// Schuirmann (1987), J. Pharmacokinetics and Biopharmaceutics 15, the two one-sided tests (from memory); Welch's
/// degrees of freedom as in any textbook. Checked against `reference/11_tost.toml`.
pub fn equivalence(
    first: &[f64],
    second: &[f64],
    samples: Samples,
    question: EquivalenceQuestion,
) -> Option<Equivalence> {
    let (difference, standard_error, df) = match samples {
        Samples::Paired => paired(first, second)?,
        Samples::OwnSpreads | Samples::CommonSpread => independent(first, second, samples)?,
    };
    // Also turns away what is not a number.
    if !standard_error.is_finite() || standard_error <= 0.0 {
        return None;
    }
    let half_width = t_quantile(1.0 - question.alpha, df) * standard_error;
    let above_lower = t_cdf(-(difference + question.margin) / standard_error, df);
    let below_upper = t_cdf((difference - question.margin) / standard_error, df);
    let p = above_lower.max(below_upper);
    Some(Equivalence {
        difference,
        standard_error,
        df,
        low: difference - half_width,
        high: difference + half_width,
        p,
        equivalent: p < question.alpha,
    })
}

/// Difference, standard error and degrees of freedom of pairs.
fn paired(first: &[f64], second: &[f64]) -> Option<(f64, f64, f64)> {
    if first.len() != second.len() {
        return None;
    }
    let differences: Vec<f64> = first.iter().zip(second).map(|(a, b)| a - b).collect();
    let d = describe(&differences)?;
    let n = d.n as f64;
    Some((d.mean, d.sd? / n.sqrt(), n - 1.0))
}

/// The same of independent samples.
fn independent(first: &[f64], second: &[f64], samples: Samples) -> Option<(f64, f64, f64)> {
    let (a, b) = (describe(first)?, describe(second)?);
    let (n_a, n_b) = (a.n as f64, b.n as f64);
    let (var_a, var_b) = (a.sd?.powi(2), b.sd?.powi(2));
    let difference = a.mean - b.mean;
    if samples == Samples::CommonSpread {
        let df = n_a + n_b - 2.0;
        let common = ((n_a - 1.0) * var_a + (n_b - 1.0) * var_b) / df;
        return Some((difference, (common * (1.0 / n_a + 1.0 / n_b)).sqrt(), df));
    }
    let (of_a, of_b) = (var_a / n_a, var_b / n_b);
    let df = (of_a + of_b).powi(2) / (of_a.powi(2) / (n_a - 1.0) + of_b.powi(2) / (n_b - 1.0));
    Some((difference, (of_a + of_b).sqrt(), df))
}

#[cfg(test)]
mod tests {
    use super::*;

    const QUESTION: EquivalenceQuestion = EquivalenceQuestion { margin: 1.0, alpha: 0.05 };

    #[test]
    fn too_little_to_know_anything_gives_no_answer() {
        for samples in [Samples::Paired, Samples::OwnSpreads, Samples::CommonSpread] {
            assert_eq!(equivalence(&[1.0], &[2.0], samples, QUESTION), None);
            assert_eq!(equivalence(&[], &[2.0, 3.0], samples, QUESTION), None);
            assert_eq!(equivalence(&[1.0, 1.0], &[2.0, 2.0], samples, QUESTION), None);
        }
        assert_eq!(equivalence(&[1.0, 2.0, 3.0], &[2.0, 4.0], Samples::Paired, QUESTION), None);
    }

    #[test]
    fn swapping_the_samples_turns_the_interval_round() {
        let (a, b) = ([0.2, 1.1, 0.7, 0.4], [0.5, 0.1, 0.9]);
        let forth = equivalence(&a, &b, Samples::OwnSpreads, QUESTION).expect("spread in both");
        let back = equivalence(&b, &a, Samples::OwnSpreads, QUESTION).expect("spread in both");
        // Exact: every step is symmetric in the two samples, apart from the last rounding.
        assert!((forth.low + back.high).abs() < 1e-12 && (forth.high + back.low).abs() < 1e-12);
        assert!((forth.p - back.p).abs() < 1e-12 && forth.equivalent == back.equivalent);
    }

    #[test]
    fn the_interval_touches_the_margin_where_p_equals_alpha() {
        let (a, b) = ([0.2, 1.1, 0.7, 0.4], [0.5, 0.1, 0.9]);
        let wide = equivalence(&a, &b, Samples::CommonSpread, QUESTION).expect("spread in both");
        let margin = wide.high.max(-wide.low);
        let at = equivalence(&a, &b, Samples::CommonSpread, EquivalenceQuestion { margin, ..QUESTION })
            .expect("spread in both");
        // Exact: both sides of Schuirmann's identity; 1e-9 for the inverse t.
        assert!((at.p - 0.05).abs() < 1e-9);
    }
}
