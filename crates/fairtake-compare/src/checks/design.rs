//! Whether the design of bare files could be told.

use super::limits;
use crate::design::Assumed;
use crate::{CheckResult, Comparison, Design, Outcome};

/// Made where bare files hold one performance: then it matters whether they were recorded at once.
pub(crate) fn of_design(assumed: &Assumed, index: usize, asked: &Comparison) -> Option<CheckResult> {
    let limit = &limits::DESIGN_UNCERTAIN;
    let shared = matches!(assumed.design, Design::Together | Design::Replayed);
    if asked.recognised.is_none() || !shared || assumed.reason == crate::design::STATED {
        return None;
    }
    Some(CheckResult {
        code: limit.code.to_string(),
        outcome: if assumed.told { Outcome::Fair } else { Outcome::Caution },
        take: None,
        comparison: Some(index),
        measured: assumed.noise_coherence,
        limit: Some(limit.value),
        unit: limit.unit.to_string(),
        text: if assumed.told {
            assumed.reason.clone()
        } else {
            format!("{}; nothing is said of time, polarity and transfer", assumed.reason)
        },
        advice: "state how they were made with --design, or leave a few seconds of the room's own noise in the takes"
            .to_string(),
    })
}
