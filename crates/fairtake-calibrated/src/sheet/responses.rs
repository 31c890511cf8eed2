//! Responses of a microphone at one place: found, deconvolved, gated, averaged, held against the reference.

use super::part::{Missing, Part};
use crate::bench::{BenchMic, BenchTake};
use crate::microphone::{
    Deviation, EffectiveRange, MaskResult, MicrophoneResponse, Pattern, Reference, SubstitutionError,
    Ungated, average, average_less, deviation, effective_range, held_against, one_setting_up, substituted,
};
use crate::response::{
    Gate, ImpulseResponse, Point, Response, ResponseError, ResponseSettings, impulse_responses,
};
use crate::{Contribution, Quantity, found};
use serde::{Deserialize, Serialize};

/// Bands per octave of responses.
const PER_OCTAVE: u32 = 12;
/// Limits of the effective frequency range, in dB.
const RANGE_LIMITS_DB: [f64; 2] = [-3.0, -10.0];
/// Where a reference states nothing, so much is taken, in dB either way (common practice, no source).
pub(super) const UNSTATED_WITHIN_DB: f64 = 1.0;
/// The whole that is used below the gate's limit must not be longer than this, in seconds.
const LONGEST_GATE_S: f64 = 0.5;

/// One take, deconvolved.
#[derive(Clone)]
pub(super) struct Heard<'b> {
    pub take: &'b BenchTake,
    /// One per level, from quiet to loud.
    pub impulses: Vec<ImpulseResponse>,
    pub drift_ppm: Quantity,
}

/// Takes that could be deconvolved, and why others could not.
#[derive(Default)]
pub(super) struct Series<'b> {
    pub heard: Vec<Heard<'b>>,
    pub missing: Vec<Missing>,
}

/// Deconvolves takes, several at a time.
pub(super) fn heard<'b>(takes: &[&'b BenchTake]) -> Series<'b> {
    let n_threads = std::thread::available_parallelism().map_or(1, |n| n.get());
    let next = std::sync::atomic::AtomicUsize::new(0);
    let work = || {
        let mut own = Vec::new();
        loop {
            let i = next.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
            let Some(take) = takes.get(i) else { break own };
            own.push((i, one(take)));
        }
    };
    let mut all: Vec<(usize, Result<Heard<'b>, Missing>)> = std::thread::scope(|scope| {
        let threads: Vec<_> = (0..n_threads).map(|_| scope.spawn(work)).collect();
        threads.into_iter().flat_map(|t| t.join().expect("measuring does not panic")).collect()
    });
    all.sort_by_key(|(i, _)| *i);
    let mut series = Series::default();
    for (_, result) in all {
        match result {
            Ok(one) => series.heard.push(one),
            Err(e) => series.missing.push(e),
        }
    }
    series
}

fn one(take: &BenchTake) -> Result<Heard<'_>, Missing> {
    let excitation = take
        .excitation
        .as_ref()
        .ok_or_else(|| Missing::of(&take.id, "what was played is not logged", "add excitation = \"…\""))?;
    let samples = take.read().map_err(|e| Missing::of(&take.id, &e.what, &e.hint))?;
    let found = found(&samples, take.samples.rate_hz(), excitation)
        .map_err(|e| Missing::of(&take.id, &e, e.hint()))?;
    let impulses =
        impulse_responses(&samples, &found, excitation).map_err(|e| Missing::of(&take.id, &e, e.hint()))?;
    Ok(Heard { take, impulses, drift_ppm: found.drift_ppm })
}

/// The first reflection after the direct sound at a place: the earliest of all takes, in seconds.
pub(super) fn gate_of(heard: &[&Heard]) -> Gate {
    let first = heard.iter().flat_map(|h| &h.impulses).filter_map(ImpulseResponse::first_reflection_s);
    let kept =
        heard.iter().flat_map(|h| &h.impulses).map(ImpulseResponse::kept_s).fold(f64::INFINITY, f64::min);
    match first.fold(f64::INFINITY, f64::min) {
        s if s.is_finite() => Gate::Seconds(s.min(kept)),
        _ => Gate::Seconds(kept.min(LONGEST_GATE_S)),
    }
}

/// The curve of a take's loudest level.
pub(super) fn response_of(heard: &Heard, per_octave: u32, gate: Gate) -> Result<Response, Missing> {
    let settings = ResponseSettings { per_octave, gate };
    let impulse = heard.impulses.last().ok_or_else(|| {
        Missing::of(&heard.take.id, "nothing was played", "record the file that `fairtake sweep` made")
    })?;
    Response::of(impulse, &settings).map_err(|e| Missing::of(&heard.take.id, &e, e.hint()))
}

/// Several takes of one place, averaged: gated, and whole.
pub(super) struct Averaged {
    pub gated: Response,
    /// The gated curve of each setting-up.
    pub settings_up: Vec<Vec<Point>>,
    /// Gated and whole, each setting-up less its level at 1 kHz; `None`: one has none.
    shapes: Option<[Response; 2]>,
    /// Level at 1 kHz of each setting-up, in dB re that of the sweep.
    pub at_1khz_db: Vec<f64>,
    /// The same of each take, in the order of the log.
    pub takes_at_1khz_db: Vec<f64>,
    reflected_share: f64,
}

/// Curves of takes, in one for each setting-up: takes of one placement are one. In the order in which they come first.
fn by_setting_up(heard: &[&Heard], curves: &[Response]) -> Result<Vec<Response>, ResponseError> {
    let mut settings_up: Vec<(u32, Vec<Response>)> = Vec::new();
    for (take, curve) in heard.iter().map(|h| h.take).zip(curves) {
        match settings_up.iter_mut().find(|(placement, _)| *placement == take.placement) {
            Some((_, curves)) => curves.push(curve.clone()),
            None => settings_up.push((take.placement, vec![curve.clone()])),
        }
    }
    settings_up.iter().map(|(_, curves)| one_setting_up(curves)).collect()
}

/// Averages the takes of a place, settings-up over all of them.
pub(super) fn averaged(heard: &[&Heard], gate: Gate) -> Result<Averaged, Missing> {
    let of = |gate: Gate| -> Result<Vec<Response>, Missing> {
        heard.iter().map(|h| response_of(h, PER_OCTAVE, gate)).collect()
    };
    let failed = |e: ResponseError| Missing::whole(&e, e.hint());
    let at_1khz_db =
        |all: &[Response]| -> Vec<f64> { all.iter().filter_map(|r| r.at(1000.0)).map(|q| q.value).collect() };
    let takes = of(gate)?;
    let takes_at_1khz_db = at_1khz_db(&takes);
    let gated = by_setting_up(heard, &takes).map_err(failed)?;
    let whole = by_setting_up(heard, &of(Gate::Whole)?).map_err(failed)?;
    let at_1khz_db = at_1khz_db(&gated);
    let shape = |all: &[Response]| average_less(all, &at_1khz_db).map_err(failed);
    let shapes = match at_1khz_db.len() == gated.len() {
        true => Some([shape(&gated)?, shape(&whole)?]),
        false => None,
    };
    let settings_up = gated.iter().map(|r| r.points.clone()).collect();
    let gated = average(&gated).map_err(failed)?;
    let gate_s = gated.gate_s;
    let reflected = heard.iter().filter_map(|h| h.impulses.last()).map(|i| i.reflected_share(gate_s));
    let reflected_share = reflected.fold(0.0, f64::max);
    Ok(Averaged { shapes, settings_up, gated, at_1khz_db, takes_at_1khz_db, reflected_share })
}

/// Adds what one setting-up alone does not tell: what another would change of each point of a shape against 1 kHz.
fn assumed_of_single(response: &mut MicrophoneResponse, own: &Averaged, reference: &Averaged) {
    for (which, of) in [("microphone", own), ("reference", reference)] {
        let [alone] = of.at_1khz_db.as_slice() else { continue };
        let assumed = Contribution::of_settings_up(&format!("setting-up of the {which}"), &[*alone]);
        for level in response.points.iter_mut().filter_map(|p| p.level_db.as_mut()) {
            let budget = level.budget.iter().cloned().chain([assumed.clone()]).collect();
            *level = Quantity::new(level.value, budget);
        }
    }
}

/// What a data sheet says of the frequency response.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ResponseSheet {
    /// The microphone's own response, by substitution against a reference; `None`: there was none.
    pub own: Option<MicrophoneResponse>,
    /// What the take holds: loudspeaker, place and microphone together.
    pub with_loudspeaker: Response,
    /// Key of the reference.
    pub reference: Option<String>,
    /// Its name for people.
    pub reference_name: Option<String>,
    /// Distance in mm.
    pub distance_mm: Option<f64>,
    /// How often the microphone was set up: several sweeps of one placement are one setting-up.
    pub n_repeats: usize,
    /// By how much the recorder's clock is faster than the player's, in parts per million.
    pub drift_ppm: Quantity,
    /// Range within −3 and −10 dB against 1 kHz.
    pub ranges: Vec<EffectiveRange>,
    /// Against the published curve.
    pub published: Option<Deviation>,
    /// Against the tolerances.
    pub tolerance: Option<MaskResult>,
}

/// The reference at the same place.
pub(super) struct ReferenceHere<'r> {
    pub key: &'r str,
    pub mic: &'r BenchMic,
    pub heard: &'r Averaged,
}

/// The response of a microphone at the standard place.
pub(super) fn response_sheet(
    heard: &[&Heard],
    own: &Averaged,
    mic: &BenchMic,
    reference: Option<&ReferenceHere>,
    is_reference: bool,
    mut missing: Vec<Missing>,
) -> Part<ResponseSheet> {
    let Some(first) = heard.first() else { return Part::none(missing) };
    let held = reference.map(|r| {
        let shapes = own.shapes.as_ref().zip(r.heard.shapes.as_ref());
        let shapes: [&[Response; 2]; 2] = shapes.ok_or(SubstitutionError::NoOneKilohertz)?.into();
        let named = Reference {
            correction: r.mic.correction.clone(),
            half_db: r.mic.correction_within_db.unwrap_or(UNSTATED_WITHIN_DB),
            // A bound within which all lies is as an expanded uncertainty with √3.
            coverage_factor: 3f64.sqrt(),
        };
        let same = mic.gradient_share.is_some() && mic.gradient_share == r.mic.gradient_share;
        let ungated = Ungated {
            tested: &shapes[0][1],
            reference: &shapes[1][1],
            reflected_share: own.reflected_share.max(r.heard.reflected_share),
            pattern: if same { Pattern::Same } else { Pattern::Different },
        };
        let mut found = substituted(&shapes[0][0], &shapes[1][0], &named, Some(ungated))?;
        assumed_of_single(&mut found, own, r.heard);
        Ok::<_, SubstitutionError>(found)
    });
    let own_response = match held {
        Some(Ok(response)) => Some(response),
        Some(Err(e)) => {
            missing.push(Missing::whole(&e, e.hint()));
            None
        }
        None if is_reference => {
            missing.push(Missing::whole(
                "it is the reference itself: its own response is what its correction file says",
                "measure it against another reference to check that",
            ));
            None
        }
        None => {
            let hint = "record the same excitation with a measurement microphone at the same place (measurement = true)";
            missing.push(Missing::whole(
                "loudspeaker and microphone cannot be told apart without a reference",
                hint,
            ));
            None
        }
    };
    let points = own_response.as_ref().map(|r| r.points.as_slice());
    let of = |limit: &f64| points.and_then(|p| effective_range(p, *limit));
    Part::found(
        ResponseSheet {
            ranges: RANGE_LIMITS_DB.iter().filter_map(of).collect(),
            published: points.zip(mic.published.as_ref()).and_then(|(p, curve)| deviation(p, curve)),
            tolerance: points.zip(mic.tolerance.as_ref()).and_then(|(p, mask)| held_against(p, mask)),
            own: own_response,
            with_loudspeaker: own.gated.clone(),
            reference: reference.map(|r| r.key.to_string()),
            reference_name: reference.map(|r| r.mic.name.clone()),
            distance_mm: first.take.distance_mm,
            n_repeats: own.settings_up.len(),
            drift_ppm: first.drift_ppm.clone(),
        },
        missing,
    )
}
