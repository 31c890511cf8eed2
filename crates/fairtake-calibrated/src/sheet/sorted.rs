//! Which takes of a microphone belong to which measurement.

use super::part::Missing;
use crate::bench::{Bench, BenchTake, MeasuredRole};
use crate::level::Purpose;
use std::cmp::Reverse;

/// Distances that differ by less than this, in mm, are one.
const SAME_MM: f64 = 0.5;
/// Angles that differ by less than this, in degrees, are one.
const SAME_DEG: f64 = 0.05;

/// The takes of one microphone before one loudspeaker, sorted by what they are for.
#[derive(Default)]
pub(super) struct Sorted<'b> {
    /// On the axis at the standard distance; those of one placement are one setting-up.
    pub axis: Vec<&'b BenchTake>,
    /// Off the axis.
    pub angles: Vec<&'b BenchTake>,
    /// On the axis at other distances.
    pub distances: Vec<&'b BenchTake>,
    /// Of an excitation with several levels.
    pub steps: Vec<&'b BenchTake>,
    pub calibrator: Vec<&'b BenchTake>,
    pub self_noise: Vec<&'b BenchTake>,
    pub chain_noise: Vec<&'b BenchTake>,
    /// What belongs to none of them.
    pub strays: Vec<Missing>,
}

/// Where microphones are compared.
#[derive(Clone, Copy, Default)]
pub(super) struct Standard<'b> {
    /// Key of the loudspeaker; `None`: nothing was played.
    source: Option<&'b str>,
    /// Distance in mm; `None`: not logged.
    distance_mm: Option<f64>,
}

/// Both were recorded at one distance.
pub(super) fn same_distance(one: &BenchTake, other: &BenchTake) -> bool {
    match (one.distance_mm, other.distance_mm) {
        (Some(a), Some(b)) => (a - b).abs() < SAME_MM,
        (a, b) => a.is_none() && b.is_none(),
    }
}

/// The reference of a bench: the measurement microphone with most responses.
pub(super) fn reference(bench: &Bench) -> Option<&str> {
    let measured = bench.mics.iter().filter(|(_, m)| m.purpose == Purpose::Measurement);
    let responses =
        |key: &str| bench.takes.iter().filter(|t| t.role == MeasuredRole::Response && t.mic == key).count();
    measured.map(|(key, _)| key.as_str()).filter(|key| responses(key) > 0).max_by_key(|key| responses(key))
}

/// Where the reference stands, else where most takes are made; of several the first logged.
pub(super) fn standard<'b>(bench: &'b Bench, reference: Option<&str>) -> Standard<'b> {
    let single = |t: &&BenchTake| {
        t.role == MeasuredRole::Response
            && !has_steps(t)
            && reference.is_none_or(|reference| t.mic == reference)
    };
    let takes: Vec<&BenchTake> = bench.takes.iter().filter(single).collect();
    let of_source = |source: &str| takes.iter().filter(|t| t.source == source).count();
    let source = takes.iter().map(|t| t.source.as_str()).min_by_key(|source| Reverse(of_source(source)));
    let here = takes.iter().filter(|t| Some(t.source.as_str()) == source);
    let distances: Vec<f64> = here.filter_map(|t| t.distance_mm).collect();
    let at = |mm: f64| distances.iter().filter(|d| (**d - mm).abs() < SAME_MM).count();
    Standard { source, distance_mm: distances.iter().copied().min_by_key(|mm| Reverse(at(*mm))) }
}

/// The excitation has several levels.
fn has_steps(take: &BenchTake) -> bool {
    take.excitation.as_ref().is_some_and(|e| e.form().levels_dbfs.len() > 1)
}

/// The takes of a microphone.
pub(super) fn sorted<'b>(bench: &'b Bench, mic: &str, standard: Standard) -> Sorted<'b> {
    let mut out = Sorted::default();
    let at_standard = |t: &BenchTake| match (t.distance_mm, standard.distance_mm) {
        (Some(mm), Some(standard)) => (mm - standard).abs() < SAME_MM,
        // What has no distance stands where everything stands.
        _ => true,
    };
    for take in bench.takes.iter().filter(|t| t.mic == mic) {
        let place = match take.role {
            MeasuredRole::Calibrator => &mut out.calibrator,
            MeasuredRole::SelfNoise => &mut out.self_noise,
            MeasuredRole::ChainNoise => &mut out.chain_noise,
            MeasuredRole::Ambient => continue,
            MeasuredRole::Response if standard.source.is_some_and(|source| take.source != source) => {
                out.strays.push(Missing::of(
                    &take.id,
                    format!(
                        "it was recorded before {}, not before {}",
                        bench.source_name(&take.source),
                        bench.source_name(standard.source.unwrap_or(""))
                    ),
                    "measure each loudspeaker in a folder of its own",
                ));
                continue;
            }
            MeasuredRole::Response if has_steps(take) => &mut out.steps,
            MeasuredRole::Response if take.angle_deg.abs() >= SAME_DEG => &mut out.angles,
            MeasuredRole::Response if at_standard(take) => &mut out.axis,
            MeasuredRole::Response => &mut out.distances,
        };
        place.push(take);
    }
    out
}
