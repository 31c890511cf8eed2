//! Direction of a microphone from its takes at logged angles.

use super::levels::same_gain;
use super::part::{Missing, Part};
use super::responses::{Heard, Series, gate_of, response_of};
use super::sorted::same_distance;
use crate::band_level::BandLevel;
use crate::bench::Bench;
use crate::direction::{AngleTake, Direction, Turning, direction};
use crate::response::{Gate, ImpulseResponse};

/// How far the acoustic centre may lie off the axis of turning, in mm either way (common practice, no source).
const CENTRE_MM: f64 = 10.0;

/// Bands per octave.
const THIRDS: u32 = 3;
/// Levels in third octaves of one take. What the gate leaves unsure is the same for all takes of one microphone and falls out of
/// their differences.
pub(super) fn thirds(heard: &Heard, gate: Gate) -> Result<Vec<BandLevel>, Missing> {
    let response = response_of(heard, THIRDS, gate)?;
    let bands = response.points.into_iter().filter_map(|band| {
        let level = band.level_db?;
        let own: Vec<_> = level.budget.iter().filter(|part| part.from != "gate").collect();
        let variance: f64 = own.iter().map(|part| part.standard.powi(2)).sum();
        Some(BandLevel {
            centre_hz: band.hz,
            level_db: level.value,
            standard_db: (!own.is_empty()).then(|| variance.sqrt()),
            degrees_of_freedom: own.iter().filter_map(|part| part.degrees_of_freedom).reduce(f64::min),
        })
    });
    Ok(bands.collect())
}

/// Direction: the takes off the axis, and that on the axis, at one distance and gain; of the same setting-up where there is one.
pub(super) fn direction_sheet(bench: &Bench, on_axis: [&Series; 2], off_axis: &Series) -> Part<Direction> {
    let mut missing = off_axis.missing.clone();
    let Some(first) = off_axis.heard.first() else {
        if missing.is_empty() {
            let hint = "turn the microphone in equal steps and log angle_deg with each take";
            missing.push(Missing::whole("no takes off the axis were recorded", hint));
        }
        return Part::none(missing);
    };
    let alike = |h: &&Heard| same_distance(h.take, first.take) && same_gain(h.take, first.take);
    let fronts: Vec<&Heard> = on_axis.iter().flat_map(|series| &series.heard).filter(alike).collect();
    let set_up = |h: &&&Heard| h.take.placement == first.take.placement;
    let front = fronts.iter().find(set_up).or(fronts.first()).copied();
    let (turned, others): (Vec<&Heard>, Vec<&Heard>) = off_axis.heard.iter().partition(alike);
    missing.extend(others.iter().map(|other| {
        let what = "its distance or gain is another than that of the first angle";
        Missing::of(&other.take.id, what, "record all angles and the front at one distance and gain")
    }));
    let all: Vec<&Heard> = front.into_iter().chain(turned).collect();
    let gate = gate_of(&front.into_iter().collect::<Vec<_>>());
    let mut takes = Vec::new();
    let all: Vec<Heard> = all.into_iter().map(from_the_earliest).collect();
    let reflected_db = loudest_reflection_db(front, &all, gate);
    for heard in &all {
        match thirds(heard, gate) {
            Ok(thirds) => takes.push(AngleTake { angle_deg: heard.take.angle_deg, thirds }),
            Err(e) => missing.push(e),
        }
    }
    let Some(distance_mm) = first.take.distance_mm else {
        missing.push(Missing::whole("the distance to the loudspeaker is not logged", "add distance_mm"));
        return Part::none(missing);
    };
    let turning = Turning {
        angle_deg: bench.angle_within_deg,
        zero_deg: bench.angle_within_deg,
        distance_mm,
        centre_mm: CENTRE_MM,
        reflected_db,
        temperature_c: bench.temperature_or_usual_c(),
    };
    match direction(&takes, &turning) {
        Ok(found) => Part::found(found, missing),
        Err(e) => {
            missing.push(Missing::whole(&e, e.hint()));
            Part::none(missing)
        }
    }
}

/// A take whose arrival is that of the earliest sound.
fn from_the_earliest<'b>(heard: &Heard<'b>) -> Heard<'b> {
    let moved = |i: &ImpulseResponse| i.from_the_earliest().unwrap_or_else(|| i.clone());
    Heard { impulses: heard.impulses.iter().map(moved).collect(), ..heard.clone() }
}

/// The loudest sound behind the gate of any take, in dB re the direct sound from the front: turned towards a wall, a microphone hears
/// from it what it does not hear from the front.
fn loudest_reflection_db(front: Option<&Heard>, all: &[Heard], gate: Gate) -> Option<f64> {
    let Gate::Seconds(gate_s) = gate else { return None };
    let parts = |h: &Heard| h.impulses.last().map(|i| i.direct_and_later(gate_s));
    let (direct, _) = parts(front?)?;
    let later = all.iter().filter_map(parts).map(|(_, later)| later).fold(0.0, f64::max);
    fairtake_signal::units::power_db(later / direct.max(f64::MIN_POSITIVE))
}
