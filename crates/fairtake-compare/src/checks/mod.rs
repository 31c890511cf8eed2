//! Is it fair? Checks before any claim. Every one gives a figure, its limit, what it does and what to do about it.

pub(crate) mod limits;

use crate::{ChainEntry, CheckResult, ComparisonFindings, LeftOut, Outcome, Polarity, Take, TakeMeasure};
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
    let chain = chain_differences(a, b);
    let mut out = vec![
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
        on(
            &limits::CHAIN_DIFFERS,
            !chain.is_empty(),
            chain.len() as f64,
            if chain.is_empty() {
                "pad, filter, preamp, converter and cable are logged alike, or not logged".to_string()
            } else {
                format!("logged differently: {}; a difference may be the chain's", chain.join(", "))
            },
            "record both through one chain, with pad and filter alike",
        ),
    ];
    if let Some(alignment) = &c.alignment {
        let (caution, measured, text) = match alignment.polarity {
            Polarity::Same => (false, 0.0, "the polarity is the same"),
            Polarity::Inverted => {
                (true, 1.0, "the polarity is inverted: levels and spectra are not touched, mixing the two is")
            }
            Polarity::Unclear => (true, 0.5, "the polarity cannot be told"),
        };
        let advice = "look for a crossed cable or a polarity switch";
        out.push(on(&limits::POLARITY, caution, measured, text.to_string(), advice));
    }
    out
}

/// One part of a chain as logged.
type Logged = fn(&ChainEntry) -> Option<String>;

/// What of the chain is logged for both microphones and not alike. The gain is not among it: levels are matched, and a
/// difference at equal gain is stated beside the one as recorded.
fn chain_differences(a: &[(&Take, &TakeMeasure)], b: &[(&Take, &TakeMeasure)]) -> Vec<&'static str> {
    let values = |takes: &[(&Take, &TakeMeasure)], pick: Logged| {
        let mut all: Vec<String> = takes.iter().filter_map(|(t, _)| pick(&t.chain)).collect();
        all.sort();
        all.dedup();
        all
    };
    let parts: [(&str, Logged); 5] = [
        ("pad", |c| c.pad_db.map(|v| v.to_string())),
        ("filter", |c| c.filter_hz.map(|v| v.to_string())),
        ("preamp", |c| c.preamp.clone()),
        ("converter", |c| c.converter.clone()),
        ("cable", |c| c.cable.clone()),
    ];
    parts
        .into_iter()
        .filter(|(_, pick)| {
            let (x, y) = (values(a, *pick), values(b, *pick));
            !x.is_empty() && !y.is_empty() && x != y
        })
        .map(|(name, _)| name)
        .collect()
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
