//! Spectra of a recording of silence, segment by segment, so that every level has a spread.

use crate::quantity::mean_and_variance;
use fairtake_signal::bands::BandSet;
use fairtake_signal::fir::to_frequency;
use fairtake_signal::weighting::a_power;
use fairtake_transform::Complex;
use std::f64::consts::TAU;

/// A segment lasts at least so long: then the third octave at 20 Hz holds six bins.
const SEGMENT_S: f64 = 1.0;
/// Half-overlapping Hann windows share this much of the variance of a power with each neighbour: (1/6)² (see
/// `reference/08_windows.csv`, 16.7 % overlap correlation).
pub(crate) const OVERLAP_SHARE: f64 = 1.0 / 36.0;

/// Power of every segment in every band, and more.
pub(crate) struct Segments {
    /// Per band: nominal third octaves with their edges in Hz.
    pub bands_hz: Vec<(f64, f64)>,
    /// Per segment: power per band, in full-scale².
    pub band_powers: Vec<Vec<f64>>,
    /// Per segment: A-weighted power.
    pub a_powers: Vec<f64>,
    /// Mean power per bin, one-sided, in full-scale².
    pub mean_bins: Vec<f64>,
    /// Per segment: power per bin up to where hum is sought.
    pub low_bins: Vec<Vec<f64>>,
    /// Width of a bin in Hz.
    pub bin_hz: f64,
    /// Noise bandwidth of the window in bins.
    pub noise_bins: f64,
}

/// Where the segments of a take begin, and how long they are.
pub(crate) fn layout(n_samples: usize, rate_hz: u32) -> (usize, Vec<usize>) {
    let n = ((SEGMENT_S * f64::from(rate_hz)).ceil() as usize).next_power_of_two();
    let starts = (0..(n_samples + 1).saturating_sub(n)).step_by(n / 2).collect();
    (n, starts)
}

/// Spectrum of one Hann-windowed segment, scaled so that squares are powers, one-sided.
pub(crate) fn spectrum(samples: &[f32]) -> Vec<Complex<f64>> {
    let n = samples.len();
    let window = |i: usize| 0.5 - 0.5 * (TAU * i as f64 / n as f64).cos();
    // Σ w² = 3n/8; Σ|X|² over both sides = n · Σ (w x)².
    let scale = (2.0 / (n as f64 * 0.375 * n as f64)).sqrt();
    let mut bins = to_frequency(samples.iter().enumerate().map(|(i, x)| f64::from(*x) * window(i)), n);
    bins.iter_mut().for_each(|b| *b *= scale);
    bins
}

impl Segments {
    /// Of a take; without any segment where it is too short. `hum_to_hz`: how far single bins are kept.
    pub(crate) fn of(samples: &[f32], rate_hz: u32, hum_to_hz: f64) -> Segments {
        let (n, starts) = layout(samples.len(), rate_hz);
        let bin_hz = f64::from(rate_hz) / n as f64;
        let bands_hz = BandSet::new(3, f64::from(rate_hz) / 2.0).spans_hz();
        let weights: Vec<f64> = (0..=n / 2).map(|k| a_power(k as f64 * bin_hz)).collect();
        let n_low = ((hum_to_hz / bin_hz) as usize).min(n / 2);
        let mut all = Segments {
            bands_hz,
            band_powers: Vec::new(),
            a_powers: Vec::new(),
            mean_bins: vec![0.0; n / 2 + 1],
            low_bins: Vec::new(),
            bin_hz,
            noise_bins: 1.5,
        };
        for start in &starts {
            let powers: Vec<f64> =
                spectrum(&samples[*start..start + n]).iter().map(Complex::norm_sqr).collect();
            all.band_powers.push(all.bands_hz.iter().map(|band| within(&powers, *band, bin_hz)).collect());
            all.a_powers.push(powers.iter().zip(&weights).map(|(p, w)| p * w).sum());
            all.mean_bins.iter_mut().zip(&powers).for_each(|(m, p)| *m += p / starts.len() as f64);
            all.low_bins.push(powers[..n_low].to_vec());
        }
        all
    }
}

/// Power between two frequencies; a bin that an edge crosses is shared by width.
pub(crate) fn within(powers: &[f64], (from_hz, to_hz): (f64, f64), bin_hz: f64) -> f64 {
    let place = |hz: f64| (hz / bin_hz + 0.5).clamp(0.0, powers.len() as f64);
    let (from, to) = (place(from_hz), place(to_hz));
    let share = |k: usize| (to.min(k as f64 + 1.0) - from.max(k as f64)).max(0.0);
    (from as usize..(to.ceil() as usize).min(powers.len())).map(|k| share(k) * powers[k]).sum()
}

/// Mean of powers of neighbouring pieces that correlate by `shared` with the next one, its relative standard uncertainty and
/// degrees of freedom; `None` with fewer than two.
pub(crate) fn mean_and_spread(powers: &[f64], shared: f64) -> Option<(f64, f64, f64)> {
    let n = powers.len() as f64;
    let (mean, variance) = mean_and_variance(powers)?;
    let of_mean = variance / n * (1.0 + 2.0 * shared);
    (mean > 0.0).then(|| (mean, of_mean.sqrt() / mean, n - 1.0))
}
