//! Is it fair? Checks before any claim. Every one gives a figure, its limit, what it does and what to do about it.

pub(crate) mod limits;
mod pair;
mod take;

pub(crate) use pair::of_comparison;

use crate::{CheckResult, Outcome, Take, TakeMeasure};

/// Checks on single takes.
pub(crate) fn of_takes(takes: &[(&Take, &TakeMeasure)]) -> Vec<CheckResult> {
    takes.iter().flat_map(|(t, m)| take::of_take(t, m)).collect()
}

/// True when some check calls the take unfair.
pub(crate) fn unfair(checks: &[CheckResult], take: &str) -> bool {
    checks.iter().any(|c| c.outcome == Outcome::Unfair && c.take.as_deref() == Some(take))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{hits, take};
    use crate::{Comparison, Settings, Shootout, compare};

    fn codes(takes: &[Take]) -> Vec<(String, Outcome)> {
        let asked = Comparison { reference: None, pair: None, bare_files: false, version: "test".into() };
        let settings = Settings { resamples: 100, ..Settings::standard() };
        let made = compare(takes, &Shootout::default(), &settings, &asked).expect("compares");
        made.findings.checks.into_iter().map(|c| (c.code, c.outcome)).collect()
    }

    fn outcome(found: &[(String, Outcome)], code: &str) -> Option<Outcome> {
        found.iter().find(|(c, _)| c == code).map(|(_, o)| *o)
    }

    #[test]
    fn polarity_is_checked_on_takes_recorded_at_once_and_on_no_others() {
        let samples = hits(5, 0.5);
        let turned: Vec<f32> = samples.iter().map(|x| -0.7 * x).collect();
        let upright: Vec<f32> = samples.iter().map(|x| 0.7 * x).collect();
        let with =
            |b: Vec<f32>, performance| codes(&[take("a", 1, samples.clone()), take("b", performance, b)]);
        assert_eq!(outcome(&with(turned.clone(), 1), "polarity"), Some(Outcome::Caution));
        assert_eq!(outcome(&with(upright, 1), "polarity"), Some(Outcome::Fair));
        assert_eq!(outcome(&with(turned, 2), "polarity"), None);
    }

    #[test]
    fn a_chain_differs_only_where_both_log_it() {
        let made = |pad_a, pad_b| {
            let (mut a, mut b) = (take("a", 1, hits(5, 0.5)), take("b", 2, hits(6, 0.5)));
            (a.chain.pad_db, b.chain.pad_db) = (pad_a, pad_b);
            outcome(&codes(&[a, b]), "chain_differs")
        };
        assert_eq!(made(Some(10.0), Some(20.0)), Some(Outcome::Caution));
        assert_eq!(made(Some(10.0), Some(10.0)), Some(Outcome::Fair));
        assert_eq!(made(Some(10.0), None), Some(Outcome::Fair));
    }
}
