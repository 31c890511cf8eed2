//! Two microphones measured alike at one place, held against each other: what the loudspeaker did falls out.
//!
//! The match of levels is made anew for every setting-up, together with the shape: a setting-up that is louder as a whole moves the
//! level and no shape, and what a match does to the point beside it is in the spread of shapes.

use super::judge::{Held, MATCHED_HZ, MISSED, largest};
use crate::band_level::DB_PER_NEPER;
use crate::quantity::{Contribution, Quantity, REPEATED_OFTEN};
use crate::response::Point;
use serde::{Deserialize, Serialize};
use std::f64::consts::TAU;

/// How well two microphones stood at one place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SamePlace {
    /// Distance from the loudspeaker in mm; `None`: not logged, and intervals are not known.
    pub distance_mm: Option<f64>,
    /// How far their acoustic centres may lie apart along the axis, in mm either way.
    pub within_mm: f64,
    /// The greater share of the pressure gradient of the two, 0 to 1: near a source a gradient rises more than pressure does.
    pub gradient_share: f64,
    /// Speed of sound in m/s.
    pub speed_m_s: f64,
}

/// Two microphones side by side, second less first.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PairMatch {
    /// Mean over 250 Hz to 4 kHz (over all, where nothing lies there), as it is in the files, in dB: taken off before shapes are compared.
    pub level_db: Quantity,
    /// Largest deviation of the shapes, levels matched. Its interval is that of this frequency by itself.
    pub largest: Held,
    /// Half width there of an interval that holds at all frequencies at once, in dB: the largest of many is more often large by chance.
    /// `None`: not known.
    pub half_for_all_db: Option<f64>,
    /// Within what range they were compared, in Hz.
    pub range_hz: (f64, f64),
    /// At how many points.
    pub n_points: usize,
}

impl SamePlace {
    /// What the place may do to a level at a frequency in Hz, in dB either way: 20·lg(1 + e/d) of a point source, and the near field's part of it
    /// alone, by which it changes over frequency.
    fn half_db(&self, hz: f64) -> Option<(f64, f64)> {
        let distance_m = self.distance_mm? / 1000.0;
        // Level ∝ (1 + q)/r² with q = (B/(kr))²; its derivative by ln r.
        let q = (self.gradient_share * self.speed_m_s / (TAU * hz * distance_m)).powi(2);
        let per_share = 2.0 * DB_PER_NEPER * self.within_mm / 1000.0 / distance_m;
        Some((per_share * (1.0 + q / (1.0 + q)), per_share * q / (1.0 + q)))
    }
}

/// One microphone's settings-up, at the points that both have.
struct Settings<'p> {
    which: &'static str,
    /// Mean over the matched points of each setting-up, in dB.
    levels_db: Vec<f64>,
    /// Points of each setting-up.
    points: Vec<Vec<&'p Point>>,
}

/// Two microphones held against each other, from the points of each setting-up. `None` where they have no frequency in common.
///
/// # Source
/// JCGM 100:2008 (GUM), 4.2 for the spread of settings-up; own derivation for the place, docs/methods/response.md.
pub fn pair_match(first: &[Vec<Point>], second: &[Vec<Point>], place: &SamePlace) -> Option<PairMatch> {
    let measured = |all: &[Vec<Point>], hz: f64| {
        all.iter().all(|points| points.iter().any(|p| p.hz == hz && p.level_db.is_some()))
    };
    let common = |hz: f64| measured(first, hz) && measured(second, hz);
    let hz: Vec<f64> = first.first()?.iter().map(|p| p.hz).filter(|hz| common(*hz)).collect();
    let within: Vec<usize> =
        (0..hz.len()).filter(|k| (MATCHED_HZ.0..=MATCHED_HZ.1).contains(&hz[*k])).collect();
    let matched = if within.is_empty() { (0..hz.len()).collect() } else { within };
    let first = Settings::of("first", first, &hz, &matched)?;
    let second = Settings::of("second", second, &hz, &matched)?;
    let mean = |of: &dyn Fn(usize) -> f64| matched.iter().map(|k| of(*k)).sum::<f64>() / matched.len() as f64;
    // One gate for both: what it cuts off counts once. At every frequency it may be off to the same side.
    let gate_half = |k: usize| first.points[0][k].level_db.as_ref().map_or(0.0, gate_half_db);
    let in_the_match = Contribution::within("gate, in the match", mean(&gate_half));
    let place_half: Option<Vec<(f64, f64)>> = hz.iter().map(|hz| place.half_db(*hz)).collect();
    let placed = |value: f64, budget: Vec<Contribution>, half: Option<f64>| match half {
        Some(half) => {
            let place = Contribution::within("place", half);
            Quantity::new(value, budget.into_iter().chain([place]).collect())
        }
        None => Quantity::of_unknown_uncertainty(value),
    };
    let mut budget = vec![in_the_match.clone()];
    budget.extend(first.spread_of_level(&matched));
    budget.extend(second.spread_of_level(&matched));
    let whole = place_half.as_ref().map(|halves| mean(&|k| halves[k].0));
    let level_db = placed(second.mean_level_db() - first.mean_level_db(), budget, whole);
    let held = |k: usize| {
        let value = second.mean_shape_db(k) - first.mean_shape_db(k);
        let mut budget = vec![Contribution::within("gate", gate_half(k)), in_the_match.clone()];
        budget.extend(first.spread_of_shape(k, &matched));
        budget.extend(second.spread_of_shape(k, &matched));
        // Only by what it does otherwise here than where levels were matched.
        let half = place_half.as_ref().map(|halves| (halves[k].1 - mean(&|k| halves[k].1)).abs());
        Held { hz: hz[k], deviation_db: placed(value, budget, half) }
    };
    let all: Vec<Held> = (0..hz.len()).map(held).collect();
    let largest = largest(&all)?;
    Some(PairMatch {
        level_db,
        half_for_all_db: half_for_all_db(&largest, &all),
        largest,
        range_hz: (*hz.first()?, *hz.last()?),
        n_points: all.len(),
    })
}

/// Half width at the largest deviation that holds at all frequencies at once: each at 1 − 0.05/n (Bonferroni).
///
/// A few settings-up tell the spread of one point too badly for that: with three of each the factor would be 12. What a setting-up changes is
/// smooth, and each octave is taken to tell as much again of how large it is (assumption); a point whose own spread is larger than that of
/// all together keeps its own.
fn half_for_all_db(largest: &Held, all: &[Held]) -> Option<f64> {
    let for_itself = largest.deviation_db.half?;
    let is_spread = |part: &&Contribution| part.degrees_of_freedom.is_some();
    // Mean square of the points' spreads, and its degrees of freedom (GUM, G.4.1).
    let mut pooled = (0.0, 0.0);
    for part in all.iter().flat_map(|held| held.deviation_db.budget.iter().filter(is_spread)) {
        let square = part.standard.powi(2) / all.len() as f64;
        pooled.0 += square;
        pooled.1 += square * part.standard.powi(2) / part.degrees_of_freedom.unwrap_or(f64::INFINITY);
    }
    let own = spread_square(largest);
    let mean_fourth = all.iter().map(spread_square).map(|v| v * v).sum::<f64>() / all.len() as f64;
    let octaves = (all.last()?.hz / all.first()?.hz).log2().floor().max(1.0);
    let mut budget: Vec<Contribution> =
        largest.deviation_db.budget.iter().filter(|part| !is_spread(part)).cloned().collect();
    if pooled.1 > 0.0 {
        budget.push(Contribution {
            from: "settings-up".into(),
            standard: own.max(pooled.0).sqrt(),
            degrees_of_freedom: Some(octaves * mean_fourth / pooled.1),
        });
    }
    let for_all =
        Quantity::new(largest.deviation_db.value, budget).half_at(1.0 - MISSED / all.len() as f64)?;
    Some(for_all.max(for_itself))
}

/// Square of the part of a standard uncertainty that settings-up tell.
fn spread_square(held: &Held) -> f64 {
    let parts = held.deviation_db.budget.iter().filter(|part| part.degrees_of_freedom.is_some());
    parts.map(|part| part.standard.powi(2)).sum()
}

/// Half width of what the gate leaves unsure, in dB.
fn gate_half_db(level: &Quantity) -> f64 {
    let gate = level.budget.iter().filter(|part| part.from == "gate");
    gate.map(|part| 3.0_f64.sqrt() * part.standard).sum()
}

impl<'p> Settings<'p> {
    fn of(which: &'static str, all: &'p [Vec<Point>], hz: &[f64], matched: &[usize]) -> Option<Settings<'p>> {
        let at = |points: &'p [Point]| hz.iter().map(|hz| points.iter().find(|p| p.hz == *hz)).collect();
        let points: Vec<Vec<&Point>> = all.iter().map(|points| at(points)).collect::<Option<_>>()?;
        if points.is_empty() || matched.is_empty() {
            return None;
        }
        let level = |points: &Vec<&Point>| -> Option<f64> {
            let sum: Option<f64> = matched.iter().map(|k| points[*k].db()).sum();
            Some(sum? / matched.len() as f64)
        };
        let levels_db = points.iter().map(level).collect::<Option<_>>()?;
        Some(Settings { which, levels_db, points })
    }

    fn mean_level_db(&self) -> f64 {
        self.levels_db.iter().sum::<f64>() / self.levels_db.len() as f64
    }

    /// Level of a point in each setting-up, levels matched, in dB.
    fn shapes_db(&self, k: usize) -> Vec<f64> {
        let each = self.points.iter().zip(&self.levels_db);
        each.filter_map(|(points, level)| Some(points[k].db()? - level)).collect()
    }

    fn mean_shape_db(&self, k: usize) -> f64 {
        let shapes = self.shapes_db(k);
        shapes.iter().sum::<f64>() / shapes.len() as f64
    }

    /// Standard uncertainty of a point by noise, in dB: the mean of the settings-up.
    fn noise_db(&self, k: usize) -> f64 {
        let of_point = |point: &Point| -> f64 {
            let budget = point.level_db.iter().flat_map(|q| &q.budget);
            budget.filter(|part| part.from == "noise").map(|part| part.standard.powi(2)).sum()
        };
        let squares: f64 = self.points.iter().map(|points| of_point(points[k])).sum();
        squares.sqrt() / self.points.len() as f64
    }

    /// Noise of the match: the mean of points whose noise is independent.
    fn noise_of_match_db(&self, matched: &[usize]) -> f64 {
        let squares: f64 = matched.iter().map(|k| self.noise_db(*k).powi(2)).sum();
        squares.sqrt() / matched.len() as f64
    }

    fn spread_of_level(&self, matched: &[usize]) -> Vec<Contribution> {
        self.spread(&self.levels_db, self.noise_of_match_db(matched))
    }

    fn spread_of_shape(&self, k: usize, matched: &[usize]) -> Vec<Contribution> {
        self.spread(&self.shapes_db(k), self.noise_db(k).hypot(self.noise_of_match_db(matched)))
    }

    /// The spread of settings-up, in which noise is contained; with few of them what is assumed, and the noise.
    fn spread(&self, values_db: &[f64], noise_db: f64) -> Vec<Contribution> {
        let which = self.which;
        let mut parts = vec![Contribution::of_settings_up(&format!("settings-up of the {which}"), values_db)];
        if values_db.len() < REPEATED_OFTEN {
            let from = format!("noise of the {which}");
            parts.push(Contribution { from, standard: noise_db, degrees_of_freedom: None });
        }
        parts
    }
}
