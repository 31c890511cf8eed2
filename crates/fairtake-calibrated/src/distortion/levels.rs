//! Distortion over level, and the level at which it reaches a limit.

use super::harmonics::{Distortion, Figure};
use crate::quantity::{Contribution, Quantity};
use serde::{Deserialize, Serialize};

/// Distortion at one level.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LevelStep {
    /// Effective level of the fundamental as recorded, in dBFS; or in dB SPL where full scale is known as a pressure.
    pub level_db: f64,
    /// Total harmonic distortion.
    pub thd: Figure,
}

/// Where distortion reaches a limit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Reached {
    /// At this level, in the unit of the steps.
    At(Quantity),
    /// It stays below up to the loudest step, whose level is this.
    NotUpTo(f64),
    /// It is above already at the softest step, whose level is this.
    AboveFrom(f64),
}

/// THD at a frequency over the level steps, soft to loud.
///
/// `full_scale_spl`: sound pressure level of an effective value of 0 dBFS; then levels are in dB SPL, as this microphone hears the
/// fundamental.
pub fn thd_over_level(steps: &[Distortion], hz: f64, full_scale_spl: Option<&Quantity>) -> Vec<LevelStep> {
    let offset = full_scale_spl.map_or(0.0, |q| q.value);
    let mut levels: Vec<LevelStep> = steps
        .iter()
        .filter_map(|step| {
            let point = step.at(hz)?;
            Some(LevelStep { level_db: point.fundamental_dbfs? + offset, thd: point.thd.clone()? })
        })
        .collect();
    levels.sort_by(|a, b| a.level_db.total_cmp(&b.level_db));
    levels
}

/// The level from which on THD is above a limit in percent: straight between steps over level in dB and the logarithm of
/// percent. `None` without steps, or where it cannot be told. `full_scale_spl` as for [`thd_over_level`]: its uncertainty is that of every
/// level.
pub fn level_for_thd(
    steps: &[LevelStep],
    percent: f64,
    full_scale_spl: Option<&Quantity>,
) -> Option<Reached> {
    let (first, last) = (steps.first()?, steps.last()?);
    // The last step that is below: what falls and rises again (crossover distortion at low levels) counts where it stays above.
    let below = steps.iter().rposition(|step| match &step.thd {
        Figure::Measured(q) => q.value < percent,
        Figure::AtMost(most) => *most < percent,
    });
    let Some(below) = below else {
        let known = first.thd.measured().is_some();
        return known.then_some(Reached::AboveFrom(first.level_db));
    };
    let Some(above) = steps.get(below + 1) else { return Some(Reached::NotUpTo(last.level_db)) };
    // Without a value on both sides the crossing is only known to lie between the two.
    let between = || {
        let middle = 0.5 * (steps[below].level_db + above.level_db);
        let half = 0.5 * (above.level_db - steps[below].level_db);
        (middle, vec![Contribution::within("between steps", half)])
    };
    let (level_db, mut budget) = match (&steps[below].thd, &above.thd) {
        (Figure::Measured(low), Figure::Measured(high)) if high.value > low.value => {
            let rise = (high.value / low.value).ln();
            let share = (percent / low.value).ln() / rise;
            let span_db = above.level_db - steps[below].level_db;
            // What is off in percent moves the crossing by the level that it takes to rise by it.
            let part = |q: &Quantity, weight: f64| -> Vec<Contribution> {
                let moved = |p: &Contribution| Contribution {
                    standard: weight * p.standard / q.value * span_db / rise,
                    ..p.clone()
                };
                q.budget.iter().map(moved).collect()
            };
            let mut budget = part(low, 1.0 - share);
            budget.extend(part(high, share));
            (steps[below].level_db + share * span_db, budget)
        }
        (_, Figure::AtMost(_)) => return None,
        _ => between(),
    };
    budget.extend(full_scale_spl.iter().flat_map(|q| q.budget.iter().cloned()));
    Some(Reached::At(Quantity::new(level_db, budget)))
}

/// The levels for 0.5, 1 and 3 %, the limits that are usual (common practice, no source).
pub fn levels_for_thd(steps: &[LevelStep], full_scale_spl: Option<&Quantity>) -> [(f64, Option<Reached>); 3] {
    [0.5, 1.0, 3.0].map(|percent| (percent, level_for_thd(steps, percent, full_scale_spl)))
}
