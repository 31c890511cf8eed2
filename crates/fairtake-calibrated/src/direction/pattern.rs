//! The first-order pattern of measured points with its budget, and the null that follows.

use super::budget::{Doubts, Moved, Point, derived};
use super::first_order::{Fit, Square, fit};
use super::layout::Layout;
use super::results::{FirstOrder, Null, NullAngle, NullBy, PolarPoint};
use crate::band_level::DB_PER_NEPER;
use crate::{Contribution, Quantity};
use fairtake_signal::units::{amplitude_db, db_to_power};
use std::f64::consts::TAU;

/// What a first-order fit may leave, in dB re the front, for its null to be the microphone's: 5 %.
const NULL_RESIDUAL_DB: f64 = -26.0;
/// A lowest level below this re the front is a null, in dB.
const NULL_DB: f64 = -10.0;
/// Amplitude re the front below which a reading weighs no more in the fit: −40 dB. Near a null a level tells noise and
/// reflections, which only ever raise it; weighed by its small spread it would draw the pattern towards itself (intervals of a
/// cardioid's share then held in 83 of 100 made measurements).
const FLOOR: f64 = 1e-2;
/// Where it is not known how far a reading may be off, all weigh as with this standard uncertainty in dB; nothing is stated by it.
const UNKNOWN_DB: f64 = 0.1;

/// Squares of amplitudes re the front with the standard uncertainties by which they weigh, for a pattern that is roughly known.
fn squares(points: &[Point], moved: &[Moved], front: usize, doubts: &Doubts, share: f64) -> Vec<Square> {
    let front_db = moved[front].1;
    let radians = doubts.angle_deg.to_radians();
    let of = |((angle, level), point): (&Moved, &Point)| {
        let squared = db_to_power(level - front_db);
        let amplitude = squared.sqrt().max(FLOOR);
        let reading = amplitude * point.level.standard_db.unwrap_or(UNKNOWN_DB) / (2.0 * DB_PER_NEPER);
        // What may be reflected may be nothing at the microphone: a rectangle from nothing to the reading.
        let reflected = if point.at_most { amplitude / 3f64.sqrt() } else { 0.0 };
        let turned = share * point.angle_deg.to_radians().sin() * radians;
        let standard = 2.0
            * amplitude
            * (reading * reading + turned * turned + reflected * reflected + FLOOR * FLOOR).sqrt();
        (*angle, squared, standard)
    };
    moved.iter().zip(points).map(of).collect()
}

/// The best-fitting first-order pattern with its budget.
pub(super) fn first_order(points: &[Point], front: usize, doubts: &Doubts) -> Option<(FirstOrder, Fit)> {
    let still: Vec<Moved> = points.iter().map(|p| (p.angle_deg, p.level.level_db)).collect();
    let kr = TAU * points[front].level.centre_hz * doubts.distance_m / doubts.speed_m_s;
    // The weights ask for the slope, the slope for a fit: twice.
    let first = fit(&squares(points, &still, front, doubts, 0.5), kr)?;
    let roughly = first.gradient_share().clamp(0.0, 1.0);
    let rows = |moved: &[Moved]| squares(points, moved, front, doubts, roughly);
    let fitted = fit(&rows(&still), kr)?;
    // From the fit on, so that moved readings do not find another pattern of the same levels.
    let gradient_share =
        derived(points, doubts, |moved| Some(fitted.refined(&rows(moved), kr)?.gradient_share()))?;
    let left = rows(&still)
        .iter()
        .map(|(angle, squared, _)| {
            (squared.sqrt() - fitted.squared(*angle, kr).sqrt()).powi(2) / (fitted.a + fitted.b).powi(2)
        })
        .sum::<f64>()
        / points.len() as f64;
    let df = points.len() as f64 - 2.0;
    let excess = fitted.left / df;
    // Beyond the upper 1 % of what readings explain (normal approximation of chi-square): the pattern is another one.
    let gradient_share = if gradient_share.half.is_some() && excess > 1.0 + 2.33 * (2.0 / df).sqrt() {
        let mut budget = gradient_share.budget;
        budget.push(Contribution {
            from: "pattern is not of first order".into(),
            standard: fitted.share_standard * (excess - 1.0).sqrt(),
            degrees_of_freedom: Some(df),
        });
        Quantity::new(gradient_share.value, budget)
    } else {
        gradient_share
    };
    Some((FirstOrder { gradient_share, residual_db: amplitude_db(left.sqrt()) }, fitted))
}

/// Where least is heard: by the fit where it leaves little, else by the lowest level. `polar`: the same points as they are told.
pub(super) fn null(
    (points, polar): (&[Point], &[PolarPoint]),
    layout: &Layout,
    order: Option<&FirstOrder>,
    fitted: Option<&Fit>,
) -> Option<Null> {
    let level = |k: &usize| points[*k].level.level_db;
    let at = (0..points.len()).min_by(|p, q| level(p).total_cmp(&level(q)))?;
    let lowest = &points[at];
    let (lowest_db, standing) = (polar[at].level_db.clone(), polar[at].standing);
    if let (Some(order), Some(_)) = (order, fitted)
        && order.residual_db.is_none_or(|db| db <= NULL_RESIDUAL_DB)
    {
        let share = &order.gradient_share;
        let half = share.half.unwrap_or(0.0);
        // cos θ = −A/B.
        let angle = |b: f64| (-(1.0 - b) / b).clamp(-1.0, 1.0).acos().to_degrees();
        if share.value + half < 0.5 {
            return None;
        }
        let value = angle(share.value);
        let reach = (angle((share.value + half).min(1.5)) - value)
            .abs()
            .max((angle((share.value - half).max(0.4)) - value).abs());
        let angle_deg = match share.half {
            Some(half) if half > 0.0 => {
                // The interval ends at 180° itself where the share's reaches beyond; rounding must not take that away.
                let scale = reach / half * (1.0 + 1e-9);
                let parts = share.budget.iter();
                let budget =
                    parts.map(|p| Contribution { standard: scale * p.standard, ..p.clone() }).collect();
                Quantity::new(value, budget)
            }
            _ => Quantity::of_unknown_uncertainty(value),
        };
        return Some(Null { angle: NullAngle::At(angle_deg), by: NullBy::FirstOrder, lowest_db, standing });
    }
    if lowest_db.value > NULL_DB {
        return None;
    }
    if lowest.at_most {
        return Some(Null { angle: bounded(points), by: NullBy::LowestLevel, lowest_db, standing });
    }
    let side = layout.sides.iter().find(|side| side.iter().any(|k| points[*k] == *lowest))?;
    let at = side.iter().position(|k| points[*k] == *lowest)?;
    let angle = lowest.angle_deg.abs();
    let gap = |other: usize| side.get(other).map_or(0.0, |k| (points[*k].angle_deg.abs() - angle).abs());
    let reach = gap(at + 1).max(at.checked_sub(1).map_or(0.0, gap));
    (at > 0).then(|| Null {
        angle: NullAngle::At(Quantity::new(angle, vec![Contribution::within("step between angles", reach)])),
        by: NullBy::LowestLevel,
        lowest_db,
        standing,
    })
}

/// Between which angles a null lies that walls hide: every level below the limit is a bound, so that it lies beside one of these, as far as
/// the nearest angle that was surely heard.
fn bounded(points: &[Point]) -> NullAngle {
    let of = |at_most: bool| points.iter().filter(move |p| p.at_most == at_most).map(|p| p.angle_deg.abs());
    let (nearest, farthest) = (of(true).fold(180.0, f64::min), of(true).fold(0.0, f64::max));
    NullAngle::Between {
        from_deg: of(false).filter(|angle| *angle < nearest).fold(0.0, f64::max),
        to_deg: of(false).filter(|angle| *angle > farthest).fold(180.0, f64::min),
    }
}
