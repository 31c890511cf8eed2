//! Proximity of a microphone from its takes at logged distances.

use super::levels::same_gain;
use super::part::{Missing, Part};
use super::responses::{Heard, Series};
use super::turned::thirds;
use crate::bench::Bench;
use crate::level::Stated;
use crate::proximity::{DistanceTake, Placing, Proximity, RiseAsked, proximity};
use crate::response::Gate;

/// Rises whose distance is given: a few decibels at low frequencies (common practice, no source).
const ASKED: [RiseAsked; 2] =
    [RiseAsked { frequency_hz: 100.0, rise_db: 3.0 }, RiseAsked { frequency_hz: 100.0, rise_db: 6.0 }];
/// How far a logged temperature may be off, and one that is not logged, in °C either way (common practice, no source).
const TEMPERATURE_WITHIN_C: [f64; 2] = [1.0, 5.0];

/// Proximity: the takes on the axis at several distances, that at the standard distance among them where the gain is the same.
pub(super) fn proximity_sheet(bench: &Bench, axis: &Series, distances: &Series) -> Part<Proximity> {
    let mut missing = distances.missing.clone();
    let Some(first) = distances.heard.first() else {
        if missing.is_empty() {
            let hint = "record the loudspeaker on the axis at six distances or more, over four to one, and log distance_mm";
            missing.push(Missing::whole("no series of distances was recorded", hint));
        }
        return Part::none(missing);
    };
    // Levels at different gains are not those of distance alone: a knob is not read so well.
    let alike = |h: &&Heard| same_gain(h.take, first.take);
    let (mut all, others): (Vec<&Heard>, Vec<&Heard>) = distances.heard.iter().partition(alike);
    all.extend(axis.heard.iter().find(alike));
    for other in others {
        missing.push(Missing::of(
            &other.take.id,
            "its gain is another than that of the first distance",
            "record all distances at one gain",
        ));
    }
    // Near the loudspeaker the direct sound rules; a gate would cut off the low frequencies that this is about.
    let gate = Gate::Whole;
    let mut takes = Vec::new();
    for heard in &all {
        let Some(distance_mm) = heard.take.distance_mm else { continue };
        match thirds(heard, gate) {
            // What the room adds is much more than noise, so what the readings are worth is taken from what the fit leaves.
            Ok(mut thirds) => {
                thirds.iter_mut().for_each(|band| (band.standard_db, band.degrees_of_freedom) = (None, None));
                takes.push(DistanceTake { distance_mm, thirds });
            }
            Err(e) => missing.push(e),
        }
    }
    let within = TEMPERATURE_WITHIN_C[usize::from(bench.temperature_c.is_none())];
    let placing = Placing {
        distance_mm: bench.distance_within_mm,
        zero_mm: bench.place_within_mm,
        temperature_c: Stated::within(bench.temperature_or_usual_c(), within),
        source_radius_mm: first.take.source_radius_mm.filter(|mm| *mm > 0.0),
        asked: ASKED.to_vec(),
    };
    match proximity(&takes, &placing) {
        Ok(found) => Part::found(found, missing),
        Err(e) => {
            missing.push(Missing::whole(&e, e.hint()));
            Part::none(missing)
        }
    }
}
