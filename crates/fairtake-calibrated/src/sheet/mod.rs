//! Everything that was measured of the microphones of a bench: a data sheet each, in the order of IEC 60268-4 (from memory).

mod distorts;
mod levels;
mod near;
mod pairs;
mod part;
mod responses;
mod sorted;
mod stated;
mod turned;

pub use distorts::DistortionSheet;
pub use pairs::MatchedPair;
pub use part::{Missing, Part};
pub use responses::ResponseSheet;
pub use stated::{Agreement, BesideStated, Bound};

use crate::bench::{Bench, BenchMic};
use crate::direction::Direction;
use crate::level::{Noise, Sensitivity};
use crate::proximity::Proximity;
use levels::CalibratedReference;
use responses::{Averaged, Heard, ReferenceHere, Series};
use serde::{Deserialize, Serialize};
use sorted::Sorted;
use std::collections::BTreeMap;

/// What was measured.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Measurements {
    /// Number of this form.
    pub schema: u32,
    /// Version of the program that measured.
    pub version: String,
    /// Title of the session.
    pub title: String,
    /// Temperature in °C; `None`: not logged, 20 was taken.
    pub temperature_c: Option<f64>,
    /// Static pressure in kPa; `None`: not logged.
    pub static_pressure_kpa: Option<f64>,
    /// One for each microphone with takes, in the order of their keys.
    pub sheets: Vec<DataSheet>,
    /// Each with each of the microphones recorded on the axis at the standard place.
    pub pairs: Vec<MatchedPair>,
}

/// One page per microphone.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DataSheet {
    /// Key in the log.
    pub mic: String,
    /// Name for people.
    pub name: String,
    /// Sensitivity.
    pub sensitivity: Part<Sensitivity>,
    /// Frequency response.
    pub response: Part<ResponseSheet>,
    /// Directional characteristics.
    pub direction: Part<Direction>,
    /// Proximity effect.
    pub proximity: Part<Proximity>,
    /// Amplitude non-linearity.
    pub distortion: Part<DistortionSheet>,
    /// Inherent noise.
    pub noise: Part<Noise>,
    /// What its maker states beside what was measured.
    pub beside_stated: Vec<BesideStated>,
}

/// One microphone while it is measured.
struct Measuring<'b> {
    key: &'b str,
    mic: &'b BenchMic,
    takes: Sorted<'b>,
    axis: Series<'b>,
    steps: Series<'b>,
    angles: Series<'b>,
    distances: Series<'b>,
    averaged: Option<Averaged>,
}

/// Measures everything that a bench holds. What cannot be measured is said where it would stand.
pub fn measure(bench: &Bench, version: &str) -> Measurements {
    let reference = sorted::reference(bench);
    let standard = sorted::standard(bench, reference);
    let with_takes = bench.mics.iter().filter(|(key, _)| bench.takes.iter().any(|t| t.mic == **key));
    let mut all: Vec<Measuring> = with_takes
        .map(|(key, mic)| {
            let takes = sorted::sorted(bench, key, standard);
            let [mut axis, steps, angles, distances] =
                [&takes.axis, &takes.steps, &takes.angles, &takes.distances].map(|of| responses::heard(of));
            axis.missing.extend(takes.strays.iter().cloned());
            Measuring { key, mic, takes, axis, steps, angles, distances, averaged: None }
        })
        .collect();
    // One gate for all at one place, so that what is subtracted was cut alike.
    let everything: Vec<&Heard> = all.iter().flat_map(|m| &m.axis.heard).collect();
    let gate = responses::gate_of(&everything);
    for m in &mut all {
        if m.axis.heard.is_empty() {
            continue;
        }
        match responses::averaged(&m.axis.heard.iter().collect::<Vec<_>>(), gate) {
            Ok(averaged) => m.averaged = Some(averaged),
            Err(e) => m.axis.missing.push(e),
        }
    }
    let sensitivities = sensitivities(bench, &all, reference);
    let sheets = all.iter().map(|m| sheet(bench, m, &all, reference, &sensitivities)).collect();
    Measurements {
        schema: 1,
        version: version.into(),
        title: bench.title.clone(),
        temperature_c: bench.temperature_c,
        static_pressure_kpa: bench.static_pressure_kpa,
        sheets,
        pairs: pairs::pairs(bench, &all),
    }
}

/// By calibrator where there are takes of it, else by substitution.
fn sensitivities<'b>(
    bench: &Bench,
    all: &[Measuring<'b>],
    reference: Option<&str>,
) -> BTreeMap<&'b str, Part<Sensitivity>> {
    let mut out: BTreeMap<&str, Part<Sensitivity>> = BTreeMap::new();
    for m in all.iter().filter(|m| !m.takes.calibrator.is_empty()) {
        out.insert(m.key, levels::calibrated(bench, m.mic, &m.takes.calibrator));
    }
    let known = reference.and_then(|key| {
        let m = all.iter().find(|m| m.key == key)?;
        Some((m, out.get(key)?.found.clone()?))
    });
    for m in all {
        if out.contains_key(m.key) {
            continue;
        }
        let found = match (&known, &m.averaged) {
            (Some((reference, sensitivity)), Some(own)) => match &reference.averaged {
                Some(heard) => {
                    let of = CalibratedReference {
                        sensitivity,
                        calibrator: &reference.takes.calibrator,
                        axis: &reference.takes.axis,
                        heard,
                    };
                    levels::substituted(bench, &m.takes.axis, own, &of)
                }
                None => Part::without("the reference has no response", "record it at the same place"),
            },
            (None, _) => Part::without(
                "no microphone of known sensitivity was recorded at the same place",
                "calibrate a measurement microphone and record it before the loudspeaker too",
            ),
            (_, None) => Part::without("no response was recorded", "record the loudspeaker with it"),
        };
        out.insert(m.key, found);
    }
    out
}

fn sheet(
    bench: &Bench,
    m: &Measuring,
    all: &[Measuring],
    reference: Option<&str>,
    sensitivities: &BTreeMap<&str, Part<Sensitivity>>,
) -> DataSheet {
    let sensitivity = sensitivities[m.key].clone();
    let here = reference.filter(|key| *key != m.key).and_then(|key| {
        let of = all.iter().find(|other| other.key == key)?;
        Some(ReferenceHere { key, mic: of.mic, heard: of.averaged.as_ref()? })
    });
    let response = match &m.averaged {
        Some(own) => {
            let heard: Vec<&Heard> = m.axis.heard.iter().collect();
            responses::response_sheet(
                &heard,
                own,
                m.mic,
                here.as_ref(),
                reference == Some(m.key),
                m.axis.missing.clone(),
            )
        }
        None => {
            let mut missing = m.axis.missing.clone();
            if missing.is_empty() {
                let hint = "play a file of `fairtake sweep` and log the take: role = \"response\"";
                missing.push(Missing::whole("no response was recorded", hint));
            }
            Part::none(missing)
        }
    };
    let of = |key: &str| sensitivities.get(key).and_then(|part| part.found.clone());
    let noise = levels::noise(bench, &m.takes, sensitivity.found.as_ref(), of);
    let steps = reference.filter(|key| *key != m.key).and_then(|key| {
        let of = all.iter().find(|other| other.key == key)?;
        Some((distorts::Named { key, name: &of.mic.name }, of.steps.heard.as_slice()))
    });
    let distortion =
        distorts::distortion_sheet(&m.steps, steps, sensitivity.found.as_ref(), bench.gain_within_db);
    let mut sheet = DataSheet {
        mic: m.key.to_string(),
        name: m.mic.name.clone(),
        sensitivity,
        response,
        direction: turned::direction_sheet(bench, [&m.axis, &m.distances], &m.angles),
        proximity: near::proximity_sheet(bench, &m.axis, &m.distances),
        distortion,
        noise,
        beside_stated: Vec::new(),
    };
    sheet.beside_stated = stated::beside(&m.mic.stated, &sheet);
    sheet
}

#[cfg(test)]
mod tests;
