//! Is it fair? Checks before any claim. Every one gives a figure, its limit, what it does and what to do about it.

pub(crate) mod limits;
mod pair;
mod strength;
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
mod tests;
