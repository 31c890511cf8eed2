//! Power of a spectrum in bands, and what noise adds to it.

use super::gate::Window;
use fairtake_signal::fir::to_frequency;
use fairtake_transform::fast_length;

/// So many stretches of noise are enough.
const MOST_STRETCHES: usize = 48;

/// Mean power per bin in each band.
pub(crate) fn band_powers(spectrum: &[f64], step_hz: f64, spans_hz: &[(f64, f64)]) -> Vec<f64> {
    let mut sums = vec![0.0];
    spectrum.iter().for_each(|p| sums.push(sums[sums.len() - 1] + p));
    // Bin k reaches from k − ½ to k + ½; what lies up to a frequency is straight between these.
    let up_to = |hz: f64| {
        let place = (hz / step_hz + 0.5).clamp(0.0, spectrum.len() as f64);
        let whole = (place as usize).min(spectrum.len() - 1);
        sums[whole] + (place - whole as f64) * spectrum[whole]
    };
    spans_hz.iter().map(|(from, to)| (up_to(*to) - up_to(*from)) * step_hz / (to - from)).collect()
}

/// Noise as a window sees it.
pub(crate) struct Noise {
    /// Mean power per bin in each band.
    pub powers: Vec<f64>,
    /// How many independent stretches it comes from.
    pub n_stretches: f64,
}

/// Noise in bands, of a quiet stretch. What a window sees of noise is smooth over frequency on the scale of its length: a transform of
/// twice that is enough.
pub(crate) fn noise(window: &Window, quiet: &[f64], rate_hz: f64, spans_hz: &[(f64, f64)]) -> Option<Noise> {
    let n = fast_length(2 * window.frames());
    let mut mean = vec![0.0; n / 2 + 1];
    let mut count = 0;
    for stretch in window.stretches(quiet, MOST_STRETCHES) {
        let spectrum = to_frequency(window.weighted(stretch), n);
        mean.iter_mut().zip(&spectrum).for_each(|(m, x)| *m += x.norm_sqr());
        count += 1;
    }
    if count == 0 {
        return None;
    }
    mean.iter_mut().for_each(|m| *m /= f64::from(count));
    // Stretches lie half over each other: somewhat fewer are independent.
    let powers = band_powers(&mean, rate_hz / n as f64, spans_hz);
    Some(Noise { powers, n_stretches: (f64::from(count) / 1.5).max(1.0) })
}
