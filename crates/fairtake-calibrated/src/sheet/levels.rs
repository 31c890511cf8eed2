//! Sensitivity and noise of a microphone, from its takes.

use super::part::{Missing, Part};
use super::responses::{Averaged, UNSTATED_WITHIN_DB};
use super::sorted::Sorted;
use crate::Contribution;
use crate::bench::{Bench, BenchMic, BenchTake, MeasuredRole};
use crate::level::{
    Beside, Calibrator, Chain, Conditions, Field, LevelCaution, LevelError, Noise, NoiseTake, Pattern,
    Sensitivity, Stated, by_calibrator, by_substitution, drifted, self_noise,
};

/// Gains that differ by less than this, in dB, are one.
pub(super) const SAME_DB: f64 = 0.01;
/// What reflections that are left behind the gate may do at 1 kHz, in dB either way (common practice, no source).
const REFLECTIONS_DB: f64 = 0.1;

/// The chain behind takes of one gain.
fn chain(bench: &Bench, gain_db: Option<f64>) -> Chain {
    Chain {
        gain_db: gain_db.map(|db| Stated::within(db, bench.gain_within_db)),
        full_scale_dbv: bench.full_scale_dbv,
    }
}

/// Difference of two logged gains in dB: each is read by itself, so their doubts add as squares.
pub(super) fn two_gains(change_db: f64, within_db: f64) -> Stated {
    Stated::within(change_db, std::f64::consts::SQRT_2 * within_db)
}

/// Both were recorded at one gain, or at one that is not logged.
pub(super) fn same_gain(one: &BenchTake, other: &BenchTake) -> bool {
    one_db(one.gain_db, other.gain_db)
}

fn one_db(one: Option<f64>, other: Option<f64>) -> bool {
    match (one, other) {
        (Some(a), Some(b)) => (a - b).abs() <= SAME_DB,
        (a, b) => a.is_none() && b.is_none(),
    }
}

/// The gain that all takes share; an error where they differ.
pub(super) fn one_gain(takes: &[&BenchTake]) -> Result<Option<f64>, Missing> {
    let Some(first) = takes.first() else { return Ok(None) };
    match takes.iter().find(|t| !same_gain(t, first)) {
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

/// Frequency at which sensitivities are stated, in Hz.
const STATED_AT_HZ: f64 = 1000.0;

/// A sensitivity at the calibrator's frequency, carried to 1 kHz by the microphone's correction file; without one, by nothing, and
/// what that may be off is in the budget.
fn at_1khz(found: Sensitivity, mic: &BenchMic) -> Sensitivity {
    let from_hz = found.conditions.frequency_hz;
    if (from_hz / STATED_AT_HZ - 1.0).abs() < 0.01 {
        return found;
    }
    let curve = mic.correction.as_ref();
    let known = curve.and_then(|curve| Some(curve.db(STATED_AT_HZ)? - curve.db(from_hz)?));
    let within = match known {
        // Two points of one file.
        Some(_) => std::f64::consts::SQRT_2 * mic.correction_within_db.unwrap_or(UNSTATED_WITHIN_DB),
        None => UNSTATED_WITHIN_DB,
    };
    let mut budget = found.dbfs_per_pa.budget;
    budget.push(Contribution::within("response from the calibrator's frequency to 1 kHz", within));
    let conditions = Conditions { frequency_hz: STATED_AT_HZ, ..found.conditions };
    Sensitivity::of(found.dbfs_per_pa.value + known.unwrap_or(0.0), budget, conditions, found.cautions)
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
        Ok(sensitivity) => Part::found(at_1khz(sensitivity, mic), Vec::new()),
        Err(e) => Part::none(vec![refused(&e)]),
    }
}

/// The reference in the field, and its own sensitivity.
pub(super) struct CalibratedReference<'r> {
    pub sensitivity: &'r Sensitivity,
    /// Its takes of the calibrator.
    pub calibrator: &'r [&'r BenchTake],
    /// Its takes in the field.
    pub axis: &'r [&'r BenchTake],
    pub heard: &'r Averaged,
}

/// By a microphone of known sensitivity at the same place.
pub(super) fn substituted(
    bench: &Bench,
    takes: &[&BenchTake],
    own: &Averaged,
    reference: &CalibratedReference,
) -> Part<Sensitivity> {
    let gains = [takes, reference.axis, reference.calibrator].map(one_gain);
    let [gain_db, now_db, then_db] = match gains {
        [Ok(own), Ok(now), Ok(then)] => [own, now, then],
        differ => return Part::none(differ.into_iter().filter_map(Result::err).collect()),
    };
    let gain_change_db = match (now_db, then_db) {
        (Some(now), Some(then)) if (now - then).abs() <= SAME_DB => Stated::exact(0.0),
        (Some(now), Some(then)) => two_gains(now - then, bench.gain_within_db),
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
        played_dbfs: own.gated.level_dbfs,
        position_mm: bench.place_within_mm,
        reflections_db: REFLECTIONS_DB,
        gain_change_db,
        temperature_c: bench.temperature_or_usual_c(),
    };
    let levels = (&reference.heard.at_1khz_db, &own.at_1khz_db);
    match by_substitution(reference.sensitivity, levels.0, levels.1, &field, &chain(bench, gain_db)) {
        Ok(mut sensitivity) => {
            // What came before and after may be logged as one setting-up: then its takes tell.
            let is_drift = |c: &LevelCaution| matches!(c, LevelCaution::ReferenceDrifted { .. });
            if !sensitivity.cautions.iter().any(is_drift) {
                sensitivity.cautions.extend(drifted(&reference.heard.takes_at_1khz_db));
            }
            Part::found(sensitivity, Vec::new())
        }
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
    let as_measured = |take: &BenchTake, sensitivity: &Sensitivity| {
        one_db(take.gain_db, sensitivity.conditions.chain.gain_db.map(|s| s.value))
    };
    if !as_measured(take, sensitivity) {
        let what = "silence was recorded at another gain than the sensitivity";
        return Part::none(vec![Missing::of(
            &take.id,
            what,
            "record silence at the gain of the sensitivity",
        )]);
    }
    let shorter = takes.self_noise.iter().filter(|t| t.id != take.id);
    let mut missing: Vec<Missing> = shorter
        .map(|t| Missing::of(&t.id, "another take of silence is longer", "log that which is to count"))
        .collect();
    let mut read = |take: &BenchTake| match take.read() {
        Ok(samples) => Some(samples),
        Err(e) => {
            missing.push(Missing::of(&take.id, &e.what, &e.hint));
            None
        }
    };
    let Some(samples) = read(take) else { return Part::none(missing) };
    let alike = |t: &&&BenchTake| t.samples.rate_hz() == take.samples.rate_hz() && same_gain(t, take);
    let chain_alone = takes.chain_noise.iter().find(alike).and_then(|t| read(t));
    let ambient = bench.takes.iter().find(|t| {
        t.role == MeasuredRole::Ambient
            && t.performance == take.performance
            && t.samples.rate_hz() == take.samples.rate_hz()
    });
    let beside = ambient.and_then(|t| Some((t, read(t)?, sensitivity_of(&t.mic)?)));
    let (beside, elsewhere): (Vec<_>, Vec<_>) =
        beside.into_iter().partition(|(t, _, known)| as_measured(t, known));
    missing.extend(elsewhere.iter().map(|(t, ..)| {
        let what = "it was recorded at another gain than its microphone's sensitivity";
        Missing::of(&t.id, what, "record the sound of the room at the gain of that sensitivity")
    }));
    let asked = NoiseTake {
        samples: &samples,
        rate_hz: take.samples.rate_hz(),
        chain_alone: chain_alone.as_deref(),
        beside: beside.first().map(|(t, samples, known)| Beside {
            samples,
            dbfs_per_pa: known.dbfs_per_pa.value,
            is_omnidirectional: bench.mics.get(&t.mic).is_some_and(|m| m.pattern == Pattern::Omnidirectional),
        }),
    };
    match self_noise(&asked, sensitivity) {
        Ok(noise) => Part::found(noise, missing),
        Err(e) => {
            missing.push(Missing { take: Some(take.id.clone()), ..refused(&e) });
            Part::none(missing)
        }
    }
}
