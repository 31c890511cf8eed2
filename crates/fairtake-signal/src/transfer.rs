//! Two channels of one performance: relative delay, polarity, coherence, and what a linear filter leaves over.
//!
//! Events are transformed whole; auto and cross spectra are averages over events. Fits are made on every second event
//! and tested on the others.
//!
//! Long because: half of it are the tests, which share their made pairs.

use crate::units::power_db;
use realfft::num_complex::Complex;
use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};
use std::f64::consts::TAU;
use std::sync::Arc;

/// Delays looked at, to each side, in seconds: 20 ms is 7 m of path.
const MOST_DELAY_S: f64 = 0.02;
/// The delay is searched on a grid this many times finer than the samples, then between its points.
const FINER: usize = 8;
/// Length of the freest linear filter to each side of no delay, in seconds.
const FIR_S: f64 = 0.01;
/// Polarity is told where the greatest value of one sign exceeds that of the other by this factor.
const CLEARLY: f64 = 1.25;
/// Fewest events: two to fit on, two to test on.
const FEWEST: usize = 4;

/// Below this coherence a filter carries nothing.
const LEAST_COHERENCE: f64 = 0.1;

type Spectrum = Vec<Complex<f64>>;

/// Spectra of events seen by two microphones at once.
pub struct PairSpectra {
    rate_hz: f64,
    n_fft: usize,
    forward: Arc<dyn RealToComplex<f64>>,
    inverse: Arc<dyn ComplexToReal<f64>>,
    events: Vec<[Spectrum; 2]>,
}

/// Where the second channel lies in time, and which way up.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Delay {
    /// Seconds; positive: the second channel is later.
    pub seconds: f64,
    /// Greatest positive over greatest negative value of the weighted cross-correlation; above 1: the same polarity.
    pub upright: f64,
}

impl Delay {
    /// `Some(true)`: the same polarity; `Some(false)`: inverted; `None`: cannot be told.
    pub fn same_polarity(&self) -> Option<bool> {
        if self.upright >= CLEARLY {
            Some(true)
        } else if self.upright <= 1.0 / CLEARLY {
            Some(false)
        } else {
            None
        }
    }
}

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
    /// Room for events of at most `longest` frames.
    pub fn new(rate_hz: u32, longest: usize) -> PairSpectra {
        let n_fft = (longest + (MOST_DELAY_S * f64::from(rate_hz)) as usize).next_power_of_two().max(2);
        let mut planner = RealFftPlanner::new();
        PairSpectra {
            rate_hz: f64::from(rate_hz),
            n_fft,
            forward: planner.plan_fft_forward(n_fft),
            inverse: planner.plan_fft_inverse(n_fft * FINER),
            events: Vec::new(),
        }
    }

    /// Adds one event, the same stretch of both channels; what is longer than announced is cut off.
    pub fn push(&mut self, a: &[f32], b: &[f32]) {
        self.events.push([a, b].map(|samples| {
            let mut padded = vec![0.0; self.n_fft];
            padded.iter_mut().zip(samples).for_each(|(p, x)| *p = f64::from(*x));
            faded(&mut padded[..samples.len().min(self.n_fft)]);
            let mut out = self.forward.make_output_vec();
            self.forward.process(&mut padded, &mut out).expect("lengths are those of the plan");
            out
        }));
    }

    /// Number of events.
    pub fn n_events(&self) -> usize {
        self.events.len()
    }

    fn n_bins(&self) -> usize {
        self.n_fft / 2 + 1
    }

    /// Sums over the events that `pick` takes: energies of both channels, and the cross spectrum conj(A)·B.
    fn sums(&self, pick: impl Fn(usize) -> bool) -> (Vec<f64>, Vec<f64>, Spectrum) {
        let n = self.n_bins();
        let (mut aa, mut bb, mut ab) = (vec![0.0; n], vec![0.0; n], vec![Complex::default(); n]);
        for (_, [a, b]) in self.events.iter().enumerate().filter(|(i, _)| pick(*i)) {
            for k in 0..n {
                aa[k] += a[k].norm_sqr();
                bb[k] += b[k].norm_sqr();
                ab[k] += a[k].conj() * b[k];
            }
        }
        (aa, bb, ab)
    }

    /// Magnitude-squared coherence per bin, corrected for the bias of few averages; `None` below four events.
    ///
    /// # Source
    /// Bendat & Piersol, Random Data: E[γ̂²] ≈ γ² + (1 − γ²)²/n for n averages, here taken off to first order.
    pub fn coherence(&self) -> Option<Vec<f64>> {
        let n = self.events.len() as f64;
        let (aa, bb, ab) = self.sums(|_| true);
        (self.events.len() >= FEWEST).then(|| {
            (0..ab.len())
                .map(|k| {
                    let raw = ab[k].norm_sqr() / (aa[k] * bb[k]).max(f64::MIN_POSITIVE);
                    (raw - (1.0 - raw).powi(2) / n).clamp(0.0, 1.0)
                })
                .collect()
        })
    }

    /// Relative delay and polarity by generalised cross-correlation; `None` below four events or without coherence.
    ///
    /// # Source
    /// C. Knapp and G. Carter, "The generalized correlation method for estimation of time delay", IEEE Trans. ASSP 24,
    /// 1976: the maximum-likelihood weighting γ²/(|G|·(1 − γ²)), from memory.
    pub fn delay(&self) -> Option<Delay> {
        let (_, _, ab) = self.sums(|_| true);
        self.delay_of(&ab)
    }

    fn delay_of(&self, ab: &[Complex<f64>]) -> Option<Delay> {
        let coherence = self.coherence()?;
        let mut weighted = self.inverse.make_input_vec();
        for k in 1..ab.len() - 1 {
            // Bounded, so that one bin of a pure tone does not outweigh all others.
            let weight = coherence[k] / (1.0 - coherence[k]).max(0.02);
            weighted[k] = if ab[k].norm() > 0.0 { ab[k] / ab[k].norm() * weight } else { Complex::default() };
        }
        let mut correlation = self.inverse.make_output_vec();
        self.inverse.process(&mut weighted, &mut correlation).ok()?;
        let n = correlation.len();
        let reach = (MOST_DELAY_S * self.rate_hz) as usize * FINER;
        let at = |lag: i64| correlation[lag.rem_euclid(n as i64) as usize];
        let lags = -(reach as i64)..=reach as i64;
        let most = lags.clone().max_by(|x, y| at(*x).total_cmp(&at(*y)))?;
        let least = lags.min_by(|x, y| at(*x).total_cmp(&at(*y)))?;
        let (up, down) = (at(most).max(0.0), (-at(least)).max(0.0));
        if up.max(down) <= 0.0 {
            return None;
        }
        let (peak, sign) = if up >= down { (most, 1.0) } else { (least, -1.0) };
        // The top of a parabola through three points.
        let [y0, y1, y2] = [-1, 0, 1].map(|d| sign * at(peak + d));
        let curve = y0 - 2.0 * y1 + y2;
        let between = if curve < 0.0 { 0.5 * (y0 - y2) / curve } else { 0.0 };
        let seconds = (peak as f64 + between) / (FINER as f64 * self.rate_hz);
        Some(Delay { seconds, upright: up / down.max(f64::MIN_POSITIVE) })
    }

    /// What three fits leave over, fitted on every second event and tested on the others.
    pub fn left_over(&self) -> LeftOver {
        let nothing = LeftOver { gain_delay_db: None, minimum_phase_db: None, any_linear_db: None };
        if self.events.len() < FEWEST {
            return nothing;
        }
        let (aa, bb, ab) = self.sums(|i| i % 2 == 0);
        let plain = vec![Complex::new(1.0, 0.0); ab.len()];
        let minimum = self.minimum_phase(&aa, &bb);
        let delayed = |shape: &Spectrum| -> Option<f64> {
            let rest: Spectrum = ab.iter().zip(shape).map(|(g, h)| g * h.conj()).collect();
            let delay = self.delay_of(&rest)?;
            let turned: Spectrum =
                shape.iter().enumerate().map(|(k, h)| h * self.turn(k, delay.seconds)).collect();
            let cross: f64 = ab.iter().zip(&turned).map(|(g, h)| (g * h.conj()).re).sum();
            let energy: f64 = aa.iter().zip(&turned).map(|(e, h)| e * h.norm_sqr()).sum();
            let filter: Spectrum = turned.iter().map(|h| h * (cross / energy)).collect();
            self.tested(&filter)
        };
        LeftOver {
            gain_delay_db: delayed(&plain),
            minimum_phase_db: delayed(&minimum),
            any_linear_db: self.tested(&self.freest(&aa, &bb, &ab)),
        }
    }

    /// e^(−jωτ) at a bin.
    fn turn(&self, bin: usize, seconds: f64) -> Complex<f64> {
        Complex::from_polar(1.0, -TAU * bin as f64 * self.rate_hz / self.n_fft as f64 * seconds)
    }

    /// Energy of B − H·A over the events that were not fitted on, in dB re B's.
    fn tested(&self, filter: &[Complex<f64>]) -> Option<f64> {
        let (mut left, mut all) = (0.0, 0.0);
        for [a, b] in self.events.iter().skip(1).step_by(2) {
            for k in 0..filter.len() {
                left += (b[k] - filter[k] * a[k]).norm_sqr();
                all += b[k].norm_sqr();
            }
        }
        power_db(left / all)
    }

    /// H1 = G_ab/G_aa, and nothing where the channels do not cohere: there the ratio is that of noise to next to nothing.
    /// The impulse response is cut to the stated length.
    fn freest(&self, aa: &[f64], bb: &[f64], ab: &[Complex<f64>]) -> Spectrum {
        let n = self.events.len().div_ceil(2) as f64;
        let raw: Vec<f64> =
            (0..ab.len()).map(|k| ab[k].norm_sqr() / (aa[k] * bb[k]).max(f64::MIN_POSITIVE)).collect();
        // Unrelated channels have 1/n in the mean.
        let related = 1.0 / n + LEAST_COHERENCE * (1.0 - 1.0 / n);
        let raw: Spectrum = sixth_octave(&raw)
            .iter()
            .enumerate()
            .map(
                |(k, c)| if *c > related { ab[k] / aa[k].max(f64::MIN_POSITIVE) } else { Complex::default() },
            )
            .collect();
        let mut impulse = self.to_time(raw);
        let reach = (FIR_S * self.rate_hz) as usize;
        let n = impulse.len();
        impulse[(reach + 1).min(n)..n.saturating_sub(reach).max((reach + 1).min(n))].fill(0.0);
        self.to_frequency(impulse)
    }

    /// The minimum-phase filter with the ratio of the channels' smoothed spectra as its power gain, by the cepstrum.
    fn minimum_phase(&self, aa: &[f64], bb: &[f64]) -> Spectrum {
        let (smooth_a, smooth_b) = (sixth_octave(aa), sixth_octave(bb));
        let most = smooth_a.iter().copied().fold(0.0, f64::max).max(f64::MIN_POSITIVE);
        let log: Spectrum = smooth_a
            .iter()
            .zip(&smooth_b)
            .map(|(a, b)| Complex::new(0.5 * ((b + 1e-12 * most) / (a + 1e-12 * most)).ln(), 0.0))
            .collect();
        let mut cepstrum = self.to_time(log);
        let half = cepstrum.len() / 2;
        cepstrum[1..half].iter_mut().for_each(|c| *c *= 2.0);
        cepstrum[half + 1..].fill(0.0);
        self.to_frequency(cepstrum).into_iter().map(Complex::exp).collect()
    }

    fn to_time(&self, mut spectrum: Spectrum) -> Vec<f64> {
        let inverse = RealFftPlanner::new().plan_fft_inverse(self.n_fft);
        let mut out = inverse.make_output_vec();
        let last = spectrum.len() - 1;
        (spectrum[0].im, spectrum[last].im) = (0.0, 0.0);
        inverse.process(&mut spectrum, &mut out).expect("lengths are those of the plan");
        out.iter_mut().for_each(|x| *x /= self.n_fft as f64);
        out
    }

    fn to_frequency(&self, mut samples: Vec<f64>) -> Spectrum {
        let mut out = self.forward.make_output_vec();
        self.forward.process(&mut samples, &mut out).expect("lengths are those of the plan");
        out
    }
}

/// Fades the first hundredth in and the last tenth out: a cut is at the same frame in both channels and would be seen
/// as a part without delay.
fn faded(samples: &mut [f64]) {
    let n = samples.len();
    let rise = |i: usize, over: usize| (0.25 * TAU * i as f64 / over as f64).sin().powi(2);
    samples.iter_mut().take(n / 100).enumerate().for_each(|(i, x)| *x *= rise(i, n / 100));
    samples.iter_mut().rev().take(n / 10).enumerate().for_each(|(i, x)| *x *= rise(i, n / 10));
}

/// Means over a twelfth of an octave to each side.
fn sixth_octave(energy: &[f64]) -> Vec<f64> {
    let mut sums = vec![0.0];
    energy.iter().for_each(|e| sums.push(sums[sums.len() - 1] + e));
    let step = (1.0f64 / 12.0).exp2();
    (0..energy.len())
        .map(|k| {
            let from = ((k as f64 / step) as usize).min(k);
            let to = ((k as f64 * step).ceil() as usize + 1).min(energy.len());
            (sums[to] - sums[from]) / (to - from) as f64
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::filters::Biquad;

    /// White noise of unit variance, uniform.
    fn noise(n: usize, seed: u64) -> Vec<f32> {
        let mut state = seed;
        (0..n)
            .map(|_| {
                state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                (((state >> 33) as f64 / (1u64 << 30) as f64 - 1.0) * 3f64.sqrt()) as f32
            })
            .collect()
    }

    /// Moves samples by a fraction, by turning the phase of their spectrum.
    fn delayed(x: &[f32], frames: f64) -> Vec<f32> {
        let n = (2 * x.len()).next_power_of_two();
        let mut planner = RealFftPlanner::<f64>::new();
        let (forward, inverse) = (planner.plan_fft_forward(n), planner.plan_fft_inverse(n));
        let mut padded = vec![0.0; n];
        padded.iter_mut().zip(x).for_each(|(p, v)| *p = f64::from(*v));
        let mut bins = forward.make_output_vec();
        forward.process(&mut padded, &mut bins).expect("planned");
        let last = bins.len() - 1;
        for (k, b) in bins.iter_mut().enumerate() {
            *b *= Complex::from_polar(1.0, -TAU * k as f64 * frames / n as f64);
        }
        (bins[0].im, bins[last].im) = (0.0, 0.0);
        inverse.process(&mut bins, &mut padded).expect("planned");
        padded[..x.len()].iter().map(|v| (v / n as f64) as f32).collect()
    }

    /// Decaying noise after some silence, with nothing near half the rate: a fractional delay of it rings shortly, and is
    /// cut off at neither end.
    fn burst(n: usize, seed: u64, rate_hz: u32) -> Vec<f32> {
        let rate = f64::from(rate_hz);
        let mut out = noise(n, seed);
        out[..512].fill(0.0);
        out.iter_mut().enumerate().for_each(|(i, x)| *x *= (-8.0 * i as f32 / n as f32).exp());
        Biquad::high_pass(rate, 60.0).run(&mut out);
        (0..4).for_each(|_| Biquad::low_pass(rate, 0.25 * rate).run(&mut out));
        out
    }

    fn pair(rate_hz: u32, make: impl Fn(&[f32], u64) -> Vec<f32>) -> PairSpectra {
        let n = rate_hz as usize / 4;
        let mut spectra = PairSpectra::new(rate_hz, n);
        for event in 0..12u64 {
            let a = burst(n, 2 * event + 1, rate_hz);
            let b = make(&a, event);
            spectra.push(&a, &b);
        }
        spectra
    }

    #[test]
    fn fractional_delays_are_found_at_every_rate_and_either_way_up() {
        for rate in [44_100, 48_000, 96_000] {
            for frames in [-37.3, -0.25, 0.0, 0.4, 12.75] {
                for sign in [1.0, -1.0] {
                    let spectra =
                        pair(rate, |a, _| delayed(a, frames).iter().map(|x| sign * 0.5 * x).collect());
                    let found = spectra.delay().expect("there is coherence");
                    // A hundredth of a sample: 0.07 mm of path at 48 kHz.
                    let error = found.seconds * f64::from(rate) - frames;
                    assert!(error.abs() < 0.01, "{rate} {frames}: off by {error}");
                    assert_eq!(found.same_polarity(), Some(sign > 0.0));
                }
            }
        }
    }

    #[test]
    fn noise_moves_the_delay_little_and_strangers_have_no_polarity() {
        let rate = 48_000;
        let noisy = pair(rate, |a, event| {
            let extra = noise(a.len(), 1000 + event);
            delayed(a, 5.5).iter().zip(extra).map(|(x, n)| x + 0.02 * n).collect()
        });
        let found = noisy.delay().expect("there is coherence");
        assert!((found.seconds * 48_000.0 - 5.5).abs() < 0.05, "{found:?}");
        let strangers = pair(rate, |a, event| noise(a.len(), 5000 + event));
        assert!(strangers.delay().is_none_or(|d| d.same_polarity().is_none()));
    }

    #[test]
    fn each_fit_leaves_over_what_it_cannot_carry() {
        let rate = 48_000;
        // Gain and delay alone leave nothing but what is cut off at the end of the event.
        let plain = pair(rate, |a, _| delayed(a, 3.5).iter().map(|x| 0.7 * x).collect()).left_over();
        assert!(plain.gain_delay_db.expect("fitted") < -50.0, "{plain:?}");
        // An equaliser is minimum phase: gain and delay leave much of it, its like leaves little.
        let equaliser = |a: &[f32]| {
            let mut b = delayed(a, 3.5);
            Biquad::peak(48_000.0, 3000.0, 9.0, 1.0).run(&mut b);
            b
        };
        let filtered = pair(rate, |a, _| equaliser(a)).left_over();
        let (first, second, third) = (
            filtered.gain_delay_db.expect("fitted"),
            filtered.minimum_phase_db.expect("fitted"),
            filtered.any_linear_db.expect("fitted"),
        );
        assert!(first > -12.0 && second < first - 8.0 && third < -30.0, "{filtered:?}");
        // Noise at −20 dB cannot be carried by any filter: exact but for the fit on six events.
        let energy = |x: &[f32]| x.iter().map(|v| f64::from(*v).powi(2)).sum::<f64>();
        let noisy = pair(rate, |a, event| {
            let b = equaliser(a);
            let extra = noise(a.len(), 77 + event);
            let scale = (0.01 * energy(&b) / energy(&extra)).sqrt() as f32;
            b.iter().zip(extra).map(|(x, n)| x + scale * n).collect()
        });
        let left = noisy.left_over().any_linear_db.expect("fitted");
        // −20.04 dB re all of B (1 % of 101 %); the filter's own error adds some tenths.
        assert!((-20.5..-19.0).contains(&left), "{left}");
    }

    #[test]
    fn coherence_of_noise_in_one_channel_is_that_of_the_textbook() {
        // γ² = 1/(1 + N/S) with independent noise of equal power in B: a half; 12 averages scatter, the mean does not.
        let spectra = pair(48_000, |a, event| {
            let extra = burst(a.len(), 301 + 2 * event, 48_000);
            a.iter().zip(extra).map(|(x, n)| x + n).collect()
        });
        let coherence = spectra.coherence().expect("twelve events");
        // Up to where the bursts have energy.
        let inside = &coherence[100..coherence.len() / 2];
        let mean = inside.iter().sum::<f64>() / inside.len() as f64;
        // First-order bias correction with twelve averages is good to some hundredths.
        assert!((mean - 0.5).abs() < 0.05, "{mean}");
    }
}
