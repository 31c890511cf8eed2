//! What is said of loudness, noise and bleed.

use super::names::Pair;
use super::phrase::{Direction, Form, LOUD, MUCH};
use crate::words;
use fairtake_compare::{Claim, ComparisonFindings, Design, Estimate, MatchBy, Verdict};

/// Both levels: only where the difference is said too, which is the difference of these two. Where a witness has evened out
/// the playing, the difference is not that of the levels as recorded, and they are not said.
pub(super) fn levels(form: Form, pair: &Pair, c: &ComparisonFindings) -> String {
    let m = &c.levels.loudness_lufs;
    match (m.reference.event_mean, words::stated_against(m), m.difference_db.estimate) {
        (Some(reference), Some(against), Some(_)) if !words::evened_out(m) => format!(
            "{} was recorded at {} on average, {} at {}.",
            pair.reference,
            form.lufs(reference),
            pair.against,
            form.lufs(against)
        ),
        _ => String::new(),
    }
}

/// The loudness difference as recorded, or as the witness evens out the playing.
pub(super) fn loudness(form: Form, pair: &Pair, c: &ComparisonFindings) -> String {
    let d = &c.levels.loudness_lufs.difference_db;
    let Some(estimate) = d.estimate else {
        return "How they differ in loudness is not known.".to_string();
    };
    let subject = match c.design {
        Design::InTurnWithWitness => {
            format!("With the playing evened out by the witness, {} is", pair.against)
        }
        _ => format!("{} was recorded", pair.against),
    };
    format!(
        "{subject} {} than {}{}{}.",
        LOUD.amount(form, estimate, ""),
        pair.reference,
        LOUD.between(estimate, d.low.zip(d.high)),
        judged(d)
    )
}

/// Loudness with the logged gains taken out.
pub(super) fn at_equal_gain(form: Form, pair: &Pair, c: &ComparisonFindings) -> String {
    let said = |e: &Estimate| {
        let v = e.estimate?;
        Some(format!(
            "At equal gain, as logged, {} is {}{}{}.",
            pair.against,
            LOUD.amount(form, v, ""),
            LOUD.between(v, e.low.zip(e.high)),
            judged(e)
        ))
    };
    c.levels.loudness_at_equal_gain_db.as_ref().and_then(said).unwrap_or_default()
}

/// By what levels are matched before the spectra are compared.
pub(super) fn matched(c: &ComparisonFindings) -> &'static str {
    match c.level_match.by {
        MatchBy::None => "Regions are compared as recorded, levels not matched.",
        MatchBy::Loudness => "Regions are compared at levels matched by loudness.",
        MatchBy::Midrange => "Regions are compared at levels matched by the energy of the middle range.",
        MatchBy::Peak => "Regions are compared at levels matched by peaks.",
    }
}

/// Noise after the match, A-weighted.
pub(super) fn noise(form: Form, pair: &Pair, c: &ComparisonFindings) -> String {
    let e = &c.noise.a_weighted_dbfs.difference_db;
    let Some(v) = e.estimate else { return String::new() };
    let at = if c.level_match.by == MatchBy::None { "As recorded" } else { "At matched level" };
    format!("{at}, {} has {}.", pair.against, amount_of(form, MUCH, e, v, " noise", ", A-weighted"))
}

/// Bleed relative to the source.
pub(super) fn bleed(form: Form, pair: &Pair, c: &ComparisonFindings) -> String {
    let said = |d: &Estimate| {
        // The finding is signal to bleed: more of it is less bleed.
        let turned = Estimate {
            estimate: d.estimate.map(|v| -v),
            low: d.high.map(|v| -v),
            high: d.low.map(|v| -v),
            verdict: d.verdict,
        };
        let v = turned.estimate?;
        let placed = if c.claim == Claim::TheseTakes { "" } else { ", as placed," };
        Some(format!(
            "Against the source, {}{placed} hears {}.",
            pair.against,
            amount_of(form, MUCH, &turned, v, " bleed", "")
        ))
    };
    c.bleed.as_ref().and_then(|b| said(&b.loudness_db.difference_db)).unwrap_or_default()
}

fn amount_of(form: Form, direction: Direction, e: &Estimate, v: f64, of: &str, kind: &str) -> String {
    let amount = direction.amount(form, v, of);
    format!("{amount}{kind}{}{}", direction.between(v, e.low.zip(e.high)), judged(e))
}

/// The verdict after a number where it is not *different*.
fn judged(e: &Estimate) -> &'static str {
    match e.verdict {
        Some(Verdict::Different) => "",
        Some(Verdict::Alike) => ": alike within the margin",
        Some(Verdict::Undecided | Verdict::OutOfRange) | None => ": undecided",
    }
}
