//! A response against a published curve or a tolerance mask.

use crate::quantity::Quantity;
use crate::response::Point;
use crate::text_curve::{TextCurve, TextMask};
use serde::{Deserialize, Serialize};

/// Levels are matched over this range, in Hz, before shapes are compared.
pub(super) const MATCHED_HZ: (f64, f64) = (250.0, 4000.0);

/// Of figures that all hold, one may be called otherwise in at most this share of cases.
pub(super) const MISSED: f64 = 0.05;

/// How far a response lies from a curve, at one frequency.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Held {
    /// Frequency in Hz.
    pub hz: f64,
    /// Response less curve in dB, after levels are matched.
    pub deviation_db: Quantity,
}

/// How far a response lies from a published curve.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Deviation {
    /// Response less curve, mean over 250 Hz to 4 kHz, in dB: taken off before shapes are compared.
    pub level_db: f64,
    /// The largest deviation.
    pub largest: Held,
    /// Root of the mean square deviation in dB.
    pub rms_db: f64,
    /// All of it.
    pub held: Vec<Held>,
}

/// What a mask says.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Every 95 % interval lies within: each point by itself is, so that all are.
    Within,
    /// At least one point lies outside, with 95 % for all points at once (Bonferroni): the worst of many is far off by chance too.
    Outside,
    /// Neither: an interval reaches over a limit, or is unknown.
    Undecided,
}

/// A response against a mask.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MaskResult {
    /// What it says.
    pub verdict: Verdict,
    /// Frequencies in Hz, and by how many dB the response lies beyond a limit there (its value, not its interval).
    pub beyond: Vec<(f64, f64)>,
    /// Frequencies in Hz where it cannot be decided.
    pub undecided_hz: Vec<f64>,
    /// How many points were held against it.
    pub n_points: usize,
}

/// A response held against a published curve. `None` where they have no frequency in common.
pub fn deviation(points: &[Point], curve: &TextCurve) -> Option<Deviation> {
    let raw: Vec<(f64, &Quantity, f64)> =
        points.iter().filter_map(|p| Some((p.hz, p.level_db.as_ref()?, curve.db(p.hz)?))).collect();
    let level_db = matched_db(raw.iter().map(|(hz, level, at)| (*hz, level.value - at)))?;
    let held: Vec<Held> = raw
        .into_iter()
        .map(|(hz, level, at)| Held {
            hz,
            deviation_db: Quantity { value: level.value - at - level_db, ..level.clone() },
        })
        .collect();
    let squares: f64 = held.iter().map(|h| h.deviation_db.value.powi(2)).sum();
    Some(Deviation { level_db, largest: largest(&held)?, rms_db: (squares / held.len() as f64).sqrt(), held })
}

/// A response held against a mask, as it stands (levels are not matched: the mask is about the response against 1 kHz). `None` where they
/// have no frequency in common.
pub fn held_against(points: &[Point], mask: &TextMask) -> Option<MaskResult> {
    let held = points.iter().filter_map(|point| {
        let level = point.level_db.as_ref()?;
        let (low, high) = mask.low.db(point.hz).zip(mask.high.db(point.hz))?;
        Some((point.hz, level, (level.value - high).max(low - level.value)))
    });
    let held: Vec<(f64, &Quantity, f64)> = held.collect();
    let n_points = held.len();
    let (mut beyond, mut undecided_hz, mut outside) = (Vec::new(), Vec::new(), false);
    let for_all = 1.0 - MISSED / n_points.max(1) as f64;
    for (hz, level, over_db) in held {
        if over_db > 0.0 {
            beyond.push((hz, over_db));
        }
        match (level.half, level.half_at(for_all)) {
            (_, Some(half)) if over_db > half => outside = true,
            (Some(half), _) if -over_db >= half => {}
            _ => undecided_hz.push(hz),
        }
    }
    let verdict = match (outside, undecided_hz.is_empty()) {
        (true, _) => Verdict::Outside,
        (false, true) => Verdict::Within,
        (false, false) => Verdict::Undecided,
    };
    (n_points > 0).then_some(MaskResult { verdict, beyond, undecided_hz, n_points })
}

/// Mean over the range where levels are matched, or over all where nothing lies in it.
fn matched_db(values: impl Iterator<Item = (f64, f64)>) -> Option<f64> {
    let all: Vec<(f64, f64)> = values.collect();
    let mean = |some: &[f64]| (!some.is_empty()).then(|| some.iter().sum::<f64>() / some.len() as f64);
    let within: Vec<f64> =
        all.iter().filter(|(hz, _)| *hz >= MATCHED_HZ.0 && *hz <= MATCHED_HZ.1).map(|(_, db)| *db).collect();
    mean(&within).or_else(|| mean(&all.iter().map(|(_, db)| *db).collect::<Vec<f64>>()))
}

pub(super) fn largest(held: &[Held]) -> Option<Held> {
    held.iter().max_by(|a, b| a.deviation_db.value.abs().total_cmp(&b.deviation_db.value.abs())).cloned()
}
