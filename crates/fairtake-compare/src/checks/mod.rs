//! Is it fair? Checks before any claim. Every one gives a figure, its limit, what it does and what to do about it.

pub(crate) mod limits;

use crate::{CheckResult, ComparisonFindings, LeftOut, Outcome, Take, TakeMeasure};
use fairtake_signal::units::amplitude_db;
use limits::Limit;

/// Checks on single takes.
pub(crate) fn of_takes(takes: &[(&Take, &TakeMeasure)]) -> Vec<CheckResult> {
    takes.iter().flat_map(|(t, m)| of_take(t, m)).collect()
}

/// True when some check calls the take unfair.
pub(crate) fn unfair(checks: &[CheckResult], take: &str) -> bool {
    checks.iter().any(|c| c.outcome == Outcome::Unfair && c.take.as_deref() == Some(take))
}

fn of_take(take: &Take, m: &TakeMeasure) -> Vec<CheckResult> {
    let on = |limit: &Limit, outcome, measured, text: String, advice: &str| CheckResult {
        code: limit.code.to_string(),
        outcome,
        take: Some(take.id.clone()),
        comparison: None,
        measured,
        limit: Some(limit.value),
        unit: limit.unit.to_string(),
        text,
        advice: advice.to_string(),
    };
    let n_clipped = m.events.iter().filter(|e| e.left_out == Some(LeftOut::Clipped)).count();
    let n_used = m.events.iter().filter(|e| e.left_out.is_none()).count();
    let clipped_share = n_clipped as f64 / m.events.len().max(1) as f64;
    let clipped = match n_clipped {
        0 => Outcome::Fair,
        _ if clipped_share > limits::CLIPPED.value => Outcome::Unfair,
        _ => Outcome::Caution,
    };
    let peak_db = amplitude_db(m.file.sample_peak);
    let quiet = peak_db.is_none_or(|db| db < limits::LEVEL_LOW.value);
    let dc = m.file.dc.abs();
    vec![
        on(
            &limits::CLIPPED,
            clipped,
            Some(clipped_share),
            format!("{n_clipped} of {} events clipped; clipped events are left out", m.events.len()),
            "turn the preamp down and play again",
        ),
        on(
            &limits::LEVEL_LOW,
            if quiet { Outcome::Caution } else { Outcome::Fair },
            peak_db,
            match peak_db {
                Some(db) => format!("highest sample {db:.1} dBFS"),
                None => "digital silence".to_string(),
            },
            "turn the preamp up",
        ),
        on(
            &limits::DC,
            if dc > limits::DC.value { Outcome::Caution } else { Outcome::Fair },
            Some(dc),
            format!("mean value {dc:.5} of full scale; it lifts the lowest bands"),
            "look for the converter or preamp that makes it",
        ),
        on(
            &limits::SNR_UNKNOWN,
            if m.noise.is_some() { Outcome::Fair } else { Outcome::Caution },
            m.noise.as_ref().map(|n| n.duration_s),
            match &m.noise {
                Some(n) => format!("noise measured on {:.1} s", n.duration_s),
                None => "no gap to measure noise on: noise is not subtracted, and no band is held back"
                    .to_string(),
            },
            "leave two seconds of silence before playing, or record a room-tone take",
        ),
        on(
            &limits::LOSSY,
            if take.stored_as.lossy { Outcome::Caution } else { Outcome::Fair },
            Some(f64::from(u8::from(take.stored_as.lossy))),
            format!("stored as {}", take.stored_as.format),
            "use the original recording: a lossy coding changes what is compared",
        ),
        on(
            &limits::TOO_FEW_EVENTS,
            if (n_used as f64) < limits::TOO_FEW_EVENTS.value { Outcome::Caution } else { Outcome::Fair },
            Some(n_used as f64),
            format!("{n_used} events used"),
            "play at least eight more hits, or ten more seconds of sustained sound",
        ),
    ]
}

/// Checks on a pair.
pub(crate) fn of_comparison(
    c: &ComparisonFindings,
    index: usize,
    a: &[(&Take, &TakeMeasure)],
    b: &[(&Take, &TakeMeasure)],
) -> Vec<CheckResult> {
    let on = |limit: &Limit, caution: bool, measured: f64, text: String, advice: &str| CheckResult {
        code: limit.code.to_string(),
        outcome: if caution { Outcome::Caution } else { Outcome::Fair },
        take: None,
        comparison: Some(index),
        measured: Some(measured),
        limit: Some(limit.value),
        unit: limit.unit.to_string(),
        text,
        advice: advice.to_string(),
    };
    let rates = |takes: &[(&Take, &TakeMeasure)]| takes.iter().map(|(_, m)| m.rate_hz).min().unwrap_or(0);
    let bits = |takes: &[(&Take, &TakeMeasure)]| {
        takes.iter().filter_map(|(t, _)| t.stored_as.bits).min().unwrap_or(0)
    };
    let (rate_a, rate_b, bits_a, bits_b) = (rates(a), rates(b), bits(a), bits(b));
    let same = a.iter().any(|(x, _)| {
        b.iter().any(|(y, _)| {
            x.channel == y.channel
                && !x.stored_as.sha256.is_empty()
                && x.stored_as.sha256 == y.stored_as.sha256
        })
    });
    let placements = c.counts.reference.placements.min(c.counts.against.placements);
    vec![
        on(
            &limits::RATES_DIFFER,
            rate_a != rate_b,
            (f64::from(rate_a) - f64::from(rate_b)).abs(),
            format!("sampling rates {rate_a} Hz and {rate_b} Hz; bands end below the lower one"),
            "record both at one rate",
        ),
        on(
            &limits::WORD_LENGTH_DIFFERS,
            bits_a != bits_b,
            (f64::from(bits_a) - f64::from(bits_b)).abs(),
            format!("word lengths {bits_a} and {bits_b} bits"),
            "record both with one word length",
        ),
        on(
            &limits::SAME_FILE_TWICE,
            same,
            f64::from(u8::from(same)),
            (if same { "both microphones have the same recording" } else { "the recordings differ" })
                .to_string(),
            "check which file belongs to which microphone",
        ),
        on(
            &limits::FEW_PLACEMENTS,
            f64::from(placements) < limits::FEW_PLACEMENTS.value,
            f64::from(placements),
            format!(
                "{placements} placement(s) per microphone; with fewer than two the difference is that of these takes as \
                 placed, not of the microphones"
            ),
            "take each microphone away, set it up again and record again, at least once",
        ),
    ]
}
