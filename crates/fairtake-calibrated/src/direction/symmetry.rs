//! How alike both sides are.

use super::DirectionCaution;
use super::budget::{Doubts, Point, derived};
use super::layout::Layout;
use super::results::{Apart, BandDirection, Symmetry};
use crate::Quantity;
use fairtake_signal::units::power_db;

/// Levels are compared between sides where both lie above this re the front, in dB.
const COMPARED_DB: f64 = -20.0;
/// Differences of sides that are usual, in dB. Common practice, no source.
const ASYMMETRIC_DB: f64 = 2.0;

/// Differences of the sides with the greatest one's budget; `None` without angles on both.
pub(super) fn symmetry(points: &[Point], layout: &Layout, doubts: &Doubts) -> Option<Symmetry> {
    let front_db = points[layout.front].level.level_db;
    let high = |p: &Point| p.level.level_db - front_db > COMPARED_DB;
    let pairs: Vec<(usize, usize)> = (0..points.len())
        .filter(|k| points[*k].angle_deg > 0.5 && points[*k].angle_deg < 179.5)
        .filter_map(|k| {
            let other = points.iter().position(|q| (q.angle_deg + points[k].angle_deg).abs() < 0.5)?;
            // Of two bounds nothing follows; of one and a level, how far the sides are apart at least, if the bound is the lower one. It
            // always is: below a limit all levels are bounds, above it none.
            let one_is_known = !(points[k].at_most && points[other].at_most);
            (one_is_known && high(&points[k]) && high(&points[other])).then_some((k, other))
        })
        .collect();
    let difference = |(a, b): &(usize, usize)| points[*a].level.level_db - points[*b].level.level_db;
    let greatest = pairs.iter().max_by(|p, q| difference(p).abs().total_cmp(&difference(q).abs()))?;
    let noise = |p: &Point| p.level.standard_db.unwrap_or(0.0).powi(2);
    // A difference from a bound is no figure of its own: it is in no mean.
    let is_sure = |p: &&(usize, usize)| !points[p.0].at_most && !points[p.1].at_most;
    let sure: Vec<&(usize, usize)> = pairs.iter().filter(is_sure).collect();
    let squares: f64 =
        sure.iter().map(|p| difference(p).powi(2) - noise(&points[p.0]) - noise(&points[p.1])).sum();
    // What a moved angle does is read off both sides' curves at the angle that was logged.
    let (a, b) = *greatest;
    let angle = points[a].angle_deg;
    let side_of = |k: usize| layout.sides.iter().find(|side| side.contains(&k));
    let (side_a, side_b) = (side_of(a)?, side_of(b)?);
    // What walls may have made is said by how it stands: its interval is that of the reading.
    let read: Vec<Point> = points.iter().map(|p| Point { at_most: false, ..*p }).collect();
    let greatest_db = derived(&read, doubts, |moved| {
        let [up, down] = [side_a, side_b].map(|side| layout.side(side, moved).at(angle).and_then(power_db));
        Some(up? - down?)
    });
    Some(Symmetry {
        greatest_db: greatest_db.unwrap_or_else(|| Quantity::of_unknown_uncertainty(difference(greatest))),
        // The greatest may be that of any pair of which only the least is known.
        apart: if sure.len() < pairs.len() { Apart::AtLeast } else { Apart::Measured },
        at_deg: angle,
        rms_db: (!sure.is_empty()).then(|| (squares / sure.len() as f64).max(0.0).sqrt()),
        n_angles: sure.len(),
    })
}

/// Says where the sides differ more than is usual.
pub(super) fn asymmetric(band: &BandDirection) -> Option<DirectionCaution> {
    let symmetry = band.symmetry.as_ref()?;
    let figure = symmetry.greatest_db.value.abs() - symmetry.greatest_db.half.unwrap_or(0.0);
    (figure > ASYMMETRIC_DB).then_some(DirectionCaution::Asymmetric {
        band_hz: band.centre_hz,
        angle_deg: symmetry.at_deg,
        figure,
        limit: ASYMMETRIC_DB,
    })
}
