//! The impulse response of the whole chain, with those of its harmonics and with what the noise is like.

use super::gate::{Gate, Window};
use crate::found::Defect;
use fairtake_signal::fir::to_frequency;
use fairtake_transform::Complex;
use std::f64::consts::PI;

/// What a sweep of one level leaves after deconvolution. Full scale out for full scale in is 1, so that levels are absolute.
#[derive(Debug, Clone, PartialEq)]
pub struct ImpulseResponse {
    /// Sampling rate in Hz.
    pub rate_hz: u32,
    /// Peak level of the sweep in dBFS.
    pub level_dbfs: f64,
    /// How many passes were averaged.
    pub n_averaged: usize,
    /// Lowest and highest frequency in Hz that were played at good strength.
    pub range_hz: (f64, f64),
    /// When the direct sound arrives, in seconds behind the beginning of the pass as the marks have it; to a small part of a
    /// sample. About 0 where marks and pass went the same way; the way of the sound where the marks were taken from a loop.
    pub arrival_s: f64,
    /// What is wrong with the recording.
    pub defects: Vec<Defect>,
    /// From `before` samples before the beginning of the pass on.
    pub(super) samples: Vec<f64>,
    pub(super) before: usize,
    /// Orders 2 to 5.
    pub(crate) harmonics: [Harmonic; 4],
    /// A stretch that holds nothing but noise.
    pub(crate) quiet: Vec<f64>,
}

/// Impulse response of a harmonic.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Harmonic {
    /// Its samples.
    pub samples: Vec<f64>,
    /// Where its zero of time lies among them, between two.
    pub zero: f64,
}

/// A reflection is sought from so much behind the direct sound on, in seconds: its own ringing comes first.
const SOUGHT_FROM_S: f64 = 0.0008;
/// It is this strong against the direct sound or more, in dB.
const REFLECTION_DB: f64 = -30.0;
/// And rises from the quietest moment before it by this much.
const RISES_DB: f64 = 6.0;
/// The envelope in which it is sought is smoothed over so much, in seconds.
const ENVELOPE_S: f64 = 0.0002;
/// Only above this frequency in Hz: below, responses ring for long.
const SOUGHT_ABOVE_HZ: f64 = 1500.0;

/// A sound before the greatest one is looked for over this time, in seconds: some metres of way.
const EARLIER_S: f64 = 0.03;
/// But not nearer than this, in seconds: what an ideal band limit rings before a peak.
const RINGS_S: f64 = 0.001;
/// It is no weaker than this against the greatest, in dB.
const EARLIEST_DB: f64 = -30.0;

impl ImpulseResponse {
    /// Its samples, and the place of the beginning of the pass among them.
    pub fn samples(&self) -> (&[f64], usize) {
        (&self.samples, self.before)
    }

    /// How long it goes on behind the direct sound, in seconds.
    pub fn kept_s(&self) -> f64 {
        (self.samples.len() - self.before) as f64 / f64::from(self.rate_hz) - self.arrival_s
    }

    /// Complex response at evenly spaced frequencies from 0 to half the sampling rate, and their distance in Hz. Its phase is that
    /// against the beginning of the pass.
    pub fn spectrum(&self, gate: Gate) -> (Vec<Complex<f64>>, f64) {
        let window = Window::of(self, gate);
        let n = window.transform_frames();
        let mut spectrum = to_frequency(window.cut(&self.samples, self.arrival()), n);
        let step_hz = f64::from(self.rate_hz) / n as f64;
        // The cut begins this much before the beginning of the pass.
        let early = self.before as f64 - window.first(self.arrival()) as f64;
        for (k, x) in spectrum.iter_mut().enumerate() {
            *x *= Complex::from_polar(1.0, 2.0 * PI * k as f64 / n as f64 * early);
        }
        (spectrum, step_hz)
    }

    /// When the first reflection arrives behind the direct sound, in seconds; `None`: none is seen.
    ///
    /// # Source
    /// Own rule, docs/methods/response.md.
    pub fn first_reflection_s(&self) -> Option<f64> {
        let rate_hz = f64::from(self.rate_hz);
        let envelope = self.envelope();
        let arrival = self.arrival().round() as usize;
        let direct = envelope[arrival.saturating_sub(20)..(arrival + 20).min(envelope.len())]
            .iter()
            .copied()
            .fold(0.0, f64::max);
        let from = arrival + (SOUGHT_FROM_S * rate_hz) as usize;
        let least = direct * 10f64.powf(REFLECTION_DB / 10.0);
        let rises = 10f64.powf(RISES_DB / 10.0);
        let mut quietest = f64::INFINITY;
        for (i, power) in envelope.iter().enumerate().skip(from) {
            if *power > least && *power > rises * quietest {
                // The envelope reaches as far ahead as it is wide.
                return Some((i as f64 - self.arrival()) / rate_hz - 0.5 * ENVELOPE_S).filter(|s| *s > 0.0);
            }
            quietest = quietest.min(*power);
        }
        None
    }

    /// Amplitude of all that comes later than `gate_s` behind the direct sound against what comes before: how much of what is
    /// measured without a gate are reflections. Noise is taken off.
    pub fn reflected_share(&self, gate_s: f64) -> f64 {
        let rate_hz = f64::from(self.rate_hz);
        let edge = ((self.arrival() + gate_s * rate_hz).max(0.0) as usize).min(self.samples.len());
        let power = |samples: &[f64]| samples.iter().map(|x| x * x).sum::<f64>();
        let noise = power(&self.quiet) / self.quiet.len().max(1) as f64;
        let (direct, later) = self.samples.split_at(edge);
        let less_noise = |part: &[f64]| (power(part) - noise * part.len() as f64).max(0.0);
        let direct = less_noise(direct);
        if direct > 0.0 { (less_noise(later) / direct).sqrt() } else { f64::INFINITY }
    }

    /// The same with its arrival at an earlier, weaker sound, where there is one that stands above the noise: aside and behind, a
    /// microphone hears a reflection louder than the direct sound before it. `None`: nothing comes before the greatest.
    ///
    /// # Source
    /// Own rule, docs/methods/direction.md.
    pub fn from_the_earliest(&self) -> Option<ImpulseResponse> {
        let rate_hz = f64::from(self.rate_hz);
        let envelope = self.envelope();
        let arrival = (self.arrival().round() as usize).min(envelope.len().saturating_sub(1));
        let frames = |s: f64| (s * rate_hz) as usize;
        let (from, to) = (arrival.saturating_sub(frames(EARLIER_S)), arrival.saturating_sub(frames(RINGS_S)));
        // What lies just before the stretch that is searched is noise and what the harmonics leave.
        let before = &envelope[from.saturating_sub(frames(EARLIER_S))..from];
        let noise = before.iter().copied().fold(0.0, f64::max);
        let least = (4.0 * noise).max(envelope[arrival] * 10f64.powf(EARLIEST_DB / 10.0));
        let first = (from..to).find(|i| envelope[*i] > least)?;
        let near = first..(first + frames(RINGS_S)).min(to.max(first + 1));
        let place = near.start as f64 + peak(&self.samples[near]);
        Some(ImpulseResponse { arrival_s: (place - self.before as f64) / rate_hz, ..self.clone() })
    }

    /// Greatest power of the direct sound, and of what comes later than `gate_s` behind it, above the frequency where reflections
    /// are sought.
    pub fn direct_and_later(&self, gate_s: f64) -> (f64, f64) {
        let envelope = self.envelope();
        let arrival = self.arrival().round() as usize;
        let edge = (arrival + (gate_s * f64::from(self.rate_hz)) as usize).min(envelope.len());
        let most = |part: &[f64]| part.iter().copied().fold(0.0, f64::max);
        (most(&envelope[arrival.saturating_sub(20).min(edge)..edge]), most(&envelope[edge..]))
    }

    /// Where the direct sound lies among the samples.
    pub(super) fn arrival(&self) -> f64 {
        self.before as f64 + self.arrival_s * f64::from(self.rate_hz)
    }

    /// Power over time of what lies above the frequency where reflections are sought.
    fn envelope(&self) -> Vec<f64> {
        let n = fairtake_transform::fast_length(self.samples.len());
        let mut spectrum = to_frequency(self.samples.iter().copied(), n);
        let step_hz = f64::from(self.rate_hz) / n as f64;
        for (k, x) in spectrum.iter_mut().enumerate() {
            let octaves = (k as f64 * step_hz / SOUGHT_ABOVE_HZ).log2();
            *x *= 0.5 - 0.5 * (PI * octaves.clamp(0.0, 1.0)).cos();
        }
        let high = fairtake_signal::fir::to_time(spectrum, n);
        let half = (0.5 * ENVELOPE_S * f64::from(self.rate_hz)).ceil() as usize;
        let mut sums = vec![0.0];
        high.iter().for_each(|x| sums.push(sums[sums.len() - 1] + x * x));
        (0..self.samples.len())
            .map(|i| {
                let (from, to) = (i.saturating_sub(half), (i + half + 1).min(high.len()));
                (sums[to] - sums[from]) / (to - from) as f64
            })
            .collect()
    }
}

/// Where the samples are greatest, between samples: their band-limited course is followed around the greatest one.
pub(super) fn peak(samples: &[f64]) -> f64 {
    const REACH: i64 = 48;
    let greatest = (0..samples.len()).max_by(|a, b| samples[*a].abs().total_cmp(&samples[*b].abs()));
    let Some(greatest) = greatest else { return 0.0 };
    let at = |place: f64| -> f64 {
        let middle = place.round() as i64;
        let term = |i: i64| {
            let x = place - i as f64;
            let sample = usize::try_from(i).ok().and_then(|i| samples.get(i)).copied().unwrap_or(0.0);
            let sinc = if x.abs() < 1e-12 { 1.0 } else { (PI * x).sin() / (PI * x) };
            sample * sinc * (0.5 + 0.5 * (PI * x / (REACH + 1) as f64).cos())
        };
        (middle - REACH..=middle + REACH).map(term).sum::<f64>().abs()
    };
    // Golden section between the neighbours of the greatest sample.
    let ratio = 0.5 * (5f64.sqrt() - 1.0);
    let (mut low, mut high) = (greatest as f64 - 1.0, greatest as f64 + 1.0);
    for _ in 0..40 {
        let (a, b) = (high - ratio * (high - low), low + ratio * (high - low));
        if at(a) > at(b) {
            high = b;
        } else {
            low = a;
        }
    }
    0.5 * (low + high)
}
