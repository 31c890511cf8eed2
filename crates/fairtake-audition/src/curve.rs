//! The curve that is imposed: the found difference where it is known, 0 dB elsewhere, with smooth edges.

use crate::{AuditionError, Extent};
use fairtake_compare::wording::hertz;
use fairtake_compare::{Band, ComparisonFindings, Verdict};

/// Beyond what is imposed the curve returns to 0 dB within this many octaves.
const EDGE_OCTAVES: f64 = 1.0 / 6.0;

/// A gain over frequency.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Curve {
    /// Low to high; at least one.
    runs: Vec<Run>,
}

/// Neighbouring bands that are imposed.
#[derive(Debug, Clone, PartialEq)]
struct Run {
    /// Octaves re 1 Hz of the lowest band's lower edge and the highest band's upper edge.
    span: [f64; 2],
    /// Octaves re 1 Hz and dB at the middle of each band.
    points: Vec<(f64, f64)>,
}

impl Curve {
    /// The difference found in the bands with a verdict, within `extent`.
    pub(crate) fn of(comparison: &ComparisonFindings, extent: Extent) -> Result<Curve, AuditionError> {
        let mut runs: Vec<Run> = Vec::new();
        let mut goes_on = false;
        for band in &comparison.bands {
            let db = known_db(band).filter(|_| extent.holds(band.centre_hz));
            match (db, runs.last_mut()) {
                (Some(db), Some(run)) if goes_on => {
                    run.span[1] = band.to_hz.log2();
                    run.points.push((band.centre_hz.log2(), db));
                }
                (Some(db), _) => runs.push(Run {
                    span: [band.from_hz.log2(), band.to_hz.log2()],
                    points: vec![(band.centre_hz.log2(), db)],
                }),
                (None, _) => {}
            }
            goes_on = db.is_some();
        }
        if runs.is_empty() {
            return Err(AuditionError::NoDifference {
                reference: comparison.reference.clone(),
                against: comparison.against.clone(),
                region_hz: extent.region_hz(),
            });
        }
        Ok(Curve { runs })
    }

    /// Gain in dB at a frequency in Hz: straight between the middles of bands over the logarithm of frequency.
    pub(crate) fn db(&self, hz: f64) -> f64 {
        if hz <= 0.0 {
            return 0.0;
        }
        let octaves = hz.log2();
        let after = self.runs.partition_point(|r| r.span[0] <= octaves);
        let below = after.checked_sub(1).map(|i| &self.runs[i]);
        if let Some(run) = below.filter(|r| octaves <= r.span[1]) {
            return run.db(octaves);
        }
        let above = self.runs.get(after);
        // A narrow gap is bridged: each side has returned to 0 dB where the other begins.
        let gap = below.zip(above).map_or(f64::INFINITY, |(b, a)| a.span[0] - b.span[1]);
        let edge = EDGE_OCTAVES.min(gap);
        let left = below.map_or(0.0, |r| r.db(r.span[1]) * returning(octaves - r.span[1], edge));
        left + above.map_or(0.0, |r| r.db(r.span[0]) * returning(r.span[0] - octaves, edge))
    }
}

impl Run {
    fn db(&self, octaves: f64) -> f64 {
        let after = self.points.partition_point(|(at, _)| *at <= octaves);
        let Some(above) = self.points.get(after) else { return self.points[self.points.len() - 1].1 };
        let Some(below) = after.checked_sub(1).map(|i| self.points[i]) else { return above.1 };
        below.1 + (above.1 - below.1) * (octaves - below.0) / (above.0 - below.0)
    }
}

/// From 1 at the edge to 0 beyond it.
fn returning(beyond: f64, edge: f64) -> f64 {
    if beyond >= edge { 0.0 } else { 0.5 + 0.5 * (std::f64::consts::PI * beyond / edge).cos() }
}

/// The difference in a band, where it is far enough above the noise to have been judged.
fn known_db(band: &Band) -> Option<f64> {
    band.difference_db.filter(|db| db.is_finite() && band.verdict != Verdict::OutOfRange)
}

/// What is left as it is, in words: bands within `extent` whose difference is not known, and all beyond a region.
pub(crate) fn left_alone(bands: &[Band], extent: Extent) -> Vec<String> {
    let mut spans: Vec<(f64, f64)> = Vec::new();
    let mut goes_on = false;
    for band in bands {
        let unknown = extent.holds(band.centre_hz) && known_db(band).is_none();
        match spans.last_mut() {
            Some(span) if unknown && goes_on => span.1 = band.to_hz,
            _ if unknown => spans.push((band.from_hz, band.to_hz)),
            _ => {}
        }
        goes_on = unknown;
    }
    let unknown = spans.into_iter().map(|(from, to)| {
        format!(
            "from {} to {} the difference is not known, and the reference is left as it is",
            hertz(from),
            hertz(to)
        )
    });
    let beyond = extent.region_hz().map(|[from, to]| {
        format!("below {} and above {} the reference is left as it is", hertz(from), hertz(to))
    });
    unknown.chain(beyond).collect()
}

#[cfg(test)]
mod tests;
