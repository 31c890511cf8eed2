//! Band energies of events and band powers of steady sound.

use crate::bands::BandSet;
use crate::powers::Powers;
use fairtake_transform::{Work, fast_length, widest};

/// Taper at both ends of an event, in seconds: long enough that a cut tail does not splash, short beside any event.
const TAPER_S: f64 = 0.002;

/// Spectra at one sampling rate, integrated into bands. Made once; keeps its room for transforms.
pub struct BandSpectrum {
    rate_hz: f64,
    spans_hz: Vec<(f64, f64)>,
    faded: Vec<f32>,
    /// Rise of the taper used last.
    taper: Vec<f32>,
    powers: Powers,
    /// Window of steady sound, of the length used last.
    window: Vec<f32>,
}

impl BandSpectrum {
    /// For takes at `rate_hz` and these bands.
    pub fn new(rate_hz: u32, bands: &BandSet) -> BandSpectrum {
        BandSpectrum::of_spans(rate_hz, bands.spans_hz())
    }

    /// For sound at `rate_hz` and any ranges of frequency, which may overlap or leave gaps.
    pub fn of_spans(rate_hz: u32, spans_hz: Vec<(f64, f64)>) -> BandSpectrum {
        BandSpectrum {
            rate_hz: f64::from(rate_hz),
            spans_hz,
            faded: Vec::new(),
            taper: Vec::new(),
            powers: Powers::default(),
            window: Vec::new(),
        }
    }

    /// Energy per band of a whole event, in full-scale² · s. Sums to the event's energy within the bands (Parseval).
    pub fn event_energy(&mut self, samples: &[f32]) -> Vec<f64> {
        // At least twice as many bins as the event resolves: so that sharing a bin between bands by width is exact enough
        // (outside/check.py holds it to 0.1 dB against eightfold padding).
        let n_fft = fast_length(2 * samples.len());
        let taper = ((TAPER_S * self.rate_hz) as usize).min(samples.len() / 4);
        self.faded.clear();
        self.faded.extend_from_slice(samples);
        let n = samples.len();
        if self.taper.len() != taper {
            let w = |i: usize| 0.5 - 0.5 * (std::f64::consts::PI * (i as f64 + 0.5) / taper as f64).cos();
            self.taper = (0..taper).map(|i| w(i) as f32).collect();
        }
        for (i, w) in self.taper.iter().enumerate() {
            self.faded[i] *= w;
            self.faded[n - 1 - i] *= w;
        }
        self.faded.resize(n_fft / 2, 0.0);
        let powers = self.powers.of_padded(&self.faded);
        // Σx²/rate = Σ_k |X_k|²·(1 or 2)/(N·rate)
        integrate(powers, &self.spans_hz, self.rate_hz / n_fft as f64, 1.0 / (n_fft as f64 * self.rate_hz))
    }

    /// Mean power per band of steady sound, in full-scale², by averaged Hann-windowed segments of `n_fft` samples with
    /// half overlap, and how many segments there were. `None` when the samples hold no segment.
    ///
    /// # Source
    /// Welch (1967), "The use of fast Fourier transform for the estimation of power spectra".
    pub fn steady_power(&mut self, samples: &[f32], n_fft: usize) -> Option<(Vec<f64>, usize)> {
        if samples.len() < n_fft {
            return None;
        }
        if self.window.len() != n_fft {
            self.window = (0..n_fft)
                .map(|i| (0.5 - 0.5 * (2.0 * std::f64::consts::PI * i as f64 / n_fft as f64).cos()) as f32)
                .collect();
        }
        let window_energy = crate::levels::energy(&self.window);
        let mut sum = vec![0f32; n_fft / 2 + 1];
        let mut n_segments = 0;
        let mut start = 0;
        while start + n_fft <= samples.len() {
            self.faded.clear();
            self.faded.extend(samples[start..start + n_fft].iter().zip(&self.window).map(|(s, w)| s * w));
            sum.iter_mut().zip(self.powers.of(&self.faded)).for_each(|(s, p)| *s += p);
            n_segments += 1;
            start += n_fft / 2;
        }
        let scale = 1.0 / (n_fft as f64 * window_energy * f64::from(n_segments));
        let bin_hz = self.rate_hz / n_fft as f64;
        Some((integrate(&sum, &self.spans_hz, bin_hz, scale), n_segments as usize))
    }
}

/// Sums bins into bands; a bin that an edge crosses is shared by width.
fn integrate(powers: &[f32], spans_hz: &[(f64, f64)], bin_hz: f64, scale: f64) -> Vec<f64> {
    // Bin k reaches from k − ½ to k + ½: whole bins are summed, the cut one at each end counts in part.
    let place = |hz: f64| {
        let x = (hz / bin_hz + 0.5).clamp(0.0, powers.len() as f64);
        let k = (x as usize).min(powers.len() - 1);
        (k, (x - k as f64) * f64::from(powers[k]))
    };
    let within = |(from_hz, to_hz): &(f64, f64)| {
        let ((from, not), (to, also)) = (place(*from_hz), place(*to_hz));
        widest(Summed(&powers[from..to])) + also - not
    };
    spans_hz.iter().map(|span| within(span).max(0.0) * scale).collect()
}

struct Summed<'a>(&'a [f32]);

impl Work for Summed<'_> {
    type Out = f64;

    #[inline(always)]
    fn done(self) -> f64 {
        let (eights, rest) = self.0.as_chunks::<8>();
        let mut sums = [0f64; 8];
        for eight in eights {
            for (sum, power) in sums.iter_mut().zip(eight) {
                *sum += f64::from(*power);
            }
        }
        sums.iter().sum::<f64>() + rest.iter().map(|p| f64::from(*p)).sum::<f64>()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn noise(n: usize) -> Vec<f32> {
        let mut state = 12_345u64;
        (0..n)
            .map(|_| {
                state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                (state >> 40) as f32 / 8_388_608.0 - 1.0
            })
            .collect()
    }

    #[test]
    fn a_band_over_everything_holds_the_events_energy() {
        // Parseval. The octave bands at 96 kHz leave out what lies below 14 Hz and above 22.6 kHz of a decaying tone at
        // 1 kHz: next to nothing; the taper takes 2 ms of a start and end that are silent.
        let rate = 48_000u32;
        let samples: Vec<f32> = (0..9600)
            .map(|i| {
                let t = i as f64 / f64::from(rate);
                let rise = (t / 0.01).min(1.0).powi(2);
                (rise * (-t / 0.03).exp() * (2.0 * std::f64::consts::PI * 1000.0 * t).sin()) as f32
            })
            .collect();
        let mut s = BandSpectrum::new(rate, &BandSet::new(1, 24_000.0));
        let total: f64 = s.event_energy(&samples).iter().sum();
        let direct = crate::levels::energy(&samples) / f64::from(rate);
        assert!((total / direct - 1.0).abs() < 2e-3, "{total} {direct}");
    }

    #[test]
    fn white_noise_has_power_in_proportion_to_width() {
        let samples = noise(1 << 18);
        let rate = 48_000;
        let mut s = BandSpectrum::new(rate, &BandSet::new(3, 24_000.0));
        let (power, n) = s.steady_power(&samples, 4096).expect("long enough");
        let mean_square = crate::levels::energy(&samples) / samples.len() as f64;
        let (from, to) = s.spans_hz[27];
        let expected = mean_square * (to - from) / 24_000.0;
        // 127 half-overlapping segments × 200 bins: 1 % standard error; four of them.
        assert!((power[27] / expected - 1.0).abs() < 0.04 && n == 127);
    }
}
