//! Logged angles put in order: brought to one turn, doubles joined, gaps found.

use super::{AngleTake, DirectionCaution, DirectionError};
use crate::band_level::{BandLevel, same_band};

/// Angles nearer than this are one, in degrees.
const SAME_DEG: f64 = 0.25;
/// Takes at one angle agree within this, in dB, or within three of their standard uncertainties. Common practice, no source.
const AGREE_DB: f64 = 0.5;
/// Levels this far below the front are not asked to agree: noise and reflections rule there.
const DEEP_DB: f64 = 25.0;
/// Fewest different angles.
const FEWEST: usize = 3;
/// A row of equal steps: so large a share of the steps is alike.
const ROW_SHARE: f64 = 0.6;

/// Levels of one angle in the bands that all takes share.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Reading {
    /// In −180 (exclusive) to 180 degrees.
    pub angle_deg: f64,
    /// One for each shared band.
    pub levels: Vec<BandLevel>,
}

/// Readings in ascending order of angle, and what is to be said of them.
pub(super) fn ordered(takes: &[AngleTake]) -> Result<(Vec<Reading>, Vec<DirectionCaution>), DirectionError> {
    for take in takes {
        let usable = |band: &BandLevel| {
            band.level_db.is_finite()
                && band.centre_hz > 0.0
                && band.standard_db.is_none_or(|s| s >= 0.0 && s.is_finite())
        };
        if !take.angle_deg.is_finite() || !take.thirds.iter().all(usable) {
            return Err(DirectionError::NotFinite { angle_deg: take.angle_deg });
        }
    }
    let first = takes.first().ok_or(DirectionError::TooFewAngles { n_found: 0, n_needed: FEWEST })?;
    let in_take =
        |take: &AngleTake, hz: f64| take.thirds.iter().find(|band| same_band(band.centre_hz, hz)).copied();
    let mut shared: Vec<f64> = first.thirds.iter().map(|band| band.centre_hz).collect();
    shared.retain(|hz| takes.iter().all(|take| in_take(take, *hz).is_some()));
    shared.sort_by(f64::total_cmp);
    if shared.is_empty() {
        return Err(DirectionError::NoCommonBand);
    }
    let mut readings: Vec<Reading> = takes
        .iter()
        .map(|take| Reading {
            angle_deg: one_turn(take.angle_deg),
            levels: shared.iter().filter_map(|hz| in_take(take, *hz)).collect(),
        })
        .collect();
    readings.sort_by(|a, b| a.angle_deg.total_cmp(&b.angle_deg));
    let nearest =
        readings.iter().map(|r| r.angle_deg).min_by(|a, b| a.abs().total_cmp(&b.abs())).unwrap_or(f64::NAN);
    if nearest.abs() > SAME_DEG {
        return Err(DirectionError::NoFront { nearest_deg: nearest });
    }
    let front =
        readings.iter().find(|r| r.angle_deg == nearest).map(|r| r.levels.clone()).unwrap_or_default();
    let (readings, mut cautions) = joined_doubles(readings, &front)?;
    if readings.len() < FEWEST {
        return Err(DirectionError::TooFewAngles { n_found: readings.len(), n_needed: FEWEST });
    }
    // Each side by itself: the other one may be looked at in coarser steps.
    let angles: Vec<f64> = readings.iter().map(|r| r.angle_deg).collect();
    let (left, right): (Vec<f64>, Vec<f64>) = angles.iter().partition(|a| **a < -SAME_DEG);
    cautions.extend(missing(&right));
    cautions.extend(missing(&left.into_iter().chain([0.0]).collect::<Vec<_>>()));
    Ok((readings, cautions))
}

/// Into −180 (exclusive) to 180.
fn one_turn(angle_deg: f64) -> f64 {
    let turned = angle_deg.rem_euclid(360.0);
    if turned > 180.0 + SAME_DEG { turned - 360.0 } else { turned.min(180.0) }
}

fn joined_doubles(
    readings: Vec<Reading>,
    front: &[BandLevel],
) -> Result<(Vec<Reading>, Vec<DirectionCaution>), DirectionError> {
    let mut out: Vec<Reading> = Vec::new();
    let mut n_joined: Vec<f64> = Vec::new();
    let mut cautions = Vec::new();
    for reading in readings {
        let Some(last) = out.last_mut().filter(|last| (last.angle_deg - reading.angle_deg).abs() < SAME_DEG)
        else {
            out.push(reading);
            n_joined.push(1.0);
            continue;
        };
        for ((a, b), front) in last.levels.iter().zip(&reading.levels).zip(front) {
            let spread = 3.0 * a.standard_db.unwrap_or(0.0).hypot(b.standard_db.unwrap_or(0.0));
            let deep = a.level_db.max(b.level_db) < front.level_db - DEEP_DB;
            if !deep && (a.level_db - b.level_db).abs() > AGREE_DB.max(spread) {
                return Err(DirectionError::DoubledAngle {
                    angle_deg: reading.angle_deg,
                    band_hz: a.centre_hz,
                    first_db: a.level_db,
                    second_db: b.level_db,
                });
            }
        }
        let Some(n) = n_joined.last_mut() else { continue };
        for (a, b) in last.levels.iter_mut().zip(&reading.levels) {
            a.level_db = (*n * a.level_db + b.level_db) / (*n + 1.0);
            a.standard_db = a.standard_db.zip(b.standard_db).map(|(x, y)| (*n * x).hypot(y) / (*n + 1.0));
        }
        *n += 1.0;
        cautions.push(DirectionCaution::AngleTwice { angle_deg: last.angle_deg });
    }
    Ok((out, cautions))
}

/// Angles that a row of equal steps leaves out.
fn missing(angles: &[f64]) -> Option<DirectionCaution> {
    let gaps: Vec<f64> = angles.windows(2).map(|w| w[1] - w[0]).collect();
    let alike = |step: f64| gaps.iter().filter(|gap| (**gap - step).abs() < SAME_DEG).count();
    let step_deg = gaps.iter().copied().max_by_key(|step| alike(*step))?;
    if (alike(step_deg) as f64) < ROW_SHARE * gaps.len() as f64 {
        return None;
    }
    let angles_deg: Vec<f64> = angles
        .windows(2)
        .flat_map(|pair| {
            let n = (pair[1] - pair[0]) / step_deg;
            let whole = n > 1.5 && (n - n.round()).abs() < SAME_DEG;
            let from = pair[0];
            (1..if whole { n.round() as usize } else { 1 }).map(move |k| from + k as f64 * step_deg)
        })
        .collect();
    (!angles_deg.is_empty()).then_some(DirectionCaution::AnglesMissing { angles_deg, step_deg })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn take(angle_deg: f64, level_db: f64) -> AngleTake {
        let band =
            BandLevel { centre_hz: 1000.0, level_db, standard_db: Some(0.1), degrees_of_freedom: None };
        AngleTake { angle_deg, thirds: vec![band] }
    }

    #[test]
    fn a_turn_is_counted_one_way() {
        for (logged, turned) in
            [(0.0, 0.0), (180.0, 180.0), (-180.0, 180.0), (190.0, -170.0), (359.9, -0.1), (540.0, 180.0)]
        {
            assert!((one_turn(logged) - turned).abs() < 1e-9, "{logged}");
        }
    }

    #[test]
    fn an_angle_logged_twice_is_joined_where_it_agrees_and_refused_where_it_does_not() {
        let mut takes = vec![take(0.0, 0.0), take(90.0, -6.0), take(180.0, -20.0), take(90.0, -6.2)];
        let (readings, cautions) = ordered(&takes).expect("they agree");
        assert_eq!(cautions, [DirectionCaution::AngleTwice { angle_deg: 90.0 }]);
        let at_90 = readings[1].levels[0];
        // Exact: the mean, and 0.1/√2.
        assert!((at_90.level_db + 6.1).abs() < 1e-12);
        assert!((at_90.standard_db.expect("known") - 0.1 / 2f64.sqrt()).abs() < 1e-12);
        takes[3] = take(90.0, -9.0);
        let error = ordered(&takes).expect_err("they contradict each other");
        assert_eq!(
            error.to_string(),
            "two takes are logged at 90°, but at 1000 Hz one has -6.0 dB and the other -9.0 dB"
        );
    }

    #[test]
    fn an_angle_that_a_row_leaves_out_is_named() {
        let all = |left_out: &[f64]| -> Vec<AngleTake> {
            (0..=12)
                .map(|k| 15.0 * f64::from(k))
                .filter(|a| !left_out.contains(a))
                .map(|a| take(a, 0.0))
                .collect()
        };
        let (_, cautions) = ordered(&all(&[])).expect("complete");
        assert_eq!(cautions, []);
        let (_, cautions) = ordered(&all(&[60.0, 75.0, 150.0])).expect("enough");
        assert_eq!(
            cautions,
            [DirectionCaution::AnglesMissing { angles_deg: vec![60.0, 75.0, 150.0], step_deg: 15.0 }]
        );
        // The other side in coarser steps is whole; a gap in it is named.
        let mut both: Vec<AngleTake> = (0..=12).map(|k| take(15.0 * f64::from(k), 0.0)).collect();
        both.extend([-30.0, -60.0, -90.0, -120.0].map(|a| take(a, 0.0)));
        assert_eq!(ordered(&both).expect("enough").1, []);
        both.retain(|t| t.angle_deg != -60.0);
        assert_eq!(
            ordered(&both).expect("enough").1,
            [DirectionCaution::AnglesMissing { angles_deg: vec![-60.0], step_deg: 30.0 }]
        );
        // Steps of one's own choice are not missing any.
        let own: Vec<AngleTake> =
            [0.0, 45.0, 90.0, 100.0, 110.0, 130.0, 180.0].map(|a| take(a, 0.0)).to_vec();
        assert_eq!(ordered(&own).expect("enough").1, []);
    }

    #[test]
    fn what_cannot_be_ordered_is_refused() {
        assert_eq!(ordered(&[]), Err(DirectionError::TooFewAngles { n_found: 0, n_needed: 3 }));
        let no_front = [take(10.0, 0.0), take(90.0, 0.0), take(180.0, 0.0)];
        assert_eq!(ordered(&no_front), Err(DirectionError::NoFront { nearest_deg: 10.0 }));
        let mut other = [take(0.0, 0.0), take(90.0, 0.0), take(180.0, 0.0)];
        other[1].thirds[0].centre_hz = 2000.0;
        assert_eq!(ordered(&other), Err(DirectionError::NoCommonBand));
        let bad = [take(0.0, 0.0), take(90.0, f64::NAN), take(180.0, 0.0)];
        assert_eq!(ordered(&bad), Err(DirectionError::NotFinite { angle_deg: 90.0 }));
    }
}
