//! What two recordings share: one waveform at one delay, and the noise that lies under it.
//!
//! Used to tell whether two recordings hold one performance, and whether they heard one room at one time. Spectra of short
//! stretches are as precise as their samples: what rounding adds lies some 130 dB below the stretch.

use crate::levels::energy;
use fairtake_transform::{Complex, ComplexToReal, RealToComplex, forward_single, inverse_single};
use std::sync::Arc;

/// How far the cross spectrum is whitened: 0 leaves it, 1 keeps phases alone. Reason: unwhitened, two strokes on one drum
/// look alike, since its few tones outweigh all else; wholly whitened, noise above what is played counts as much as what is
/// played.
const WHITENED: f32 = 0.7;

/// Room for one correlation, kept from one to the next.
#[derive(Debug, Default)]
pub struct CorrelatorRoom {
    samples: Vec<f32>,
    spectra: [Vec<Complex<f32>>; 2],
    scratch: Vec<Complex<f32>>,
}

/// Correlation of short stretches over a range of delays, by way of the spectrum.
pub struct Correlator {
    length: usize,
    reach: usize,
    n_fft: usize,
    forward: Arc<dyn RealToComplex<f32>>,
    inverse: Arc<dyn ComplexToReal<f32>>,
}

impl Correlator {
    /// For stretches of `length` frames and delays of up to `reach` frames to each side.
    pub fn new(length: usize, reach: usize) -> Correlator {
        let n_fft = (length + 2 * reach).next_power_of_two().max(2);
        Correlator { length, reach, n_fft, forward: forward_single(n_fft), inverse: inverse_single(n_fft) }
    }

    /// Correlation of `x` with `y`, largely whitened: 1 for equal waveforms, near 0 for strangers.
    ///
    /// `x` holds `length` frames, `y` begins `reach` frames earlier and holds `length + 2·reach`; what is missing at the end
    /// counts as zeros. Shape: one value per delay from −reach to reach. `None` where one of them is silent.
    pub fn correlate(&self, x: &[f32], y: &[f32], room: &mut CorrelatorRoom) -> Option<Vec<f64>> {
        let CorrelatorRoom { samples, spectra: [cross, other], scratch } = room;
        self.spectrum(&x[..x.len().min(self.length)], samples, cross, scratch);
        self.spectrum(&y[..y.len().min(self.length + 2 * self.reach)], samples, other, scratch);
        let mut total = 0f64;
        for (a, b) in cross.iter_mut().zip(other) {
            let g = a.conj() * *b;
            let power = g.norm_sqr();
            // Of |g| the power 1 − WHITENED is kept: |g|² to half of that.
            let kept = if power > 0.0 { power.powf(0.5 * (1.0 - WHITENED)) } else { 0.0 };
            total += f64::from(kept);
            *a = if power > 0.0 { g * (kept / power.sqrt()) } else { Complex::default() };
        }
        if total <= 0.0 {
            return None;
        }
        let last = cross.len() - 1;
        (cross[0].im, cross[last].im) = (0.0, 0.0);
        samples.resize(self.n_fft, 0.0);
        scratch.resize(self.inverse.get_scratch_len().max(scratch.len()), Complex::default());
        self.inverse.process_with_scratch(cross, samples, scratch).expect("lengths are those of the plan");
        // The inverse transform adds every bin but the outermost twice.
        Some(samples[..2 * self.reach + 1].iter().map(|v| f64::from(*v) / (2.0 * total)).collect())
    }

    fn spectrum(
        &self,
        of: &[f32],
        samples: &mut Vec<f32>,
        out: &mut Vec<Complex<f32>>,
        scratch: &mut Vec<Complex<f32>>,
    ) {
        // Of energy one: products of four amplitudes stay within the numbers that there are, however loud a file is.
        let scale = 1.0 / energy(of).max(f64::MIN_POSITIVE).sqrt();
        samples.clear();
        samples.extend(of.iter().map(|x| (f64::from(*x) * scale) as f32));
        samples.resize(self.n_fft, 0.0);
        out.resize(self.n_fft / 2 + 1, Complex::default());
        scratch.resize(self.forward.get_scratch_len().max(scratch.len()), Complex::default());
        self.forward.process_with_scratch(samples, out, scratch).expect("lengths are those of the plan");
    }
}

/// Octaves in which noise is compared: their lower edges in Hz. Reason: what sounds in a room lies low, and two
/// microphones a hand's breadth apart hear it alike up to about 1.7 kHz; above, their own noise prevails.
const OCTAVES_FROM_HZ: [f64; 6] = [62.5, 125.0, 250.0, 500.0, 1000.0, 2000.0];
/// Coherence of an octave from which noise counts as shared.
pub const SHARED_FROM: f64 = 0.15;
/// This many standard deviations above what strangers show. Reason: six octaves by chance once in a million.
const CLEARLY_SD: f64 = 5.0;
/// Fewer stretches than this tell nothing.
const FEWEST_STRETCHES: usize = 4;
/// Share of the bins that are independent under a Hann window, which is 1.5 bins wide.
const INDEPENDENT: f64 = 1.0 / 1.5;

/// Whether the noise under two recordings is one noise, by its coherence over stretches in which nothing is played.
pub struct NoiseShared {
    rate_hz: f64,
    length: usize,
    forward: Arc<dyn RealToComplex<f32>>,
    window: Vec<f32>,
    n: usize,
    aa: Vec<f64>,
    bb: Vec<f64>,
    ab: Vec<Complex<f64>>,
}

/// One stretch of both as [`NoiseShared`] wants it: spectra as far up as noise is compared, each of energy one in all.
pub struct NoiseStretch([Vec<Complex<f32>>; 2]);

/// What is found of the noise.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NoiseFound {
    /// Coherence (magnitude squared, what chance makes taken off) of the octave in which it is clearest; below 0 by chance.
    pub coherence: f64,
    /// True: shared; false: not shared; `None`: cannot be told.
    pub shared: Option<bool>,
    /// Number of stretches.
    pub n: usize,
}

impl NoiseShared {
    /// For stretches of `length` frames.
    pub fn new(rate_hz: u32, length: usize) -> NoiseShared {
        let [.., highest_hz] = OCTAVES_FROM_HZ;
        let n_bins = (2.0 * highest_hz * length as f64 / f64::from(rate_hz)).ceil() as usize;
        let n_bins = n_bins.min(length / 2 + 1);
        let turn = std::f64::consts::TAU / length.max(1) as f64;
        NoiseShared {
            rate_hz: f64::from(rate_hz),
            length,
            forward: forward_single(length),
            window: (0..length).map(|i| (0.5 - 0.5 * (turn * i as f64).cos()) as f32).collect(),
            n: 0,
            aa: vec![0.0; n_bins],
            bb: vec![0.0; n_bins],
            ab: vec![Complex::default(); n_bins],
        }
    }

    /// Adds one stretch of both; shorter ones are passed over.
    pub fn push(&mut self, a: &[f32], b: &[f32]) {
        if a.len() >= self.length && b.len() >= self.length {
            self.add(&self.stretch(a, b));
        }
    }

    /// One stretch of both, which hold `length` frames.
    pub fn stretch(&self, a: &[f32], b: &[f32]) -> NoiseStretch {
        let (mut windowed, mut bins) = (self.forward.make_input_vec(), self.forward.make_output_vec());
        NoiseStretch([a, b].map(|samples| {
            let values = samples.iter().zip(&self.window).map(|(x, w)| x * w);
            windowed.iter_mut().zip(values).for_each(|(to, value)| *to = value);
            self.forward.process(&mut windowed, &mut bins).expect("lengths are those of the plan");
            // Every stretch weighs alike, so that one that something was played in does not decide alone.
            let energy: f32 = bins.iter().map(Complex::norm_sqr).sum();
            let scale = 1.0 / energy.max(f32::MIN_POSITIVE).sqrt();
            bins[..self.ab.len()].iter().map(|bin| bin * scale).collect()
        }))
    }

    /// Adds one stretch of both.
    pub fn add(&mut self, NoiseStretch([a, b]): &NoiseStretch) {
        for k in 0..self.ab.len() {
            self.aa[k] += f64::from(a[k].norm_sqr());
            self.bb[k] += f64::from(b[k].norm_sqr());
            let cross = a[k].conj() * b[k];
            self.ab[k] += Complex::new(f64::from(cross.re), f64::from(cross.im));
        }
        self.n += 1;
    }

    /// The middle of the bins of each octave decides: lines of hum, which two recordings share by accident, are fewer.
    /// `None` below four stretches.
    ///
    /// Of n stretches of strangers the squared coherence of a bin follows the beta distribution (1, n − 1).
    pub fn found(&self) -> Option<NoiseFound> {
        if self.n < FEWEST_STRETCHES {
            return None;
        }
        let bin_hz = self.rate_hz / self.length as f64;
        let free = self.n as f64 - 1.0;
        // Middle of the beta distribution, and the standard deviation of a middle of m values: 1/(2·f·√m).
        let by_chance = 1.0 - 0.5f64.powf(1.0 / free);
        let density = free * (1.0 - by_chance).powf(free - 1.0);
        let mut best: Option<(f64, f64)> = None;
        let mut all_below = true;
        for from_hz in OCTAVES_FROM_HZ {
            let bins = (from_hz / bin_hz).ceil() as usize
                ..(2.0 * from_hz / bin_hz).ceil().min(self.ab.len() as f64) as usize;
            let mut coherence: Vec<f64> = bins
                .filter(|k| self.aa[*k] > 0.0 && self.bb[*k] > 0.0)
                .map(|k| self.ab[k].norm_sqr() / (self.aa[k] * self.bb[k]))
                .collect();
            if coherence.len() < 8 {
                continue;
            }
            coherence.sort_by(f64::total_cmp);
            let middle = coherence[coherence.len() / 2];
            let sd = 1.0 / (2.0 * density * (coherence.len() as f64 * INDEPENDENT).sqrt());
            let excess = (middle - by_chance) / (1.0 - by_chance);
            let clear = excess / sd;
            all_below &= excess + 2.0 * sd < SHARED_FROM;
            if best.is_none_or(|(_, c)| clear > c) {
                best = Some((excess, clear));
            }
        }
        let (coherence, clear) = best?;
        let shared = if coherence >= SHARED_FROM && clear >= CLEARLY_SD {
            Some(true)
        } else if all_below {
            Some(false)
        } else {
            None
        };
        Some(NoiseFound { coherence, shared, n: self.n })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE_HZ: u32 = 16_000;

    fn noise(seed: u64) -> impl FnMut() -> f32 {
        let mut state = seed;
        move || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (state >> 40) as f32 / (1u64 << 23) as f32 - 1.0
        }
    }

    #[test]
    fn a_waveform_is_found_at_its_delay_and_a_stranger_nowhere() {
        let (length, reach) = (4000, 300);
        let mut next = noise(1);
        let long: Vec<f32> = (0..length + 2 * reach).map(|_| next()).collect();
        let (correlator, mut room) = (Correlator::new(length, reach), CorrelatorRoom::default());
        for delay in [-300i64, -7, 0, 41, 300] {
            // What x holds stands in y, which is read from −reach on, at reach + delay.
            let from = (reach as i64 + delay) as usize;
            let found =
                correlator.correlate(&long[from..from + length], &long, &mut room).expect("they sound");
            let most = (0..found.len()).max_by(|a, b| found[*a].total_cmp(&found[*b])).expect("not empty");
            assert_eq!(most, from);
            assert!(found[most] > 0.8, "{}", found[most]);
        }
        let other: Vec<f32> = (0..length).map(|_| next()).collect();
        let stranger = correlator.correlate(&other, &long, &mut room).expect("they sound");
        // Five standard deviations of 4000 independent products: 5/√4000.
        assert!(stranger.iter().all(|c| c.abs() < 0.08));
        assert_eq!(correlator.correlate(&vec![0.0; length], &long, &mut room), None);
        // However loud or quiet: powers of two, so that nothing is rounded anew.
        let reference = correlator.correlate(&long[..length], &long, &mut room).expect("they sound");
        for scale in [2f32.powi(60), 2f32.powi(-60)] {
            let scaled: Vec<f32> = long.iter().map(|x| x * scale).collect();
            let found = correlator.correlate(&scaled[..length], &scaled, &mut room).expect("they sound");
            // Rounding of f32 in sums of 8192.
            assert!(found.iter().zip(&reference).all(|(f, r)| (f - r).abs() < 1e-5), "{scale}");
        }
    }

    fn shared_noise(share: f32, n: usize) -> Option<NoiseFound> {
        let length = 4000;
        let (mut room, mut one, mut two) = (noise(2), noise(3), noise(4));
        let mut found = NoiseShared::new(RATE_HZ, length);
        for _ in 0..n {
            let common: Vec<f32> = (0..length).map(|_| share * room()).collect();
            let own = |next: &mut dyn FnMut() -> f32| -> Vec<f32> {
                common.iter().map(|c| c + (1.0 - share) * next()).collect()
            };
            let (a, b) = (own(&mut one), own(&mut two));
            found.push(&a, &b);
        }
        found.found()
    }

    #[test]
    fn shared_noise_is_told_from_strangers_and_too_little_from_either() {
        // Powers of half and half: coherence (1/2)² = 0.25.
        let half = shared_noise(0.5, 16).expect("enough stretches");
        assert_eq!(half.shared, Some(true));
        assert!((half.coherence - 0.25).abs() < 0.1, "{half:?}");
        let none = shared_noise(0.0, 16).expect("enough stretches");
        assert_eq!(none.shared, Some(false), "{none:?}");
        assert_eq!(shared_noise(0.5, 3), None);
    }

    #[test]
    fn hum_in_both_is_not_taken_for_a_shared_room() {
        let length = 4000;
        let (mut one, mut two) = (noise(5), noise(6));
        let mut found = NoiseShared::new(RATE_HZ, length);
        let hum = |i: usize, phase: f32| -> f32 {
            (1..20)
                .map(|h| (0.05 * h as f32 * std::f32::consts::FRAC_PI_8 * i as f32 + phase * h as f32).sin())
                .sum::<f32>()
        };
        for stretch in 0..16 {
            let at = |i: usize| stretch * length + i;
            let a: Vec<f32> = (0..length).map(|i| one() + hum(at(i), 0.3)).collect();
            let b: Vec<f32> = (0..length).map(|i| two() + hum(at(i), 1.7)).collect();
            found.push(&a, &b);
        }
        // 0.05·0.3927 rad per frame are 50 Hz at 16 kHz.
        assert_ne!(found.found().expect("enough").shared, Some(true));
    }

    #[test]
    fn strangers_are_told_apart_nearly_always() {
        // 60 pairs of strangers with few stretches: none may be called shared.
        for seed in 0..60u64 {
            let (mut one, mut two) = (noise(1000 + 2 * seed), noise(1001 + 2 * seed));
            let mut found = NoiseShared::new(RATE_HZ, 1000);
            for _ in 0..6 {
                let a: Vec<f32> = (0..1000).map(|_| one()).collect();
                let b: Vec<f32> = (0..1000).map(|_| two()).collect();
                found.push(&a, &b);
            }
            assert_ne!(found.found().and_then(|f| f.shared), Some(true), "seed {seed}");
        }
    }
}
