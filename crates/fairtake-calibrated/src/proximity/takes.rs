//! Takes in order of distance, in the bands that all of them share.

use super::{DistanceTake, ProximityCaution, ProximityError};
use crate::band_level::{BandLevel, same_band};

/// Distances nearer than this are one, in mm.
const SAME_MM: f64 = 0.05;
/// Takes at one distance agree within this in dB, or within three standard uncertainties. Common practice, no source.
const AGREE_DB: f64 = 0.5;
/// Fewest distances: as many as the fit has unknowns beside the bands' levels, and two more.
const FEWEST: usize = 4;
/// Distances that are wanted.
const WANTED: usize = 6;
/// Greatest over least distance: needed, and wanted.
const RANGE: (f64, f64) = (1.5, 4.0);

/// One distance.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Reading {
    /// Logged, in mm.
    pub distance_mm: f64,
    /// One for each shared band, from low to high.
    pub levels: Vec<BandLevel>,
}

/// Readings from near to far, and what is to be said of them.
pub(super) fn ordered(
    takes: &[DistanceTake],
) -> Result<(Vec<Reading>, Vec<ProximityCaution>), ProximityError> {
    for take in takes {
        let usable = |b: &BandLevel| {
            b.level_db.is_finite()
                && b.centre_hz > 0.0
                && b.standard_db.is_none_or(|s| s >= 0.0 && s.is_finite())
        };
        if !take.distance_mm.is_finite() || !take.thirds.iter().all(usable) {
            return Err(ProximityError::NotFinite { distance_mm: take.distance_mm });
        }
        let (from, to) = (1.0, 20_000.0);
        if !(from..=to).contains(&take.distance_mm) {
            return Err(ProximityError::OutOfRange {
                what: "a distance in mm",
                value: take.distance_mm,
                from,
                to,
            });
        }
    }
    let Some(first) = takes.first() else {
        return Err(ProximityError::TooFewDistances { n_found: 0, n_needed: FEWEST });
    };
    let in_take =
        |take: &DistanceTake, hz: f64| take.thirds.iter().find(|b| same_band(b.centre_hz, hz)).copied();
    let mut shared: Vec<f64> = first.thirds.iter().map(|b| b.centre_hz).collect();
    shared.retain(|hz| takes.iter().all(|take| in_take(take, *hz).is_some()));
    shared.sort_by(f64::total_cmp);
    let mut readings: Vec<Reading> = takes
        .iter()
        .map(|take| Reading {
            distance_mm: take.distance_mm,
            levels: shared.iter().filter_map(|hz| in_take(take, *hz)).collect(),
        })
        .collect();
    readings.sort_by(|a, b| a.distance_mm.total_cmp(&b.distance_mm));
    let (readings, mut cautions) = joined_doubles(readings)?;
    let n_found = readings.len();
    if n_found < FEWEST {
        return Err(ProximityError::TooFewDistances { n_found, n_needed: FEWEST });
    }
    let (near, far) = (&readings[0], &readings[n_found - 1]);
    let ratio = far.distance_mm / near.distance_mm;
    if ratio < RANGE.0 {
        return Err(ProximityError::RangeTooNarrow {
            from_mm: near.distance_mm,
            to_mm: far.distance_mm,
            needed: RANGE.0,
        });
    }
    let mut changes: Vec<f64> =
        far.levels.iter().zip(&near.levels).map(|(f, n)| f.level_db - n.level_db).collect();
    changes.sort_by(f64::total_cmp);
    if let Some(by_db) = changes.get(changes.len() / 2).copied().filter(|by| *by > 0.0) {
        return Err(ProximityError::LouderFarAway {
            near_mm: near.distance_mm,
            far_mm: far.distance_mm,
            by_db,
        });
    }
    if n_found < WANTED {
        cautions.push(ProximityCaution::FewDistances { figure: n_found as f64, limit: WANTED as f64 });
    }
    if ratio < RANGE.1 {
        cautions.push(ProximityCaution::NarrowRange { figure: ratio, limit: RANGE.1 });
    }
    Ok((readings, cautions))
}

fn joined_doubles(readings: Vec<Reading>) -> Result<(Vec<Reading>, Vec<ProximityCaution>), ProximityError> {
    let mut out: Vec<Reading> = Vec::new();
    let mut n_joined = 1.0;
    let mut cautions = Vec::new();
    for reading in readings {
        let Some(last) =
            out.last_mut().filter(|last| (last.distance_mm - reading.distance_mm).abs() < SAME_MM)
        else {
            out.push(reading);
            n_joined = 1.0;
            continue;
        };
        for (a, b) in last.levels.iter_mut().zip(&reading.levels) {
            let spread = 3.0 * a.standard_db.unwrap_or(0.0).hypot(b.standard_db.unwrap_or(0.0));
            if (a.level_db - b.level_db).abs() > AGREE_DB.max(spread) {
                return Err(ProximityError::DoubledDistance {
                    distance_mm: reading.distance_mm,
                    band_hz: a.centre_hz,
                    first_db: a.level_db,
                    second_db: b.level_db,
                });
            }
            a.level_db = (n_joined * a.level_db + b.level_db) / (n_joined + 1.0);
            let joined = |(x, y): (f64, f64)| (n_joined * x).hypot(y) / (n_joined + 1.0);
            a.standard_db = a.standard_db.zip(b.standard_db).map(joined);
        }
        n_joined += 1.0;
        cautions.push(ProximityCaution::DistanceTwice { distance_mm: last.distance_mm });
    }
    Ok((out, cautions))
}
