//! Is it fair? Checks before any claim. Every one gives a figure, its limit, what it does and what to do about it.

mod design;
mod distance;
mod effect;
mod limiting;
pub(crate) mod limits;
mod order;
mod pair;
mod played;
mod roles;
mod strength;
mod take;

pub(crate) use design::of_design;
pub(crate) use pair::of_comparison;
pub(crate) use roles::keep_what_concerns;

use crate::{Allowance, CheckResult, Outcome, SettingUp, Take, TakeMeasure};

/// A pair of microphones on one source, to be checked.
pub(crate) struct Pair<'a> {
    /// Place of the comparison, counted from 0.
    pub index: usize,
    /// Takes of the reference.
    pub a: &'a [(&'a Take, &'a TakeMeasure)],
    /// Takes of *against*.
    pub b: &'a [(&'a Take, &'a TakeMeasure)],
    /// Takes of the witness.
    pub witness: &'a [(&'a Take, &'a TakeMeasure)],
    /// What is logged of the setting-up.
    pub setting_up: Option<&'a SettingUp>,
    /// What placing may change.
    pub allowance: &'a Allowance,
}

/// Checks on single takes.
pub(crate) fn of_takes(takes: &[(&Take, &TakeMeasure)], bands_per_octave: u32) -> Vec<CheckResult> {
    let of_take = |(t, m): &(&Take, &TakeMeasure)| {
        take::of_take(t, m, take::below_partners_db(t, m, takes), bands_per_octave)
    };
    takes.iter().flat_map(of_take).collect()
}

/// The check that calls the take unfair, where one does.
pub(crate) fn unfair<'a>(checks: &'a [CheckResult], take: &str) -> Option<&'a CheckResult> {
    checks.iter().find(|c| c.outcome == Outcome::Unfair && c.take.as_deref() == Some(take))
}

#[cfg(test)]
mod played_tests;
#[cfg(test)]
mod tests;
