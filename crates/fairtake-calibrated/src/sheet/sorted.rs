//! Which takes of a microphone belong to which measurement.

use crate::bench::{Bench, BenchTake, MeasuredRole};
use crate::level::Purpose;

/// Distances that differ by less than this, in mm, are one.
const SAME_MM: f64 = 0.5;
/// Angles that differ by less than this, in degrees, are one.
const SAME_DEG: f64 = 0.05;
/// So many distances are a series.
const FEWEST_DISTANCES: usize = 3;

/// The takes of one microphone before one loudspeaker, sorted by what they are for.
#[derive(Default)]
pub(super) struct Sorted<'b> {
    /// On the axis at the standard distance, one for each setting-up.
    pub axis: Vec<&'b BenchTake>,
    /// Off the axis at the standard distance.
    pub angles: Vec<&'b BenchTake>,
    /// On the axis at other distances; empty where they are no series.
    pub distances: Vec<&'b BenchTake>,
    /// Of an excitation with several levels.
    pub steps: Vec<&'b BenchTake>,
    pub calibrator: Vec<&'b BenchTake>,
    pub self_noise: Vec<&'b BenchTake>,
    pub chain_noise: Vec<&'b BenchTake>,
}

/// The reference of a bench: the measurement microphone with most responses.
pub(super) fn reference(bench: &Bench) -> Option<&str> {
    let measured = bench.mics.iter().filter(|(_, m)| m.purpose == Purpose::Measurement);
    let responses =
        |key: &str| bench.takes.iter().filter(|t| t.role == MeasuredRole::Response && t.mic == key).count();
    measured.map(|(key, _)| key.as_str()).filter(|key| responses(key) > 0).max_by_key(|key| responses(key))
}

/// The distance at which microphones are compared, in mm: where the reference stands, else where most takes are made.
pub(super) fn standard_mm(bench: &Bench, reference: Option<&str>) -> Option<f64> {
    let single = |t: &&BenchTake| {
        t.role == MeasuredRole::Response
            && !has_steps(t)
            && reference.is_none_or(|reference| t.mic == reference)
    };
    let distances: Vec<f64> = bench.takes.iter().filter(single).filter_map(|t| t.distance_mm).collect();
    let count = |mm: f64| distances.iter().filter(|d| (**d - mm).abs() < SAME_MM).count();
    distances.iter().copied().max_by_key(|mm| count(*mm))
}

/// The excitation has several levels.
fn has_steps(take: &BenchTake) -> bool {
    take.excitation.as_ref().is_some_and(|e| e.form().levels_dbfs.len() > 1)
}

/// The takes of a microphone.
pub(super) fn sorted<'b>(bench: &'b Bench, mic: &str, standard_mm: Option<f64>) -> Sorted<'b> {
    let mut out = Sorted::default();
    let standard = |t: &BenchTake| match (t.distance_mm, standard_mm) {
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
            MeasuredRole::Response if has_steps(take) => &mut out.steps,
            MeasuredRole::Response if take.angle_deg.abs() >= SAME_DEG => &mut out.angles,
            MeasuredRole::Response if standard(take) => &mut out.axis,
            MeasuredRole::Response => &mut out.distances,
        };
        place.push(take);
    }
    let mut distances: Vec<f64> = out.distances.iter().filter_map(|t| t.distance_mm).collect();
    distances.sort_by(f64::total_cmp);
    distances.dedup_by(|a, b| (*a - *b).abs() < SAME_MM);
    if distances.len() + usize::from(!out.axis.is_empty()) < FEWEST_DISTANCES {
        out.distances.clear();
    }
    out
}
