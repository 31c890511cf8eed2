//! How far the two marks are apart, to a small part of a sample.
//!
//! Both marks carry the same chirp, went through the same loudspeaker, room and microphone, and are stretched alike by a drifting
//! clock. Compressed by the chirp, they are the same pulse twice; the delay between the two is the slope of the phase between their
//! spectra. Nothing about the pulse needs to be known.

use super::narrow::{MARKS_HZ, Narrow};
use crate::excitation::sync;
use crate::quantity::Contribution;
use fairtake_signal::fir::to_frequency;
use fairtake_transform::Complex;
use std::f64::consts::{PI, TAU};

/// Of the compressed pulse so much is taken before and behind its peak, in seconds.
const PULSE_S: (f64, f64) = (0.004, 0.020);

/// Marks in the recording.
pub(super) struct Apart {
    /// Where the first begins, in seconds.
    pub start_s: f64,
    /// From the first to the last, in seconds.
    pub apart_s: f64,
    /// Standard uncertainty of that, in seconds.
    standard_s: f64,
    /// Degrees of freedom of it.
    degrees_of_freedom: f64,
}

impl Apart {
    /// Uncertainty of the drift in parts per million, for marks that were played so far apart.
    pub fn doubt_ppm(&self, played_s: f64) -> Contribution {
        Contribution {
            from: "phase between the marks".into(),
            standard: 1e6 * self.standard_s / played_s,
            degrees_of_freedom: Some(self.degrees_of_freedom),
        }
    }
}

/// Measures how far the marks are apart, from their places to within a sample or two.
pub(super) fn between(narrow: &Narrow, start_s: f64, end_s: f64) -> Apart {
    let rate_hz = narrow.rate_hz;
    let chirp = sync(rate_hz);
    let places = [start_s, end_s].map(|s| (s * rate_hz).round() as usize);
    let pulses = places.map(|place| pulse(narrow, place, &chirp));
    let [first, last] = &pulses;
    let n = 2 * (first.len() - 1);
    let bin_hz = rate_hz / n as f64;
    let cross: Vec<(f64, Complex<f64>)> = first
        .iter()
        .zip(last)
        .enumerate()
        .map(|(k, (a, b))| (TAU * k as f64 * bin_hz, b * a.conj()))
        .filter(|(w, _)| (TAU * MARKS_HZ.0..=TAU * MARKS_HZ.1).contains(w))
        .collect();
    let later_s = slope_s(&cross);
    // What scatters about the straight phase is noise; neighbouring bins are independent, since the pulse fills the transform.
    let (mut scatter, mut weight, mut spread) = (0.0, 0.0, 0.0);
    for (w, c) in &cross {
        let turned = c * Complex::from_polar(1.0, w * later_s);
        let phase = turned.arg();
        scatter += c.norm() * phase * phase;
        weight += c.norm();
        spread += c.norm() * w * w;
    }
    let squares: f64 = cross.iter().map(|(w, c)| (c.norm() * w).powi(2)).sum();
    let variance = if weight > 0.0 { scatter / weight } else { f64::INFINITY };
    Apart {
        start_s: places[0] as f64 / rate_hz,
        apart_s: (places[1] - places[0]) as f64 / rate_hz + later_s,
        standard_s: (variance * squares).sqrt() / spread,
        degrees_of_freedom: (cross.len() as f64 - 1.0).max(1.0),
    }
}

/// The delay in seconds of which the phase is −ω·delay, by weighted least squares: begun where the cross-correlation is greatest.
fn slope_s(cross: &[(f64, Complex<f64>)]) -> f64 {
    // Half a period of the highest frequency is never passed from one step to the next.
    let step_s = 0.1 / MARKS_HZ.1;
    let like = |s: f64| cross.iter().map(|(w, c)| (c * Complex::from_polar(1.0, w * s)).re).sum::<f64>();
    let coarse = (-40..=40).map(|i| f64::from(i) * step_s).max_by(|a, b| like(*a).total_cmp(&like(*b)));
    let mut delay = coarse.unwrap_or(0.0);
    for _ in 0..4 {
        let (mut top, mut bottom) = (0.0, 0.0);
        for (w, c) in cross {
            let phase = (c * Complex::from_polar(1.0, w * delay)).arg();
            top += c.norm() * w * phase;
            bottom += c.norm() * w * w;
        }
        if bottom > 0.0 {
            delay -= top / bottom;
        }
    }
    delay
}

/// Spectrum of the pulse to which the chirp at this place is compressed.
fn pulse(narrow: &Narrow, place: usize, chirp: &[f64]) -> Vec<Complex<f64>> {
    let (before, behind) = PULSE_S;
    let frames = |s: f64| (s * narrow.rate_hz) as usize;
    let (before, behind) = (frames(before), frames(behind));
    let correlation = |lag: i64| {
        let first = place as i64 + lag;
        let sample = |i: usize| {
            let at = usize::try_from(first + i as i64).ok();
            at.and_then(|at| narrow.samples.get(at)).copied().unwrap_or(0.0)
        };
        chirp.iter().enumerate().map(|(i, c)| c * sample(i)).sum::<f64>()
    };
    let n = (before + behind) & !1;
    let pulse = (0..n).map(|i| {
        let lag = i as i64 - before as i64;
        let edge = if lag < 0 {
            (lag + before as i64) as f64 / before as f64
        } else {
            1.0 - lag as f64 / behind as f64
        };
        // Flat but for the outer half.
        let fade = 0.5 - 0.5 * (PI * (2.0 * edge).min(1.0)).cos();
        fade * correlation(lag)
    });
    to_frequency(pulse, n)
}
