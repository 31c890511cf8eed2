//! A measured point of a polar diagram with its budget.

use super::budget::{Doubts, Moved, Point};
use super::curve::Side;
use super::layout::Layout;
use super::results::PolarPoint;
use crate::level::Standing;
use crate::{Contribution, Quantity};
use fairtake_signal::units::power_db;

/// A point that its neighbours miss by more than this share of its own amplitude lies where they do not tell how steep the pattern is.
const MISSED: f64 = 0.15;

/// A point re the front.
pub(super) fn polar_point(
    k: usize,
    points: &[Point],
    layout: &Layout,
    doubts: &Doubts,
    still: &[Moved],
) -> PolarPoint {
    let (own, front) = (&points[k], &points[layout.front]);
    let value = own.level.level_db - front.level.level_db;
    let budget = || -> Option<Vec<Contribution>> {
        let plain = |from: &str, standard: f64| Contribution {
            from: from.into(),
            standard,
            degrees_of_freedom: None,
        };
        let reading = |p: &Point, from: &str| {
            Some(Contribution {
                degrees_of_freedom: p.level.degrees_of_freedom,
                ..plain(from, p.level.standard_db?)
            })
        };
        if k == layout.front {
            return Some(vec![plain("by definition", 0.0)]);
        }
        let slope = slope(k, layout, still)?;
        Some(vec![
            reading(own, "reading")?,
            reading(front, "reading of the front")?,
            plain("angle", slope * doubts.angle_deg),
            plain("zero of the angles", slope * doubts.zero_deg),
            plain(
                "acoustic centre off the axis",
                doubts.centre_db * (1.0 - own.angle_deg.to_radians().cos()),
            ),
        ])
    };
    let level_db =
        budget().map_or_else(|| Quantity::of_unknown_uncertainty(value), |b| Quantity::new(value, b));
    PolarPoint { angle_deg: own.angle_deg, level_db, standing: Standing::of(own.at_most) }
}

/// How steep the diagram is at a point, in dB per degree, without a sign.
///
/// By the curve of powers through its neighbours; where that curve misses the point when it is left out, the steps do not resolve the pattern, and
/// a power that is small beside its neighbours' tells little of its slope: then at least as steep as straight lines of levels to both neighbours are
/// on the average.
fn slope(k: usize, layout: &Layout, still: &[Moved]) -> Option<f64> {
    let indices = layout.sides.iter().find(|side| side.contains(&k))?;
    let at = indices.iter().position(|idx| *idx == k)?;
    let angle = still[k].0.abs();
    // At the back the two sides of a degree are mirror images.
    if angle > 179.5 {
        return Some(0.0);
    }
    let side = layout.side(indices, still);
    let own_db = power_db(side.power(at))?;
    let db_at = |angle: f64| side.at(angle).and_then(power_db);
    let by_curve = match (db_at(angle + 1.0), db_at(angle - 1.0)) {
        (Some(up), Some(down)) => Some((up - down) / 2.0),
        (Some(up), None) => Some(up - own_db),
        (None, Some(down)) => Some(own_db - down),
        (None, None) => None,
    };
    match (by_curve, straight(at, indices, &side, still)) {
        (Some(curve), Some(straight)) if is_missed(&side, at) => Some(curve.abs().max(straight.abs())),
        (curve, straight) => curve.or(straight).map(f64::abs),
    }
}

fn is_missed(side: &Side, at: usize) -> bool {
    let amplitude = side.power(at).sqrt();
    side.left_out(at).is_some_and(|power| (power.max(0.0).sqrt() - amplitude).abs() > MISSED * amplitude)
}

/// Mean of the slopes of levels to both neighbours, each weighted as near as its neighbour is; `None` at an end.
fn straight(at: usize, indices: &[usize], side: &Side, still: &[Moved]) -> Option<f64> {
    let (before, after) = (at.checked_sub(1)?, (at + 1 < indices.len()).then_some(at + 1)?);
    let point = |i: usize| Some((still[indices[i]].0.abs(), power_db(side.power(i))?));
    let ((a, la), (b, lb), (c, lc)) = (point(before)?, point(at)?, point(after)?);
    let (down, up) = ((lb - la) / (b - a), (lc - lb) / (c - b));
    Some((down * (c - b) + up * (b - a)) / (c - a))
}
