//! From readings to everything that is derived, band by band.

use super::angles::{Reading, ordered};
use super::budget::{Doubts, Moved, Point, derived};
use super::curve::{Side, WIDEST_DEG, steps};
use super::layout::Layout;
use super::pattern::{first_order, null};
use super::polar::polar_point;
use super::results::{
    BandDirection, Direction, DirectionConditions, FrontToRandom, LevelThere, PolarPoint, Sides,
};
use super::symmetry::{asymmetric, symmetry};
use super::{AngleTake, DirectionCaution, DirectionError, Turning};
use crate::band_level::{BandLevel, DB_PER_NEPER, joined, same_band};
use crate::bench::TEMPERATURES_C;
use crate::level::Standing;
use crate::{Contribution, Quantity};
use fairtake_signal::bands::BandSet;
use fairtake_signal::units::{db_to_power, power_db};

/// A left-out angle may be missed by this share of the front's amplitude. The point is then predicted across twice the step;
/// with the step itself the error is several times smaller (docs/methods/direction.md).
const LEFT_OUT: f64 = 0.15;

/// So far above the loudest reflection, in dB, a level is surely the direct sound's: two reflections of one strength together are
/// no louder.
const MARGIN_DB: f64 = 6.0;

/// Polar diagrams and what is derived from them.
///
/// # Errors
/// Without a front, with too few angles, contradicting doubles, no shared band, or figures that cannot be.
pub fn direction(takes: &[AngleTake], turning: &Turning) -> Result<Direction, DirectionError> {
    for (what, value, from, to) in [
        ("tolerance of the angles in degrees", turning.angle_deg, 0.0, 20.0),
        ("tolerance of the front in degrees", turning.zero_deg, 0.0, 20.0),
        ("distance in mm", turning.distance_mm, 50.0, 20_000.0),
        ("temperature in °C", turning.temperature_c, TEMPERATURES_C.0, TEMPERATURES_C.1),
        ("tolerance of the acoustic centre in mm", turning.centre_mm, 0.0, turning.distance_mm / 2.0),
    ] {
        if !(from..=to).contains(&value) {
            return Err(DirectionError::OutOfRange { what, value, from, to });
        }
    }
    let (readings, mut cautions) = ordered(takes)?;
    let angles_deg: Vec<f64> = readings.iter().map(|r| r.angle_deg).collect();
    let layout = Layout::of(&angles_deg);
    let reach: Vec<(f64, f64)> = layout.sides.iter().map(|side| steps(&layout.angles_of(side))).collect();
    let widest_step_deg = reach.iter().map(|r| r.0).fold(f64::INFINITY, f64::min);
    let greatest_deg = reach.iter().map(|r| r.1).fold(0.0, f64::max);
    if widest_step_deg > WIDEST_DEG {
        cautions.push(DirectionCaution::StepsTooWide { figure: widest_step_deg, limit: WIDEST_DEG.floor() });
    }
    if greatest_deg < 178.0 {
        cautions.push(DirectionCaution::NoBack { figure: greatest_deg, limit: 180.0 });
    }
    if layout.sides.len() == 1 {
        cautions.push(DirectionCaution::OneSide { figure: 1.0, limit: 2.0 });
    }
    let doubts = Doubts::of(turning);
    let surely_db = turning.reflected_db.map(|db| db + MARGIN_DB);
    let points = |band: usize| -> Vec<Point> {
        let front_db = readings[layout.front].levels[band].level_db;
        let point = |r: &Reading| point(r.angle_deg, r.levels[band], front_db, surely_db);
        readings.iter().map(point).collect()
    };
    let n_bands = readings[0].levels.len();
    let mut missed: Vec<(f64, f64)> = Vec::new();
    let thirds: Vec<BandDirection> =
        (0..n_bands).map(|b| of_band(&points(b), &layout, &doubts, &mut missed)).collect();
    let octaves: Vec<BandDirection> = octave_points(&readings, layout.front, surely_db)
        .iter()
        .map(|points| of_band(points, &layout, &doubts, &mut missed))
        .collect();
    if let Some(figure) = missed.iter().map(|m| m.1).reduce(f64::max) {
        let mut bands_hz: Vec<f64> = missed.iter().map(|m| m.0).collect();
        bands_hz.sort_by(f64::total_cmp);
        bands_hz.dedup_by(|a, b| same_band(*a, *b));
        cautions.push(DirectionCaution::LobesUnresolved { bands_hz, figure, limit: LEFT_OUT });
    }
    cautions.extend(thirds.iter().filter_map(asymmetric));
    if let (Some(figure), Some(limit)) = (turning.reflected_db, surely_db)
        && thirds.iter().chain(&octaves).flat_map(|b| &b.polar).any(|p| p.standing == Standing::AtMost)
    {
        cautions.push(DirectionCaution::MayBeReflected { figure, limit });
    }
    Ok(Direction {
        front_to_random: front_to_random(&thirds),
        thirds,
        octaves,
        conditions: DirectionConditions {
            sides: if layout.sides.len() == 1 { Sides::One } else { Sides::Both },
            angles_deg,
            widest_step_deg,
            turning: *turning,
        },
        cautions,
    })
}

/// A reading, and whether it is surely above what walls reflect.
fn point(angle_deg: f64, level: BandLevel, front_db: f64, surely_db: Option<f64>) -> Point {
    let at_most = surely_db.is_some_and(|db| level.level_db - front_db < db);
    Point { angle_deg, level, at_most }
}

/// Octaves whose three thirds are there: mean of the thirds' powers, each re its own front, so that no third weighs more because
/// the loudspeaker is stronger there.
fn octave_points(readings: &[Reading], front: usize, surely_db: Option<f64>) -> Vec<Vec<Point>> {
    let fronts = &readings[front].levels;
    let of_octave = |(from_hz, to_hz): (f64, f64)| -> Option<Vec<Point>> {
        let inside: Vec<usize> =
            (0..fronts.len()).filter(|b| (from_hz..to_hz).contains(&fronts[*b].centre_hz)).collect();
        if inside.len() != 3 {
            return None;
        }
        let centre_hz = (from_hz * to_hz).sqrt();
        readings
            .iter()
            .map(|r| {
                let parts: Vec<(BandLevel, f64)> =
                    inside.iter().map(|b| (r.levels[*b], fronts[*b].level_db)).collect();
                Some(point(r.angle_deg, joined(centre_hz, &parts)?, 0.0, surely_db))
            })
            .collect()
    };
    BandSet::new(1, 40_000.0).spans_hz().into_iter().filter_map(of_octave).collect()
}

fn of_band(
    points: &[Point],
    layout: &Layout,
    doubts: &Doubts,
    missed: &mut Vec<(f64, f64)>,
) -> BandDirection {
    let centre_hz = points[0].level.centre_hz;
    let still: Vec<Moved> = points.iter().map(|p| (p.angle_deg, p.level.level_db)).collect();
    let unresolved =
        layout.around().map(|side| left_out(&layout.side(side, &still), side, points)).fold(0.0, f64::max);
    if unresolved > LEFT_OUT {
        missed.push((centre_hz, unresolved));
    }
    let resolved = unresolved <= LEFT_OUT;
    let polar: Vec<PolarPoint> =
        (0..points.len()).map(|k| polar_point(k, points, layout, doubts, &still)).collect();
    let at = |angle_deg: f64| {
        // A side serves where it was measured there, or where steps allow something between.
        let serves = |side: &&Vec<usize>| {
            let angles = layout.angles_of(side);
            let there = angles.iter().any(|a| (a.abs() - angle_deg).abs() < 0.5);
            there || (resolved && steps(&angles).0 <= WIDEST_DEG)
        };
        let sides: Vec<&Vec<usize>> = layout.sides.iter().filter(serves).collect();
        // It rests on what was measured there, or else on the nearest on either side.
        let rests_on = |side: &&Vec<usize>| -> Vec<usize> {
            let off = |k: &usize| points[*k].angle_deg.abs() - angle_deg;
            if let Some(k) = side.iter().find(|k| off(k).abs() < 0.5) {
                return vec![*k];
            }
            let nearest = |sign: f64| {
                let there = side.iter().filter(|k| sign * off(k) > 0.0);
                there.min_by(|a, b| off(a).abs().total_cmp(&off(b).abs())).copied()
            };
            [nearest(1.0), nearest(-1.0)].into_iter().flatten().collect()
        };
        let at_most = sides.iter().flat_map(rests_on).any(|k| points[k].at_most);
        // A bound is one whatever the share of walls in it: only readings and turning are in its interval.
        let measured: Vec<Point> = points.iter().map(|p| Point { at_most: false, ..*p }).collect();
        let level_db = derived(&measured, doubts, |moved| {
            let powers: Vec<f64> =
                sides.iter().filter_map(|s| layout.side(s, moved).at(near(angle_deg, s, moved))).collect();
            power_db(powers.iter().sum::<f64>() / powers.len() as f64)
        })?;
        Some(LevelThere { level_db, standing: Standing::of(at_most) })
    };
    let mean = |moved: &[Moved], from: f64, to: f64| -> Option<f64> {
        let each: Vec<f64> =
            layout.around().map(|side| layout.side(side, moved).mean_over(from, to)).collect();
        (!each.is_empty()).then(|| each.iter().sum::<f64>() / each.len() as f64)
    };
    let index = |moved: &[Moved]| power_db(mean(moved, -1.0, 1.0)?).map(|db| -db);
    let directivity_index_db =
        resolved.then(|| derived(points, doubts, index)).flatten().map(|q| with_steps(q, layout, &still));
    let front_to_back = |moved: &[Moved]| power_db(mean(moved, 0.0, 1.0)? / mean(moved, -1.0, 0.0)?);
    let (first_order, fitted) = first_order(points, layout.front, doubts).unzip();
    let null = null((points, &polar), layout, first_order.as_ref(), fitted.as_ref());
    BandDirection {
        centre_hz,
        polar,
        at_90: at(90.0),
        at_180: at(180.0),
        distance_factor: directivity_index_db.as_ref().map(distance_factor),
        directivity_index_db,
        front_to_back_random_db: resolved.then(|| derived(points, doubts, front_to_back)).flatten(),
        null,
        first_order,
        symmetry: symmetry(points, layout, doubts),
    }
}

/// The pole of a side may have been moved a little off 0° or 180°; what is asked there is asked of it.
fn near(angle_deg: f64, side: &[usize], moved: &[Moved]) -> f64 {
    let last = side.iter().map(|k| moved[*k].0.abs()).fold(0.0, f64::max);
    if angle_deg > last && angle_deg - last < 5.0 { last } else { angle_deg }
}

/// How far the worst interior angle is missed when it is left out, less what readings scatter, as a share of the front's
/// amplitude.
fn left_out(curve: &Side, side: &[usize], points: &[Point]) -> f64 {
    (1..curve.len().saturating_sub(1))
        .filter_map(|k| {
            let amplitude = curve.power(k).sqrt();
            // Three standard uncertainties of a level, of the point and of as much again from its neighbours.
            let scatter = points[side[k]].level.standard_db.unwrap_or(0.0) / (2.0 * DB_PER_NEPER) * amplitude;
            Some((curve.left_out(k)?.max(0.0).sqrt() - amplitude).abs() - 3.0 * 2.0f64.sqrt() * scatter)
        })
        .fold(0.0, f64::max)
}

/// What the steps themselves may do to the index: a quarter of what leaving out every second angle does, where that is
/// more than the readings explain.
fn with_steps(index: Quantity, layout: &Layout, still: &[Moved]) -> Quantity {
    let halved: Vec<f64> = layout
        .around()
        .map(|side| layout.side(side, still).halved())
        .filter(|side| side.len() >= 4)
        .map(|side| side.mean_over(-1.0, 1.0))
        .collect();
    let readings: f64 = index.budget.iter().map(|part| part.standard.powi(2)).sum::<f64>().sqrt();
    match power_db(halved.iter().sum::<f64>() / halved.len() as f64) {
        Some(db) if (index.value + db).abs() > 3.0 * readings && index.half.is_some() => {
            let mut budget = index.budget;
            budget.push(Contribution::within("steps between angles", (index.value + db).abs() / 4.0));
            Quantity::new(index.value, budget)
        }
        _ => index,
    }
}

/// 10^(DI/20); uncertainties by the slope.
fn distance_factor(index: &Quantity) -> Quantity {
    let value = db_to_power(index.value).sqrt();
    let slope = value / (2.0 * DB_PER_NEPER);
    let budget =
        index.budget.iter().map(|p| Contribution { standard: slope * p.standard, ..p.clone() }).collect();
    if index.half.is_none() { Quantity::of_unknown_uncertainty(value) } else { Quantity::new(value, budget) }
}

/// Equal power from the front in every third octave: powers from all directions are averaged. Readings of different bands are
/// independent; turning moves all of them together.
fn front_to_random(thirds: &[BandDirection]) -> Option<FrontToRandom> {
    let bands: Vec<(&BandDirection, &Quantity)> =
        thirds.iter().filter_map(|b| Some((b, b.directivity_index_db.as_ref()?))).collect();
    let (first, last) = (bands.first()?.0.centre_hz, bands.last()?.0.centre_hz);
    let random: Vec<f64> = bands.iter().map(|(_, q)| db_to_power(-q.value)).collect();
    let sum: f64 = random.iter().sum();
    let value = -power_db(sum / random.len() as f64)?;
    let mut budget: Vec<Contribution> = Vec::new();
    for ((_, index), power) in bands.iter().zip(&random) {
        let share = power / sum;
        for part in &index.budget {
            let standard = share * part.standard;
            match budget.iter_mut().find(|have| have.from == part.from) {
                Some(have) if part.from == "readings" => have.standard = have.standard.hypot(standard),
                Some(have) => have.standard += standard,
                None => {
                    budget.push(Contribution { from: part.from.clone(), standard, degrees_of_freedom: None })
                }
            }
        }
    }
    let known = bands.iter().all(|(_, q)| q.half.is_some());
    let index_db = if known { Quantity::new(value, budget) } else { Quantity::of_unknown_uncertainty(value) };
    Some(FrontToRandom { from_hz: first, to_hz: last, index_db })
}

#[cfg(test)]
#[path = "bounds_tests.rs"]
mod bounds_tests;
#[cfg(test)]
#[path = "measure_tests.rs"]
mod tests;
