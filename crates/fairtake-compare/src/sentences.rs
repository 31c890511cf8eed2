//! Findings as sentences, made from the numbers and nothing else.

use crate::wording::{hertz, interval, margin};
use crate::{Claim, ComparisonFindings, Estimate, Finding, Region, SettleReason, Shootout, Unit, Verdict};

/// The sentences of one comparison, the largest difference first.
///
/// A sentence about levels states the difference only, not the levels: so it cannot disagree with them in rounding.
pub(crate) fn sentences(c: &ComparisonFindings, shootout: &Shootout) -> Vec<Finding> {
    let name = |id: &str| {
        shootout
            .mics
            .get(id)
            .map(|m| m.name.clone())
            .filter(|n| !n.is_empty())
            .unwrap_or_else(|| id.to_string())
    };
    let (reference, against) = (name(&c.reference), name(&c.against));
    let placed = if c.claim == Claim::TheseTakes { ", as placed," } else { "" };
    let mut regions: Vec<Finding> = c
        .regions
        .iter()
        .filter(|r| r.verdict != Verdict::OutOfRange)
        .map(|r| Finding {
            text: region_text(r, &against, &reference, placed, c),
            verdict: r.verdict,
            claim: c.claim,
            estimate: r.difference_db,
            low: r.low_db,
            high: r.high_db,
            unit: "dB".to_string(),
            from_hz: Some(r.from_hz),
            to_hz: Some(r.to_hz),
        })
        .collect();
    let rank = |f: &Finding| match f.verdict {
        Verdict::Different => 0,
        Verdict::Alike => 1,
        Verdict::Undecided => 2,
        Verdict::OutOfRange => 3,
    };
    regions.sort_by(|a, b| {
        let size = |f: &Finding| f.estimate.unwrap_or(0.0).abs();
        rank(a).cmp(&rank(b)).then(size(b).total_cmp(&size(a)))
    });
    let d = c.levels.loudness_lufs.difference_db;
    let text = match (d.estimate, d.low, d.high) {
        (Some(e), Some(low), Some(high)) => format!(
            "{against}{placed} was recorded {} than {reference} ({} dB): {}",
            amount(e, "louder", "quieter", "no louder and no quieter"),
            interval(low, high),
            word(d.verdict)
        ),
        _ => format!(
            "how {against} and {reference} differ in loudness is undecided: too few {}",
            c.unit.words(2)
        ),
    };
    let mut out = vec![Finding {
        text,
        verdict: d.verdict.unwrap_or(Verdict::Undecided),
        claim: c.claim,
        estimate: d.estimate,
        low: d.low,
        high: d.high,
        unit: "dB".to_string(),
        from_hz: None,
        to_hz: None,
    }];
    out.extend(regions);
    out.extend(beside(c, &reference, &against, placed));
    out
}

/// What is said beside levels and spectra: loudness at equal gain, noise, bleed; each where it is known.
fn beside(c: &ComparisonFindings, reference: &str, against: &str, placed: &str) -> Vec<Finding> {
    let finding = |e: &Estimate, text: String| Finding {
        text: format!("{text}: {}", word(e.verdict)),
        verdict: e.verdict.unwrap_or(Verdict::Undecided),
        claim: c.claim,
        estimate: e.estimate,
        low: e.low,
        high: e.high,
        unit: "dB".to_string(),
        from_hz: None,
        to_hz: None,
    };
    let bounds = |e: &Estimate| {
        e.low.zip(e.high).map_or("interval unknown".to_string(), |(l, h)| format!("{} dB", interval(l, h)))
    };
    let mut out = Vec::new();
    if let Some((e, d)) = c.levels.loudness_at_equal_gain_db.as_ref().and_then(|e| Some((e, e.estimate?))) {
        let how = amount(d, "louder", "quieter", "no louder and no quieter");
        let text =
            format!("at equal gain, as logged, {against}{placed} is {how} than {reference} ({})", bounds(e));
        out.push(finding(e, text));
    }
    let noise = &c.noise.a_weighted_dbfs.difference_db;
    if let Some(d) = noise.estimate {
        let how = amount(d, "more noise", "less noise", "no more and no less noise");
        let text =
            format!("at matched level {against} has {how} than {reference}, A-weighted ({})", bounds(noise));
        out.push(finding(noise, text));
    }
    if let Some((e, d)) = c.bleed.as_ref().and_then(|b| {
        let e = &b.loudness_db.difference_db;
        Some((e, e.estimate?))
    }) {
        let how = amount(-d, "more bleed", "less bleed", "no more and no less bleed");
        let text = format!(
            "relative to the source {against}, as placed, hears {how} than {reference} (signal to bleed {})",
            bounds(e)
        );
        out.push(Finding { claim: Claim::TheseTakes, ..finding(e, text) });
    }
    out
}

/// A size in dB with the word for its sign, as it is shown.
fn amount(d: f64, more: &str, less: &str, neither: &str) -> String {
    match (d * 10.0).round() / 10.0 {
        shown if shown > 0.0 => format!("{shown:.1} dB {more}"),
        shown if shown < 0.0 => format!("{:.1} dB {less}", -shown),
        _ => neither.to_string(),
    }
}

fn word(verdict: Option<Verdict>) -> &'static str {
    match verdict {
        Some(Verdict::Alike) => "alike",
        Some(Verdict::Different) => "different",
        _ => "undecided",
    }
}

fn region_text(r: &Region, against: &str, reference: &str, placed: &str, c: &ComparisonFindings) -> String {
    let span = format!("{}–{}", hertz(r.from_hz), hertz(r.to_hz));
    match (r.verdict, r.difference_db, r.low_db, r.high_db) {
        (Verdict::Different, Some(d), Some(low), Some(high)) => {
            let (more, nearer) = if d > 0.0 { ("more", low) } else { ("less", -high) };
            // "At least" is rounded down, so that it stays true; what is said of the margin follows from what is shown.
            let shown = (nearer * 10.0).floor() / 10.0;
            let least =
                if shown > 0.0 { format!("at least {shown:.1} dB") } else { "by some amount".to_string() };
            let beyond = if shown > c.margin_db { ", larger than the margin" } else { "" };
            format!(
                "{span}: {against}{placed} has {:.1} dB {more} than {reference}, {least}{beyond}",
                d.abs()
            )
        }
        (Verdict::Alike, Some(_), Some(_), Some(_)) => {
            format!("{span}: {against} and {reference}{placed} are alike within {} dB", margin(c.margin_db))
        }
        _ => format!("{span}: undecided{}", settle(r, c)),
    }
}

fn settle(r: &Region, c: &ComparisonFindings) -> String {
    match r.settle.as_ref() {
        Some(s) => match (s.placements, s.events) {
            (Some(n), _) if r.low_db.is_none() => format!("; it takes {n} placements per microphone to know"),
            (_, Some(n)) if r.low_db.is_none() => {
                format!("; it takes {n} {} or more to know", c.unit.words(2))
            }
            (Some(n), _) => format!("; {n} placements per microphone should settle most of it"),
            (_, Some(n)) => format!("; {n} {} per microphone should settle most of it", c.unit.words(2)),
            _ => match (s.reason, c.unit) {
                (SettleReason::OutOfReach, Unit::Placement) => {
                    "; at this spread it would take more than 20 placements per microphone".to_string()
                }
                (SettleReason::OutOfReach, unit) => {
                    format!("; at this spread it would take more than 500 {} per microphone", unit.words(2))
                }
                (SettleReason::Allowance, unit) => format!(
                    "; more {} cannot settle it: what placing again or the noise may change is larger than what is asked",
                    unit.words(2)
                ),
                _ => "; parts of it are too near the margin for more recording to settle them".to_string(),
            },
        },
        None => String::new(),
    }
}
