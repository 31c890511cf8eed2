//! Two channels of one performance: relative delay, polarity, coherence, and what a linear filter leaves over.
//!
//! Events are transformed whole; auto and cross spectra are averages over events. Fits are made on every second event
//! and tested on the others. Expected noise is taken off what is left over.

mod left_over;
mod sums;

use fairtake_transform::{
    Complex, ComplexToReal, RealToComplex, fast_length, forward_single, inverse_single,
};
pub use left_over::LeftOver;
use std::f64::consts::TAU;
use std::sync::{Arc, OnceLock};
use sums::{Sums, around, sixth_octave};

/// Delays looked at, to each side, in seconds: 20 ms is 7 m of path.
const MOST_DELAY_S: f64 = 0.02;
/// The delay is searched on a grid this many times finer than the samples, then between its points.
const FINER: usize = 8;
/// Polarity is told where the greatest value of one sign exceeds that of the other by this factor.
const CLEARLY: f64 = 1.25;
/// Less coherence than this around a bin, and it has no say in the delay: where nothing coheres but what is low, the top is
/// flat, and what the many bins above show by chance would choose a place on it.
const LEAST_AROUND: f64 = 0.05;
/// Nor has less than this many standard deviations of what strangers show. Reason: a sixth of an octave at a time, some sixty
/// places are looked at; and down low, where a mean is of few bins, its tail is longer than the normal one's.
const CLEARLY_SD: f64 = 5.0;
/// Fewest events: two to fit on, two to test on.
const FEWEST: usize = 4;

type Spectrum = Vec<Complex<f64>>;
/// Of one event, as precise as its samples: what rounding adds lies some 130 dB below the event. Sums over events are twice
/// as long.
type Single = Vec<Complex<f32>>;

/// Spectra of events seen by two microphones at once.
pub struct PairSpectra {
    rate_hz: f64,
    n_fft: usize,
    forward: Arc<dyn RealToComplex<f32>>,
    inverse: Arc<dyn ComplexToReal<f32>>,
    /// Coherence over all events, averaged over a sixth of an octave: found when it is first asked for.
    smooth_coherence: OnceLock<Option<Vec<f64>>>,
    /// What moves a spectrum by a step of the fine grid: found when it is first asked for.
    fine_step: OnceLock<Single>,
    /// Cross spectrum of each event, conj(A)·B.
    events: Vec<Single>,
    /// Sums over every second event, from the first and from the second on.
    by_turns: [Sums; 2],
    /// Sums of the squares of their fading: what a steady noise of variance one adds to every bin.
    faded_energy: [f64; 2],
    /// Sums over the stretches in which nothing is played.
    gaps: Option<Sums>,
    /// Sum of the squares of their fading.
    gaps_faded_energy: f64,
    /// Room for transforms, kept only to be filled again.
    padded: Vec<f32>,
    /// The fading used last.
    fading: Vec<f64>,
    scratch: Single,
    spectra: [Single; 2],
    /// Cross spectra that nothing is made of.
    passed_over: Single,
}

/// Where the second channel lies in time, and which way up.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Delay {
    /// Seconds; positive: the second channel is later.
    pub seconds: f64,
    /// Standard deviation of `seconds` by the scatter of events.
    pub sd_seconds: f64,
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

impl PairSpectra {
    /// Room for events of at most `longest` frames.
    pub fn new(rate_hz: u32, longest: usize) -> PairSpectra {
        let n_fft = fast_length(longest + (MOST_DELAY_S * f64::from(rate_hz)) as usize);
        let forward = forward_single(n_fft);
        PairSpectra {
            padded: vec![0.0; n_fft],
            fading: Vec::new(),
            scratch: forward.make_scratch_vec(),
            rate_hz: f64::from(rate_hz),
            n_fft,
            forward,
            inverse: inverse_single(n_fft),
            smooth_coherence: OnceLock::new(),
            fine_step: OnceLock::new(),
            events: Vec::new(),
            by_turns: [0, 1].map(|_| Sums::new(n_fft / 2 + 1)),
            spectra: Default::default(),
            passed_over: Single::new(),
            faded_energy: [0.0; 2],
            gaps: None,
            gaps_faded_energy: 0.0,
        }
    }

    /// Adds one event, the same stretch of both channels; what is longer than announced is cut off.
    pub fn push(&mut self, a: &[f32], b: &[f32]) {
        let energy = self.transform(a, b);
        self.smooth_coherence = OnceLock::new();
        let turn = self.events.len() % 2;
        self.faded_energy[turn] += energy;
        let mut cross = vec![Complex::default(); self.spectra[0].len()];
        self.by_turns[turn].add(&self.spectra, &mut cross);
        self.events.push(cross);
    }

    /// Adds one stretch in which nothing is played. What a fit leaves over there is noise, be it shared or not; as much of
    /// it is taken off what the fit leaves over of events.
    pub fn push_gap(&mut self, a: &[f32], b: &[f32]) {
        self.gaps_faded_energy += self.transform(a, b);
        let n_bins = self.spectra[0].len();
        let gaps = self.gaps.get_or_insert_with(|| Sums::new(n_bins));
        self.passed_over.resize(n_bins, Complex::default());
        gaps.add(&self.spectra, &mut self.passed_over);
    }

    /// Finds the spectra of one stretch of both channels, faded. Returns the energy that its fading leaves of a steady noise
    /// of variance one.
    fn transform(&mut self, a: &[f32], b: &[f32]) -> f64 {
        let n = a.len().min(b.len()).min(self.n_fft);
        if self.fading.len() != n {
            self.fading = fading(n);
        }
        for (samples, out) in [a, b].into_iter().zip(&mut self.spectra) {
            self.padded
                .iter_mut()
                .zip(samples)
                .zip(&self.fading)
                .for_each(|((p, x), w)| *p = (f64::from(*x) * w) as f32);
            self.padded[n..].fill(0.0);
            out.resize(self.n_fft / 2 + 1, Complex::default());
            let done = self.forward.process_with_scratch(&mut self.padded, out, &mut self.scratch);
            done.expect("lengths are those of the plan");
        }
        self.fading.iter().map(|w| w * w).sum()
    }

    /// Number of events.
    pub fn n_events(&self) -> usize {
        self.events.len()
    }

    /// Sums over all events.
    fn sums(&self) -> Sums {
        let [first, second] = &self.by_turns;
        first.with(second)
    }

    /// Magnitude-squared coherence per bin, corrected for the bias of few averages; `None` below four events.
    ///
    /// # Source
    /// Bendat & Piersol, Random Data: E[γ̂²] ≈ γ² + (1 − γ²)²/n for n averages, here taken off to first order.
    pub fn coherence(&self) -> Option<Vec<f64>> {
        let n = self.events.len() as f64;
        (self.events.len() >= FEWEST).then(|| {
            let raw = self.sums().raw_coherence();
            raw.iter().map(|raw| (raw - (1.0 - raw).powi(2) / n).clamp(0.0, 1.0)).collect()
        })
    }

    /// Relative delay and polarity by generalised cross-correlation; `None` below four events or without coherence.
    ///
    /// # Source
    /// C. Knapp and G. Carter, "The generalized correlation method for estimation of time delay", IEEE Trans. ASSP 24,
    /// 1976: the maximum-likelihood weighting γ²/(|G|·(1 − γ²)), from memory. With |G| = γ·√(G_aa·G_bb) it is
    /// γ/(√(G_aa·G_bb)·(1 − γ²)); γ² is averaged over a sixth of an octave, since bins that agree by chance would choose
    /// themselves.
    pub fn delay(&self) -> Option<Delay> {
        let Sums { aa, bb, ab } = self.sums();
        let weights = self.weights(&aa, &bb)?;
        let (seconds, upright) = self.delay_of(&ab, &weights)?;
        let (seconds, sd_seconds) = self.refined(&ab, &weights, seconds);
        Some(Delay { seconds, sd_seconds, upright })
    }

    /// Coherence as the mean over a sixth of an octave around each bin: of channels that have nothing in common it is 0 in the
    /// mean, of n events 1 − (1 − γ̂²)·n/(n − 1), so that noise by the octave does not add up to something.
    fn coherence_around(&self) -> Option<Vec<f64>> {
        let n = self.events.len() as f64;
        (self.events.len() >= FEWEST).then(|| {
            let raw = sixth_octave(&self.sums().raw_coherence());
            raw.iter().map(|raw| 1.0 - (1.0 - raw) * n / (n - 1.0)).collect()
        })
    }

    /// Weight of every bin of the cross spectrum.
    fn weights(&self, aa: &[f64], bb: &[f64]) -> Option<Vec<f64>> {
        let coherence = self.smooth_coherence.get_or_init(|| self.coherence_around()).as_ref()?;
        let n = self.events.len() as f64;
        let own = self.faded_energy.iter().sum::<f64>() / (n * self.n_fft as f64);
        let weight = |k: usize| {
            // Of strangers a mean of m bins scatters by 1/(n·√m); zeros after an event make neighbours alike.
            let by_chance = 1.0 / (n * (own * around(k)).max(1.0).sqrt());
            if coherence[k] < LEAST_AROUND.max(CLEARLY_SD * by_chance) {
                return 0.0;
            }
            // Bounded, so that one bin of a pure tone does not outweigh all others.
            let trust = coherence[k].sqrt() / (1.0 - coherence[k]).max(0.02);
            trust / (aa[k] * bb[k]).sqrt().max(f64::MIN_POSITIVE)
        };
        Some((0..aa.len()).map(weight).collect())
    }

    /// Delay in seconds, and greatest positive over greatest negative value of the weighted correlation.
    ///
    /// The grid finer than the samples is made of as many transforms, each of the correlation moved by a step: shorter ones
    /// than one of them all, and they stay in the cache.
    fn delay_of(&self, ab: &[Complex<f64>], weights: &[f64]) -> Option<(f64, f64)> {
        let (n, last) = (self.n_fft, ab.len() - 1);
        let mut weighted: Single = ab.iter().zip(weights).map(|(g, w)| narrow(&(g * w))).collect();
        (weighted[0], weighted[last]) = (Complex::default(), Complex::default());
        let step = 1.0 / (FINER as f64 * self.rate_hz);
        let turns = self.fine_step.get_or_init(|| self.turns(-step).iter().map(narrow).collect());
        let (mut moved, mut correlation) = (vec![Complex::default(); ab.len()], vec![0.0; n]);
        let mut scratch = self.inverse.make_scratch_vec();
        // Lags of the fine grid from −reach − 1 to reach + 1: a parabola wants a neighbour.
        let reach = (MOST_DELAY_S * self.rate_hz) as i64 * FINER as i64;
        let mut fine = vec![0.0; (2 * reach + 3) as usize];
        for phase in 0..FINER as i64 {
            moved.copy_from_slice(&weighted);
            self.inverse.process_with_scratch(&mut moved, &mut correlation, &mut scratch).ok()?;
            weighted.iter_mut().zip(turns).for_each(|(w, t)| *w *= t);
            let first = (-reach - 1 - phase).div_euclid(FINER as i64);
            for whole in first.. {
                let at = whole * FINER as i64 + phase + reach + 1;
                if at >= fine.len() as i64 {
                    break;
                }
                if at >= 0 {
                    fine[at as usize] = correlation[whole.rem_euclid(n as i64) as usize];
                }
            }
        }
        let at = |lag: i64| f64::from(fine[(lag + reach + 1) as usize]);
        let lags = -reach..=reach;
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
        Some(((peak as f64 + between) * step, up / down.max(f64::MIN_POSITIVE)))
    }

    /// The delay to the precision of the sums, from what the grid's single precision gives, and its standard deviation, by how
    /// much each event alone pulls at it.
    ///
    /// One step of Newton's goes to where the slope of the weighted correlation is zero: where nothing coheres but what is low,
    /// single precision cannot tell the top from its neighbours. There the slope is a sum over events; the scatter of the events' slopes,
    /// over the curvature, is that of the delay (the sandwich of an estimating equation). To it comes what lies between the
    /// points of the grid, at most a hundredth of a sample (a test), taken as rectangular.
    fn refined(&self, ab: &[Complex<f64>], weights: &[f64], seconds: f64) -> (f64, f64) {
        let n = self.events.len() as f64;
        let (mut height, mut curvature) = (0.0, 0.0);
        // What the slope of each bin's part counts, turned back to the delay.
        let mut turned = self.turns(-seconds);
        let last = ab.len() - 1;
        (turned[0], turned[last]) = (Complex::default(), Complex::default());
        for k in 1..last {
            let omega = TAU * k as f64 * self.rate_hz / self.n_fft as f64;
            turned[k] *= omega * weights[k];
            let part = (ab[k] * turned[k]).re;
            height += part / omega;
            curvature += omega * part;
        }
        let slope =
            |cross: &Single| -> f64 { cross.iter().zip(&turned).map(|(g, t)| (wide(g) * t).im).sum() };
        let slopes: Vec<f64> = self.events.iter().map(slope).collect();
        let mean = slopes.iter().sum::<f64>() / n;
        let scatter: f64 = slopes.iter().map(|s| (s - mean).powi(2)).sum::<f64>() * n / (n - 1.0);
        let grid = 0.01 / self.rate_hz / 3f64.sqrt();
        let sd = (scatter.sqrt() / curvature.abs().max(f64::MIN_POSITIVE)).hypot(grid);
        let step = -n * mean / curvature;
        // As long as the top is a parabola: to half a radian of the frequency at which most of it turns.
        let goes = curvature / height > 0.0 && step.abs() * (curvature / height).sqrt() < 0.5;
        (if goes { seconds + step } else { seconds }, sd)
    }

    /// e^(−jωτ) at every bin.
    fn turns(&self, seconds: f64) -> Spectrum {
        /// Of so many bins, each turn is that of the first of them times that of its place among them.
        const AT_ONCE: usize = 64;
        let turn = |bin: usize| Complex::cis(-TAU * bin as f64 * self.rate_hz / self.n_fft as f64 * seconds);
        let n_bins = self.n_fft / 2 + 1;
        let among: Spectrum = (0..AT_ONCE.min(n_bins)).map(turn).collect();
        let mut out = Spectrum::with_capacity(n_bins);
        for first in (0..n_bins).step_by(AT_ONCE) {
            let to_first = turn(first);
            out.extend(among.iter().take(n_bins - first).map(|a| a * to_first));
        }
        out
    }

    /// The transfer ratio B/A per bin, H1 = G_ab/G_aa, with its relative random error; `None` below four events.
    ///
    /// Noise in B alone only scatters it; noise in A makes it too small, by the factor S/(S + N).
    ///
    /// # Source
    /// Bendat & Piersol, Random Data, ch. 9: √(1 − γ²)/(|γ|·√(2n)), `reference/08_h1_random_error.csv`.
    pub fn ratio(&self) -> Option<Vec<(Complex<f64>, f64)>> {
        let coherence = self.coherence()?;
        let Sums { aa, ab, .. } = self.sums();
        let n = self.events.len() as f64;
        Some(
            (0..ab.len())
                .map(|k| (ab[k] / aa[k].max(f64::MIN_POSITIVE), relative_error_of_ratio(coherence[k], n)))
                .collect(),
        )
    }
}

#[inline(always)]
fn wide(bin: &Complex<f32>) -> Complex<f64> {
    Complex::new(f64::from(bin.re), f64::from(bin.im))
}

#[inline(always)]
fn narrow(bin: &Complex<f64>) -> Complex<f32> {
    Complex::new(bin.re as f32, bin.im as f32)
}

/// Relative standard deviation of |H1| from n independent averages at a squared coherence; infinite without coherence.
///
/// # Source
/// Bendat & Piersol, Random Data, ch. 9; `reference/08_h1_random_error.csv`.
pub fn relative_error_of_ratio(coherence: f64, n: f64) -> f64 {
    (1.0 - coherence).max(0.0).sqrt() / (coherence * 2.0 * n).sqrt()
}

/// Fades the first hundredth in and the last tenth out: a cut is at the same frame in both channels and would be seen
/// as a part without delay.
fn fading(n: usize) -> Vec<f64> {
    let mut out = vec![1.0; n];
    let rise = |i: usize, over: usize| (0.25 * TAU * i as f64 / over as f64).sin().powi(2);
    out.iter_mut().take(n / 100).enumerate().for_each(|(i, w)| *w *= rise(i, n / 100));
    out.iter_mut().rev().take(n / 10).enumerate().for_each(|(i, w)| *w *= rise(i, n / 10));
    out
}

#[cfg(test)]
mod tests;
