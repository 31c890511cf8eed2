//! The first-order pattern of measured points with its budget, and the null that follows.

use super::budget::{Doubts, Moved, Point, derived};
use super::first_order::{Amplitude, Fit, fit, fit_signed};
use super::layout::Layout;
use super::results::{FirstOrder, Null, NullBy};
use crate::band_level::DB_PER_NEPER;
use crate::{Contribution, Quantity};
use fairtake_signal::units::{amplitude_db, db_to_power};

/// What a first-order fit may leave, in dB re the front, for its null to be the microphone's: 5 %.
const NULL_RESIDUAL_DB: f64 = -26.0;
/// A lowest level below this re the front is a null, in dB.
const NULL_DB: f64 = -10.0;
/// Amplitude re the front below which a reading weighs no more in the fit: −40 dB. Near a null a level tells noise and
/// reflections, which only ever raise it; weighed by its small spread it would draw the pattern towards itself (intervals of a
/// cardioid's share then held in 83 of 100 made measurements).
const FLOOR: f64 = 1e-2;

/// Amplitudes re the front with their standard uncertainties, for a pattern that is roughly known.
fn amplitudes(points: &[Point], moved: &[Moved], front: usize, doubts: &Doubts, b: f64) -> Vec<Amplitude> {
    let front_db = moved[front].1;
    let radians = doubts.angle_deg.to_radians();
    moved
        .iter()
        .zip(points)
        .map(|((angle, level), point)| {
            let r = db_to_power(level - front_db).sqrt();
            let reading = r * point.level.standard_db.unwrap_or(0.1) / (2.0 * DB_PER_NEPER);
            let turned = b * point.angle_deg.to_radians().sin() * radians;
            (*angle, r, (reading * reading + turned * turned + FLOOR * FLOOR).sqrt())
        })
        .collect()
}

/// Whether a reading may be nothing but noise: its amplitude is less than three times its standard uncertainty. Then its sign is not
/// known either.
fn drowned(point: &Point) -> bool {
    point.level.standard_db.is_some_and(|standard| standard > 2.0 * DB_PER_NEPER / 3.0)
}

/// Drowned readings count as zero.
fn emptied(mut rows: Vec<Amplitude>, points: &[Point]) -> Vec<Amplitude> {
    rows.iter_mut().zip(points).filter(|(_, point)| drowned(point)).for_each(|(row, _)| row.1 = 0.0);
    rows
}

/// What the share would be with drowned readings as they are enters the budget.
fn with_filled_null(share: Quantity, rows: &[Amplitude], points: &[Point], signs: &[f64]) -> Quantity {
    let without = fit_signed(&emptied(rows.to_vec(), points), signs).gradient_share();
    let by = (without - fit_signed(rows, signs).gradient_share()).abs();
    if by == 0.0 || share.half.is_none() {
        return share;
    }
    let mut budget = share.budget;
    budget.push(Contribution::within("null filled by noise", by));
    Quantity::new(share.value, budget)
}

/// The best-fitting first-order pattern with its budget.
pub(super) fn first_order(points: &[Point], front: usize, doubts: &Doubts) -> Option<(FirstOrder, Fit)> {
    let still: Vec<Moved> = points.iter().map(|p| (p.angle_deg, p.level.level_db)).collect();
    // The weights ask for the slope, the slope for a fit: twice.
    let roughly = fit(&amplitudes(points, &still, front, doubts, 0.5))?.0.gradient_share().clamp(0.0, 1.0);
    let rows = |moved: &[Moved]| amplitudes(points, moved, front, doubts, roughly);
    let (fitted, signs) = fit(&emptied(rows(&still), points))?;
    // Signs stay as they are when readings are moved: which of two a point beside the null has is not a matter of its spread.
    let share = derived(points, doubts, |moved| {
        Some(fit_signed(&emptied(rows(moved), points), &signs).gradient_share())
    })?;
    let share = with_filled_null(share, &rows(&still), points, &signs);
    let left = rows(&still)
        .iter()
        .map(|(angle, r, _)| (r / (fitted.a + fitted.b) - fitted.amplitude(*angle)).powi(2))
        .sum::<f64>()
        / points.len() as f64;
    let df = points.len() as f64 - 2.0;
    let excess = fitted.left / df;
    // Beyond the upper 1 % of what readings explain (normal approximation of chi-square): the pattern is another one.
    let gradient_share = if share.half.is_some() && excess > 1.0 + 2.33 * (2.0 / df).sqrt() {
        let mut budget = share.budget;
        budget.push(Contribution {
            from: "pattern is not of first order".into(),
            standard: fitted.share_standard * (excess - 1.0).sqrt(),
            degrees_of_freedom: Some(df),
        });
        Quantity::new(share.value, budget)
    } else {
        share
    };
    Some((FirstOrder { gradient_share, residual_db: amplitude_db(left.sqrt()) }, fitted))
}

/// Where least is heard: by the fit where it leaves little, else by the lowest level.
pub(super) fn null(
    points: &[Point],
    layout: &Layout,
    order: Option<&FirstOrder>,
    fitted: Option<&Fit>,
) -> Option<Null> {
    let front_db = points[layout.front].level.level_db;
    let lowest = points.iter().min_by(|p, q| p.level.level_db.total_cmp(&q.level.level_db))?;
    let lowest_db = {
        let value = lowest.level.level_db - front_db;
        match (lowest.level.standard_db, points[layout.front].level.standard_db) {
            (Some(own), Some(front)) => Quantity::new(
                value,
                vec![
                    Contribution {
                        from: "reading".into(),
                        standard: own,
                        degrees_of_freedom: lowest.level.degrees_of_freedom,
                    },
                    Contribution {
                        from: "reading of the front".into(),
                        standard: front,
                        degrees_of_freedom: None,
                    },
                ],
            ),
            _ => Quantity::of_unknown_uncertainty(value),
        }
    };
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
        return Some(Null { angle_deg, by: NullBy::FirstOrder, lowest_db });
    }
    let side = layout.sides.iter().find(|side| side.iter().any(|k| points[*k] == *lowest))?;
    let at = side.iter().position(|k| points[*k] == *lowest)?;
    let angle = lowest.angle_deg.abs();
    let gap = |other: usize| side.get(other).map_or(0.0, |k| (points[*k].angle_deg.abs() - angle).abs());
    let reach = gap(at + 1).max(at.checked_sub(1).map_or(0.0, gap));
    (lowest_db.value <= NULL_DB && at > 0).then(|| Null {
        angle_deg: Quantity::new(angle, vec![Contribution::within("step between angles", reach)]),
        by: NullBy::LowestLevel,
        lowest_db,
    })
}
