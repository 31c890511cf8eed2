//! Checks on how a pair was played and set up: strength, its drift over takes, limiting, distance.

use super::distance::{Explained, Moved, explain};
use super::limits::{self, Limit};
use super::pair::on;
use super::{Pair, limiting, order, strength};
use crate::wording::{signed, signed_to};
use crate::{CheckResult, Claim, ComparisonFindings, Take, TakeMeasure};

/// Those that there is something to judge by.
pub(super) fn of_comparison(c: &ComparisonFindings, pair: &Pair) -> Vec<CheckResult> {
    let mut out = Vec::new();
    if let Some(strength) = strength::differs(pair.a, pair.b, pair.witness) {
        out.push(on(
            pair,
            &limits::STRENGTH_DIFFERS,
            strength.figure_db() > limits::STRENGTH_DIFFERS.value,
            strength.figure_db(),
            strength.text(),
            "let one player play both, and practise the strength before recording",
        ));
    }
    out.extend(order_drift(pair));
    out.extend(limited(pair));
    out.extend(could_be_distance(c, pair));
    out
}

fn order_drift(pair: &Pair) -> Option<CheckResult> {
    let drift = order::drift(pair.a, pair.b, pair.witness)?;
    let moves = format!(
        "{} dB from take to take, which moves the level difference by {} dB (± {:.1})",
        signed_to(drift.per_take_db, 2),
        signed(drift.bias_db),
        drift.half_db
    );
    let caution = drift.beyond_chance && drift.bias_db.abs() > limits::ORDER_DRIFT.value;
    let text = match (drift.by_witness, caution) {
        (true, _) => {
            format!("by the witness, strength of playing drifts by {moves}; the witness takes this off")
        }
        (false, true) => format!(
            "strength of playing drifts by {moves}; taking this off would widen the interval of the level difference {:.1}-fold",
            drift.cost
        ),
        (false, false) => format!("strength of playing drifts by {moves}"),
    };
    let advice = "take turns: reference, against, against, reference, so that a drift meets both alike";
    Some(on(pair, &limits::ORDER_DRIFT, caution, drift.bias_db.abs(), text, advice))
}

/// The microphone whose gain follows the strength most, by the witness where there is one, else by the other microphone.
fn limited(pair: &Pair) -> Option<CheckResult> {
    type Takes<'a> = &'a [(&'a Take, &'a TakeMeasure)];
    let heard_by = |x: Takes, y: Takes| {
        let shared: Vec<(&TakeMeasure, &TakeMeasure)> = y
            .iter()
            .filter_map(|(t, m)| Some((x.iter().find(|(o, _)| o.performance == t.performance)?.1, *m)))
            .collect();
        limiting::following(&shared)
    };
    let name = |takes: Takes| takes.first().map_or(String::new(), |(t, _)| t.mic.clone());
    let found: Vec<(String, String, limiting::Following)> = if pair.witness.is_empty() {
        heard_by(pair.a, pair.b).into_iter().map(|f| (name(pair.a), name(pair.b), f)).collect()
    } else {
        [pair.a, pair.b]
            .into_iter()
            .filter_map(|y| Some(("the witness".to_string(), name(y), heard_by(pair.witness, y)?)))
            .collect()
    };
    let (by, mic, f) =
        found.into_iter().max_by(|x, y| x.2.change_db.abs().total_cmp(&y.2.change_db.abs()))?;
    let caution = f.beyond_chance && f.change_db.abs() > limits::LIMITING.value;
    // The one that gives strong events less is the one that limits.
    let (by, mic, change_db) =
        if f.change_db > 0.0 { (mic, by, -f.change_db) } else { (by, mic, f.change_db) };
    let text = format!(
        "against {by}, {mic} gives strong events {} dB (± {:.1}) of gain less soft ones, over {:.0} dB of playing{}",
        signed(change_db),
        f.half_db,
        f.range_db,
        if caution { "; levels of events are compared with this in them" } else { "" }
    );
    let advice =
        "switch limiters and automatic gain off, and turn the preamp down rather than let it saturate";
    Some(on(pair, &limits::LIMITING, caution, f.change_db.abs(), text, advice))
}

fn could_be_distance(c: &ComparisonFindings, pair: &Pair) -> Option<CheckResult> {
    let setting_up = pair.setting_up?;
    let limit = Limit { value: 2.0 * pair.allowance.distance_mm, ..limits::DISTANCE };
    let advice = "measure the distances again, or set both up again and record once more";
    let (caution, measured, text) = match explain(&c.bands, setting_up, c.margin_db)? {
        Explained::NothingToExplain => {
            (false, None, "no low-frequency difference that a distance would have to explain".to_string())
        }
        Explained::ByNone => {
            (false, None, "no small change of distance alone makes the low-frequency difference".to_string())
        }
        Explained::By(change) => {
            let least = change.least_mm();
            // With placements repeated the interval holds what setting up again changes.
            let caution = c.claim == Claim::TheseTakes && least <= limit.value;
            let mic = if change.moved == Moved::Reference { &c.reference } else { &c.against };
            let way = if change.best_mm < 0.0 { "nearer" } else { "further away" };
            let text = format!(
                "{mic} {:.1} mm {way} ({:.1} to {:.1} mm) would alone make the low-frequency difference, {} dB at {:.0} Hz{}",
                change.best_mm.abs(),
                least,
                change.from_mm.abs().max(change.to_mm.abs()),
                signed(change.change_db),
                change.at_hz,
                if setting_up.radius_mm.is_none() {
                    ", before a point source; a larger one needs more"
                } else {
                    ""
                }
            );
            (caution, Some(least), text)
        }
    };
    Some(on(pair, &limit, caution, measured, text, advice))
}
