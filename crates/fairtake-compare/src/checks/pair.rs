//! Checks on a pair of microphones on one source.

use super::limits::{self, Limit};
use super::{Pair, played};
use crate::wording::number_of;
use crate::{ChainEntry, CheckResult, ComparisonFindings, Outcome, Polarity, Take, TakeMeasure, Verdict};

/// The result of a check on a pair.
pub(super) fn on(
    pair: &Pair,
    limit: &Limit,
    caution: bool,
    measured: impl Into<Option<f64>>,
    text: String,
    advice: &str,
) -> CheckResult {
    CheckResult {
        code: limit.code.to_string(),
        outcome: if caution { Outcome::Caution } else { Outcome::Fair },
        take: None,
        comparison: Some(pair.index),
        measured: measured.into(),
        limit: Some(limit.value),
        unit: limit.unit.to_string(),
        text,
        advice: advice.to_string(),
    }
}

/// Checks on a pair.
pub(crate) fn of_comparison(c: &ComparisonFindings, pair: &Pair) -> Vec<CheckResult> {
    let (a, b) = (pair.a, pair.b);
    let on = |limit: &Limit, caution: bool, measured: f64, text: String, advice: &str| {
        on(pair, limit, caution, measured, text, advice)
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
    let n_twins = twins(a, b);
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
                "{} per microphone; with fewer than two the difference is that of these takes as placed, not of the \
                 microphones",
                number_of(placements as usize, "placement")
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
        on(
            &limits::DUAL_MONO,
            n_twins > 0,
            n_twins as f64,
            if n_twins == 0 {
                "no two takes hold the same samples".to_string()
            } else {
                format!(
                    "the same samples in different files, upright or upside down: {} of takes",
                    number_of(n_twins, "pair")
                )
            },
            "check the routing: one microphone was recorded twice, or a stereo file holds one channel",
        ),
    ];
    if let Some((median_db, share)) = signal_to_noise(c) {
        out.push(on(
            &limits::SNR_LOW,
            median_db < limits::SNR_LOW.value,
            median_db,
            format!(
                "the median band lies {median_db:.0} dB above the noise; {:.0} % of the bands are held back",
                100.0 * share
            ),
            "play louder or nearer, or find a quieter room",
        ));
    }
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
    out.extend(played::of_comparison(c, pair));
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

/// Pairs of takes, one by each microphone, that hold the same samples although their files differ. Levels and bands of
/// every event are compared bit by bit: two microphones never agree so.
fn twins(a: &[(&Take, &TakeMeasure)], b: &[(&Take, &TakeMeasure)]) -> usize {
    let twin = |(x, m): &(&Take, &TakeMeasure), (y, n): &(&Take, &TakeMeasure)| {
        let same_channel_of_file = x.stored_as.sha256 == y.stored_as.sha256 && x.channel == y.channel;
        let sounds = m.band_energy.iter().any(|e| *e > 0.0);
        (!same_channel_of_file || x.stored_as.sha256.is_empty())
            && sounds
            && m.rate_hz == n.rate_hz
            && m.file.sample_peak == n.file.sample_peak
            && m.file.mean_square == n.file.mean_square
            && m.band_energy == n.band_energy
    };
    a.iter().map(|x| b.iter().filter(|y| twin(x, y)).count()).sum()
}

/// Median signal-to-noise over bands in dB, and the share of bands that are held back; `None` where noise is unknown.
fn signal_to_noise(c: &ComparisonFindings) -> Option<(f64, f64)> {
    let mut snr_db: Vec<f64> = c.bands.iter().filter_map(|b| b.snr_db).collect();
    snr_db.sort_by(f64::total_cmp);
    let held_back = c.bands.iter().filter(|b| b.verdict == Verdict::OutOfRange).count();
    Some((*snr_db.get(snr_db.len() / 2)?, held_back as f64 / c.bands.len() as f64))
}
