//! The reference with the found difference imposed on it: a number on a page becomes a sound.

use crate::clip::{fade, gain_factor};
use crate::curve::{found_curve, left_alone};
use crate::loud::Loud;
use crate::{AuditionError, Clip};
use fairtake_compare::ComparisonFindings;
use fairtake_signal::fir::{ample_taps, filtered, minimum_phase_fir};

/// How much of the difference curve is imposed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Extent {
    /// All that is known of it.
    Everywhere,
    /// One region alone, such as that of a finding.
    Region {
        /// Lower edge in Hz.
        from_hz: f64,
        /// Upper edge in Hz.
        to_hz: f64,
    },
}

impl Extent {
    pub(crate) fn holds(self, centre_hz: f64) -> bool {
        match self {
            Extent::Everywhere => true,
            Extent::Region { from_hz, to_hz } => from_hz <= centre_hz && centre_hz <= to_hz,
        }
    }

    pub(crate) fn region_hz(self) -> Option<[f64; 2]> {
        match self {
            Extent::Everywhere => None,
            Extent::Region { from_hz, to_hz } => Some([from_hz, to_hz]),
        }
    }
}

/// The reference with a difference imposed.
#[derive(Debug, Clone, PartialEq)]
pub struct Imposed {
    /// As long as the reference's clip and in step with it; `trim_db` is applied.
    pub clip: Clip,
    /// Gain in dB, 0 or less, that every other clip heard beside this one needs too: without it this clip would be louder
    /// than the loudest original.
    pub trim_db: f64,
    /// What is left as it is and why, in words.
    pub remarks: Vec<String>,
}

/// Imposes the difference found between two microphones on a clip of the reference: it then has, band by band, what the
/// other one has after the level match.
///
/// The filter is minimum-phase and goes through `difference_db` at the middle of every band with a verdict. Bands out of
/// range, and all beyond a region, have 0 dB, with edges of a sixth of an octave. `moment` holds the clips heard beside
/// this one, of every microphone: the result is held to the loudest of them as recorded, by true peak, by event loudness
/// and by the loudest 0.4 s.
///
/// # Errors
/// When no band within `extent` has a known difference.
///
/// # Source
/// A. Oppenheim and R. Schafer, Discrete-Time Signal Processing: minimum phase by the real cepstrum. The edges are our
/// own: docs/methods/audition.md.
pub fn imposed(
    reference: &Clip,
    moment: &[Clip],
    comparison: &ComparisonFindings,
    extent: Extent,
) -> Result<Imposed, AuditionError> {
    let curve = found_curve(comparison, extent)?;
    let impulse = minimum_phase_fir(reference.rate_hz, ample_taps(reference.rate_hz), |hz| curve.db(hz));
    Ok(through(&impulse, reference, moment, left_alone(&comparison.bands, extent)))
}

/// A clip of the reference through a filter, held to the loudest of the moment as recorded.
pub(crate) fn through(impulse: &[f64], reference: &Clip, moment: &[Clip], remarks: Vec<String>) -> Imposed {
    let exact = filtered(&reference.samples, impulse);
    let mut samples: Vec<f32> = exact.iter().map(|x| *x as f32).collect();
    // The filter rings on where the clip ends.
    fade(&mut samples, reference.rate_hz);
    let loudest = moment.iter().map(Loud::of_original).fold(Loud::of_original(reference), Loud::or);
    let trim_db = Loud::of(&samples, reference.rate_hz).trim_db(loudest);
    let gain = gain_factor(trim_db);
    samples.iter_mut().for_each(|x| *x = (f64::from(*x) * gain) as f32);
    Imposed {
        clip: Clip { rate_hz: reference.rate_hz, samples, gain_db: reference.gain_db + trim_db },
        trim_db,
        remarks,
    }
}

#[cfg(test)]
mod tests;
