//! Distortion of a microphone from its takes of level steps.

use super::levels::two_gains;
use super::part::{Missing, Part};
use super::responses::{Heard, Series, gate_of};
use super::sorted::same_distance;
use crate::Quantity;
use crate::distortion::{
    Distortion, LevelStep, OwnPoint, Reached, levels_for_thd, own_distortion, thd_over_level,
};
use crate::level::Sensitivity;
use fairtake_signal::units::power_db;
use serde::{Deserialize, Serialize};

/// Points per octave.
const PER_OCTAVE: u32 = 3;
/// Frequency at which distortion over level is given, in Hz.
const AT_HZ: f64 = 1000.0;
/// By what share of amplitude the sound at the point of the reference may differ (assumption).
const PLACE_SHARE: f64 = 0.1;
/// Power of a sine that just reaches full scale, re a square of full scale.
const SINE_POWER: f64 = 0.5;

/// What a data sheet says of distortion.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DistortionSheet {
    /// Over frequency, at the loudest step: loudspeaker and microphone together.
    pub loudest: Distortion,
    /// The microphone's own at that step; empty without a reference take.
    pub own: Vec<OwnPoint>,
    /// Key of the reference.
    pub reference: Option<String>,
    /// Its name for people.
    pub reference_name: Option<String>,
    /// Over level at 1 kHz: loudspeaker and microphone together.
    pub over_level: Vec<LevelStep>,
    /// Sound pressure level of an effective value of 0 dBFS, in dB SPL; `None`: not known, and levels are in dBFS.
    pub full_scale_spl_db: Option<Quantity>,
    /// Limit in percent, and where it is reached.
    pub reached: Vec<(f64, Option<Reached>)>,
    /// Distance in mm.
    pub distance_mm: Option<f64>,
}

/// Sound pressure level of an effective value of 0 dBFS at another gain than that of the sensitivity, where both are logged.
fn full_scale_spl(sensitivity: &Sensitivity, gain_db: Option<f64>, gain_within_db: f64) -> Option<Quantity> {
    let known = &sensitivity.full_scale_spl_db;
    let (then, now) = (sensitivity.conditions.chain.gain_db.map(|g| g.value), gain_db);
    let (change_db, part) = match (then, now) {
        (Some(then), Some(now)) if (then - now).abs() < 0.01 => (0.0, None),
        (Some(then), Some(now)) => {
            (then - now, Some(two_gains(then - now, gain_within_db).contribution("gain changed")))
        }
        _ => return None,
    };
    let budget = known.budget.iter().cloned().chain(part).collect();
    // Full scale is that of a sine; an effective value of 0 dBFS is 3 dB more.
    Some(Quantity::new(known.value + change_db - power_db(SINE_POWER)?, budget))
}

/// Key of a microphone, and its name for people.
#[derive(Clone, Copy)]
pub(super) struct Named<'n> {
    pub key: &'n str,
    pub name: &'n str,
}

/// Distortion from the first take of steps, with a reference take at the same distance if there is one.
pub(super) fn distortion_sheet(
    series: &Series,
    reference: Option<(Named, &[Heard])>,
    sensitivity: Option<&Sensitivity>,
    gain_within_db: f64,
) -> Part<DistortionSheet> {
    let mut missing = series.missing.clone();
    let Some(first) = series.heard.first() else {
        if missing.is_empty() {
            let hint =
                "play a file with level steps: `fairtake sweep steps.wav --level -36,-30,-24,-18,-12,-6`";
            missing.push(Missing::whole("no level steps were recorded", hint));
        }
        return Part::none(missing);
    };
    missing.extend(series.heard[1..].iter().map(|other| {
        Missing::of(&other.take.id, "only the first take of steps is used", "log that which is to count")
    }));
    let beside = reference.and_then(|(named, all)| {
        let here = all
            .iter()
            .find(|h| same_distance(h.take, first.take) && h.take.excitation == first.take.excitation)?;
        Some((named, here))
    });
    let gate = gate_of(&beside.iter().map(|(_, h)| *h).chain([first]).collect::<Vec<_>>());
    let of = |impulse| Distortion::of(impulse, PER_OCTAVE, gate);
    let steps: Result<Vec<Distortion>, _> = first.impulses.iter().map(of).collect();
    let mut steps = match steps {
        Ok(steps) => steps,
        Err(e) => {
            missing.push(Missing::of(&first.take.id, &e, e.hint()));
            return Part::none(missing);
        }
    };
    let spl = sensitivity.and_then(|s| full_scale_spl(s, first.take.gain_db, gain_within_db));
    let over_level = thd_over_level(&steps, AT_HZ, spl.as_ref());
    let reached = levels_for_thd(&over_level, spl.as_ref()).to_vec();
    let Some(loudest) = steps.pop() else {
        missing.push(Missing::of(
            &first.take.id,
            "nothing was played",
            "record the file that `fairtake sweep` made",
        ));
        return Part::none(missing);
    };
    let own = match (beside, first.impulses.last()) {
        (Some((_, here)), Some(tested)) => {
            match own_distortion(tested, here.impulses.last(), PLACE_SHARE, PER_OCTAVE, gate) {
                Ok(own) => own,
                Err(e) => {
                    missing.push(Missing::of(&here.take.id, &e, e.hint()));
                    Vec::new()
                }
            }
        }
        _ => {
            let hint = "record the same steps with a measurement microphone at the same place";
            missing.push(Missing::whole("loudspeaker and microphone cannot be separated", hint));
            Vec::new()
        }
    };
    Part::found(
        DistortionSheet {
            loudest,
            own,
            reference: beside.map(|(named, _)| named.key.to_string()),
            reference_name: beside.map(|(named, _)| named.name.to_string()),
            over_level,
            full_scale_spl_db: spl,
            reached,
            distance_mm: first.take.distance_mm,
        },
        missing,
    )
}
