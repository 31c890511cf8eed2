//! The curve that is imposed: the found difference where it is known, 0 dB elsewhere, with smooth edges.

use crate::{AuditionError, Extent};
use fairtake_compare::wording::hertz;
use fairtake_compare::{Band, ComparisonFindings, Verdict};
use fairtake_signal::gain_curve::GainCurve;

/// The difference found in the bands with a verdict, within `extent`.
pub(crate) fn found_curve(
    comparison: &ComparisonFindings,
    extent: Extent,
) -> Result<GainCurve, AuditionError> {
    let known = |band: &Band| known_db(band).filter(|_| extent.holds(band.centre_hz));
    let bands = comparison.bands.iter().map(|band| (band.from_hz, band.to_hz, known(band)));
    GainCurve::new(bands).ok_or_else(|| AuditionError::NoDifference {
        reference: comparison.reference.clone(),
        against: comparison.against.clone(),
        region_hz: extent.region_hz(),
    })
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
