//! Sensitivity and noise of a microphone, from its takes.

use super::part::{Missing, Part};
use super::responses::Averaged;
use super::sorted::Sorted;
use crate::bench::{Bench, BenchMic, BenchTake, MeasuredRole};
use crate::level::{
    Beside, Calibrator, Chain, Field, LevelError, Noise, NoiseTake, Sensitivity, Stated, by_calibrator,
    by_substitution, self_noise,
};

/// Gains that differ by less than this, in dB, are one.
const SAME_DB: f64 = 0.01;
/// What reflections that are left behind the gate may do at 1 kHz, in dB either way (common practice, no source).
const REFLECTIONS_DB: f64 = 0.1;

/// The chain behind takes of one gain.
fn chain(bench: &Bench, gain_db: Option<f64>) -> Chain {
    Chain {
        gain_db: gain_db.map(|db| Stated::within(db, bench.gain_within_db)),
        full_scale_dbv: bench.full_scale_dbv,
    }
}

/// The gain that all takes share; an error where they differ.
fn one_gain(takes: &[&BenchTake]) -> Result<Option<f64>, Missing> {
    let Some(first) = takes.first() else { return Ok(None) };
    let differs = |t: &&&BenchTake| match (t.gain_db, first.gain_db) {
        (Some(a), Some(b)) => (a - b).abs() > SAME_DB,
        (a, b) => a.is_some() != b.is_some(),
    };
    match takes.iter().find(differs) {
        None => Ok(first.gain_db),
        Some(other) => Err(Missing::of(
            &other.id,
            "its gain is another than that of the first take",
            "record all takes that belong together at one gain, or log both gains alike",
        )),
    }
}

fn refused(e: &LevelError) -> Missing {
    Missing::whole(e, e.hint())
}

/// By the calibrator's takes.
pub(super) fn calibrated(bench: &Bench, mic: &BenchMic, takes: &[&BenchTake]) -> Part<Sensitivity> {
    let Some(calibrator) = &bench.calibrator else {
        return Part::without("the log has no [calibrator]", "add its level_db and its class or certificate");
    };
    let gain_db = match one_gain(takes) {
        Ok(gain_db) => gain_db,
        Err(e) => return Part::none(vec![e]),
    };
    let calibrator =
        Calibrator { pressure_to_free_field_db: mic.pressure_to_free_field_db, ..calibrator.clone() };
    let mut samples = Vec::new();
    for take in takes {
        match take.read() {
            Ok(read) => samples.push(read),
            Err(e) => return Part::none(vec![Missing::of(&take.id, &e.what, &e.hint)]),
        }
    }
    let rate_hz = takes[0].samples.rate_hz();
    if let Some(other) = takes.iter().find(|t| t.samples.rate_hz() != rate_hz) {
        return Part::none(vec![Missing::of(
            &other.id,
            "its sampling rate is another",
            "record all at one rate",
        )]);
    }
    let slices: Vec<&[f32]> = samples.iter().map(Vec::as_slice).collect();
    match by_calibrator(&slices, rate_hz, (mic.pattern, mic.purpose), &calibrator, &chain(bench, gain_db)) {
        Ok(sensitivity) => Part::found(sensitivity, Vec::new()),
        Err(e) => Part::none(vec![refused(&e)]),
    }
}

/// The reference in the field, and its own sensitivity.
pub(super) struct CalibratedReference<'r> {
    pub sensitivity: &'r Sensitivity,
    /// Gain of its calibrator takes.
    pub calibrated_gain_db: Option<f64>,
    /// Gain of its takes in the field.
    pub gain_db: Option<f64>,
    pub heard: &'r Averaged,
}

/// By a microphone of known sensitivity at the same place.
pub(super) fn substituted(
    bench: &Bench,
    takes: &[&BenchTake],
    own: &Averaged,
    reference: &CalibratedReference,
) -> Part<Sensitivity> {
    let gain_db = match one_gain(takes) {
        Ok(gain_db) => gain_db,
        Err(e) => return Part::none(vec![e]),
    };
    let gain_change_db = match (reference.gain_db, reference.calibrated_gain_db) {
        (Some(now), Some(then)) if (now - then).abs() <= SAME_DB => Stated::exact(0.0),
        // Two readings of the knob.
        (Some(now), Some(then)) => Stated::within(now - then, 2.0 * bench.gain_within_db),
        _ => {
            let hint = "log gain_db for the reference's takes of the calibrator and of the loudspeaker";
            return Part::without("whether the reference's gain was changed is not logged", hint);
        }
    };
    let Some(distance_mm) = takes.first().and_then(|t| t.distance_mm) else {
        return Part::without("the distance to the loudspeaker is not logged", "add distance_mm");
    };
    let field = Field {
        distance_mm,
        position_mm: bench.place_within_mm,
        reflections_db: REFLECTIONS_DB,
        gain_change_db,
    };
    let levels = (&reference.heard.at_1khz_db, &own.at_1khz_db);
    match by_substitution(reference.sensitivity, levels.0, levels.1, &field, &chain(bench, gain_db)) {
        Ok(sensitivity) => Part::found(sensitivity, Vec::new()),
        Err(e) => Part::none(vec![refused(&e)]),
    }
}

/// Equivalent noise levels from the takes of silence: the longest one.
pub(super) fn noise(
    bench: &Bench,
    takes: &Sorted,
    sensitivity: Option<&Sensitivity>,
    sensitivity_of: impl Fn(&str) -> Option<Sensitivity>,
) -> Part<Noise> {
    let longest = takes.self_noise.iter().max_by_key(|t| t.samples.frames());
    let Some(take) = longest else {
        return Part::without("no silence was recorded", "log a take of it: role = \"self-noise\"");
    };
    let Some(sensitivity) = sensitivity else {
        return Part::without(
            "the noise is known in the file, but not as sound: the sensitivity is missing",
            "measure the sensitivity at the same gain",
        );
    };
    let known_gain = sensitivity.conditions.chain.gain_db.map(|s| s.value);
    let same = match (take.gain_db, known_gain) {
        (Some(a), Some(b)) => (a - b).abs() <= SAME_DB,
        (a, b) => a.is_none() && b.is_none(),
    };
    if !same {
        let what = "silence was recorded at another gain than the sensitivity";
        return Part::none(vec![Missing::of(
            &take.id,
            what,
            "record silence at the gain of the sensitivity",
        )]);
    }
    let mut missing = Vec::new();
    let mut read = |take: &BenchTake| match take.read() {
        Ok(samples) => Some(samples),
        Err(e) => {
            missing.push(Missing::of(&take.id, &e.what, &e.hint));
            None
        }
    };
    let Some(samples) = read(take) else { return Part::none(missing) };
    let alike = |t: &&&BenchTake| t.samples.rate_hz() == take.samples.rate_hz() && t.gain_db == take.gain_db;
    let chain_alone = takes.chain_noise.iter().find(alike).and_then(|t| read(t));
    let ambient = bench.takes.iter().find(|t| {
        t.role == MeasuredRole::Ambient
            && t.performance == take.performance
            && t.samples.rate_hz() == take.samples.rate_hz()
    });
    let beside = ambient.and_then(|t| Some((read(t)?, sensitivity_of(&t.mic)?)));
    let asked = NoiseTake {
        samples: &samples,
        rate_hz: take.samples.rate_hz(),
        chain_alone: chain_alone.as_deref(),
        beside: beside
            .as_ref()
            .map(|(samples, known)| Beside { samples, dbfs_per_pa: known.dbfs_per_pa.value }),
        highest_spl_db: None,
    };
    match self_noise(&asked, sensitivity) {
        Ok(noise) => Part::found(noise, missing),
        Err(e) => {
            missing.push(Missing { take: Some(take.id.clone()), ..refused(&e) });
            Part::none(missing)
        }
    }
}
