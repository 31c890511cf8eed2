//! What linear filters from one channel to the other leave over.

use super::sums::sixth_octave;
use super::{PairSpectra, Single, Spectrum, Sums, narrow, wide};
use crate::units::power_db;
use fairtake_transform::Complex;

/// Length of the freest linear filter to each side of no delay, in seconds.
const FIR_S: f64 = 0.01;
/// Below this coherence a filter carries nothing.
const LEAST_COHERENCE: f64 = 0.1;

/// Energy left over in the second channel, in dB re its own, after three fits to the first one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LeftOver {
    /// After one gain and one delay.
    pub gain_delay_db: Option<f64>,
    /// After a minimum-phase filter too.
    pub minimum_phase_db: Option<f64>,
    /// After the freest linear filter of 20 ms.
    pub any_linear_db: Option<f64>,
}

impl PairSpectra {
    /// What three fits leave over, fitted on every second event and tested on the others.
    pub fn left_over(&self) -> LeftOver {
        let nothing = LeftOver { gain_delay_db: None, minimum_phase_db: None, any_linear_db: None };
        let fitted_on = &self.by_turns[0];
        let Sums { aa, bb, ab } = fitted_on;
        let Some(weights) = self.weights(aa, bb) else { return nothing };
        let plain = vec![Complex::new(1.0, 0.0); ab.len()];
        let minimum = self.minimum_phase(aa, bb);
        let delayed = |shape: &Spectrum| -> Option<f64> {
            let rest: Spectrum = ab.iter().zip(shape).map(|(g, h)| g * h.conj()).collect();
            // The shape is taken off the cross spectrum's size too.
            let size = |h: &Complex<f64>| h.norm_sqr().sqrt().max(f64::MIN_POSITIVE);
            let weights: Vec<f64> = weights.iter().zip(shape).map(|(w, h)| w / size(h)).collect();
            let (seconds, _) = self.delay_of(&rest, &weights)?;
            let turned: Spectrum = shape.iter().zip(self.turns(seconds)).map(|(h, turn)| h * turn).collect();
            let cross: f64 = ab.iter().zip(&turned).map(|(g, h)| (g * h.conj()).re).sum();
            let energy: f64 = aa.iter().zip(&turned).map(|(e, h)| e * h.norm_sqr()).sum();
            let filter: Spectrum = turned.iter().map(|h| h * (cross / energy)).collect();
            self.tested(&filter)
        };
        LeftOver {
            gain_delay_db: delayed(&plain),
            minimum_phase_db: delayed(&minimum),
            any_linear_db: self.tested(&self.freest(fitted_on)),
        }
    }

    /// Energy of B − H·A over the events that were not fitted on, in dB re B's, both without the noise that gaps show. No
    /// more than nine tenths are taken for noise: beyond, the noise is not known well enough.
    fn tested(&self, filter: &[Complex<f64>]) -> Option<f64> {
        let (left, all) = self.by_turns[1].left_by(filter);
        let (noise, noise_b) = self.gaps.as_ref().map_or((0.0, 0.0), |gaps| gaps.left_by(filter));
        let as_long = self.faded_energy[1] / self.gaps_faded_energy.max(f64::MIN_POSITIVE);
        power_db((left - noise * as_long).max(0.1 * left) / (all - noise_b * as_long).max(0.1 * all))
    }

    /// H1 = G_ab/G_aa, and nothing where the channels do not cohere: there the ratio is that of noise to next to nothing.
    /// The impulse response is cut to the stated length.
    fn freest(&self, fitted_on: &Sums) -> Spectrum {
        let n = self.events.len().div_ceil(2) as f64;
        // Unrelated channels have 1/n in the mean.
        let related = 1.0 / n + LEAST_COHERENCE * (1.0 - 1.0 / n);
        let ratio = |k: usize| narrow(&(fitted_on.ab[k] / fitted_on.aa[k].max(f64::MIN_POSITIVE)));
        let raw: Single = sixth_octave(&fitted_on.raw_coherence())
            .iter()
            .enumerate()
            .map(|(k, c)| if *c > related { ratio(k) } else { Complex::default() })
            .collect();
        let mut impulse = self.to_time(raw);
        let reach = (FIR_S * self.rate_hz) as usize;
        let n = impulse.len();
        impulse[(reach + 1).min(n)..n.saturating_sub(reach).max((reach + 1).min(n))].fill(0.0);
        self.to_frequency(impulse).iter().map(wide).collect()
    }

    /// The minimum-phase filter with the ratio of the channels' smoothed spectra as its power gain, by the cepstrum.
    fn minimum_phase(&self, aa: &[f64], bb: &[f64]) -> Spectrum {
        let (smooth_a, smooth_b) = (sixth_octave(aa), sixth_octave(bb));
        let most = smooth_a.iter().copied().fold(0.0, f64::max).max(f64::MIN_POSITIVE);
        let log: Single = smooth_a
            .iter()
            .zip(&smooth_b)
            .map(|(a, b)| ((b + 1e-12 * most) / (a + 1e-12 * most)).ln())
            .map(|power| Complex::new(0.5 * power as f32, 0.0))
            .collect();
        let mut cepstrum = self.to_time(log);
        let half = cepstrum.len() / 2;
        cepstrum[1..half].iter_mut().for_each(|c| *c *= 2.0);
        cepstrum[half + 1..].fill(0.0);
        self.to_frequency(cepstrum).iter().map(|log| wide(log).exp()).collect()
    }

    fn to_time(&self, mut spectrum: Single) -> Vec<f32> {
        let mut out = self.inverse.make_output_vec();
        let last = spectrum.len() - 1;
        (spectrum[0].im, spectrum[last].im) = (0.0, 0.0);
        self.inverse.process(&mut spectrum, &mut out).expect("lengths are those of the plan");
        out.iter_mut().for_each(|x| *x /= self.n_fft as f32);
        out
    }

    fn to_frequency(&self, mut samples: Vec<f32>) -> Single {
        let mut out = self.forward.make_output_vec();
        self.forward.process(&mut samples, &mut out).expect("lengths are those of the plan");
        out
    }
}
