//! From a recording to impulse responses: division by the spectrum of the sweep.

use super::error::ResponseError;
use super::impulse::{Harmonic, ImpulseResponse, peak};
use crate::excitation::{Excitation, Layout, Sweep};
use crate::found::{Found, FoundPass};
use fairtake_signal::fir::{to_frequency, to_time};
use fairtake_transform::Complex;
use std::f64::consts::{PI, TAU};

/// From this far above the lowest frequency on, in octaves, the sweep is strong enough to divide by; the result is faded in from
/// a third of it on.
const LOW_OCTAVES: f64 = 0.25;
/// And up to this far below the highest.
const HIGH_OCTAVES: f64 = 1.0 / 12.0;
/// Kept before the beginning of the pass: no more than this, in seconds, and no more than half the way to the second harmonic.
const MOST_BEFORE_S: f64 = 0.25;
/// Of the pause behind a pass so much is kept: the end of it belongs to what comes next.
const KEPT_SHARE: f64 = 0.95;
/// A harmonic is cut out from this share of the way to the next order before its place to where that of the order behind it is cut
/// out.
const EARLIER_SHARE: f64 = 0.3;
/// Nothing but noise lies before the harmonic of this order.
const QUIET_ORDER: u32 = 12;

/// Impulse responses, one for each level in the order in which they were played; passes of one level are averaged.
///
/// Player and recorder go by different clocks: the sweep that is divided by is rendered anew on the clock of the recorder, so that
/// nothing has to be resampled.
///
/// # Errors
/// Where no sweep was played.
///
/// # Source
/// S. Müller and P. Massarani (2001), "Transfer-Function Measurement with Sweeps", J. Audio Eng. Soc. 49(6) (division of spectra); Novak
/// et al. (2015) for the places of the harmonics. Cross-checked in outside/calibrated.py.
pub fn impulse_responses(
    recording: &[f32],
    found: &Found,
    excitation: &Excitation,
) -> Result<Vec<ImpulseResponse>, ResponseError> {
    let kind = excitation.form().kind.words();
    let sweep = excitation.sweep().ok_or(ResponseError::NotASweep { kind })?;
    let divider = Divider::new(&sweep, excitation, found);
    let mut levels: Vec<Vec<FoundPass>> = Vec::new();
    for pass in &found.passes {
        match levels.last_mut().filter(|level| level[0].level_dbfs == pass.level_dbfs) {
            Some(level) => level.push(*pass),
            None => levels.push(vec![*pass]),
        }
    }
    Ok(levels.iter().map(|passes| divider.response(recording, found, passes)).collect())
}

/// The sweep on the clock of the recorder, ready to divide by.
struct Divider<'a> {
    sweep: &'a Sweep,
    rate_hz: f64,
    /// The clock of the recorder against that of the player.
    faster: f64,
    /// Samples that are taken from the recording.
    taken: usize,
    /// Length of the transform.
    n: usize,
    /// One over the spectrum, nothing outside of the range.
    inverse: Vec<Complex<f64>>,
    pause_s: f64,
}

impl<'a> Divider<'a> {
    fn new(sweep: &'a Sweep, excitation: &Excitation, found: &Found) -> Divider<'a> {
        let rate_hz = f64::from(found.rate_hz);
        let faster = 1.0 + 1e-6 * found.drift_ppm.value;
        let layout = Layout::of(excitation);
        let taken = ((layout.pass_frames + layout.pause_frames) as f64 * faster) as usize;
        // Hardly longer than what is taken: noise, too, then fills the whole circle.
        let n = smooth_length(taken);
        let samples = sweep.samples(1.0 / (rate_hz * faster), 0.0, taken);
        let spectrum = to_frequency(samples.into_iter(), n);
        let inverse = spectrum
            .iter()
            .enumerate()
            .map(|(k, x)| {
                let share = played(sweep, k as f64 * rate_hz / n as f64);
                if share > 0.0 { share * x.conj() / x.norm_sqr() } else { Complex::default() }
            })
            .collect();
        Divider { sweep, rate_hz, faster, taken, n, inverse, pause_s: excitation.form().pause_s }
    }

    fn response(&self, recording: &[f32], found: &Found, passes: &[FoundPass]) -> ImpulseResponse {
        let mut sum = vec![Complex::default(); self.n / 2 + 1];
        let gain = fairtake_signal::units::db_to_power(-passes[0].level_dbfs).sqrt() / passes.len() as f64;
        for pass in passes {
            let place = pass.start_s * self.rate_hz;
            let first = place.floor();
            let recorded = (0..self.taken as i64).map(|i| {
                let at = usize::try_from(first as i64 + i).ok();
                f64::from(at.and_then(|at| recording.get(at)).copied().unwrap_or(0.0))
            });
            let turn = TAU * (place - first) / self.n as f64;
            let spectrum = to_frequency(recorded, self.n);
            // The pass begins between two samples: everything is moved to its beginning.
            let step = Complex::from_polar(1.0, turn);
            let bins = sum.iter_mut().zip(&spectrum).zip(&self.inverse);
            let mut moved = Complex::default();
            for (k, ((sum, y), inverse)) in bins.enumerate() {
                // Taken anew every so often, rounding does not add up.
                moved = if k % 64 == 0 { Complex::from_polar(gain, turn * k as f64) } else { moved * step };
                *sum += moved * y * inverse;
            }
        }
        self.taken_apart(&to_time(sum, self.n), found, passes)
    }

    /// Response, harmonics and a quiet stretch, from a circle.
    fn taken_apart(&self, circle: &[f64], found: &Found, passes: &[FoundPass]) -> ImpulseResponse {
        let n = circle.len();
        let frames = |s: f64| (s * self.rate_hz) as usize;
        // From so many samples behind zero on; negative: before it.
        let cut = |from: i64, length: usize| -> Vec<f64> {
            (0..length as i64).map(|i| circle[(from + i).rem_euclid(n as i64) as usize]).collect()
        };
        let before = frames(MOST_BEFORE_S.min(0.5 * self.sweep.lead_s(2)));
        let behind = frames(KEPT_SHARE * self.pause_s);
        let samples = cut(-(before as i64), before + behind);
        let arrival_s = (peak(&samples) - before as f64) / self.rate_hz;
        let harmonics = std::array::from_fn(|i| {
            let order = i as u32 + 2;
            // The sweep is as long as it is on the clock of the recorder.
            let lead = self.sweep.lead_s(order) * self.faster * self.rate_hz;
            // Before its place it rings too, where the sweep's lowest frequency begins; behind it, up to where the next one may.
            let before = frames(EARLIER_SHARE * (self.sweep.lead_s(order + 1) - self.sweep.lead_s(order)));
            let next = self.sweep.lead_s(order) - self.sweep.lead_s(order - 1);
            let behind = behind.min(frames((1.0 - EARLIER_SHARE) * next));
            let first = (lead + before as f64).floor();
            Harmonic { samples: cut(-(first as i64), before + behind), zero: first - lead }
        });
        let quiet_to = n - frames(self.sweep.lead_s(QUIET_ORDER)).min(n);
        let quiet = circle[behind.min(quiet_to)..quiet_to].to_vec();
        ImpulseResponse {
            rate_hz: found.rate_hz,
            level_dbfs: passes[0].level_dbfs,
            n_averaged: passes.len(),
            range_hz: (self.sweep.from_hz * LOW_OCTAVES.exp2(), self.sweep.to_hz * (-HIGH_OCTAVES).exp2()),
            arrival_s,
            defects: found.defects.clone(),
            samples,
            before,
            harmonics,
            quiet,
        }
    }
}

/// Share of a frequency that is kept: all where the sweep is strong, nothing beyond its ends.
fn played(sweep: &Sweep, hz: f64) -> f64 {
    let edge = |octaves: f64, width: f64| {
        0.5 - 0.5 * (PI * ((octaves - width / 3.0) / (width * 2.0 / 3.0)).clamp(0.0, 1.0)).cos()
    };
    if hz <= sweep.from_hz || hz >= sweep.to_hz {
        return 0.0;
    }
    if hz >= sweep.from_hz * LOW_OCTAVES.exp2() && hz <= sweep.to_hz * (-HIGH_OCTAVES).exp2() {
        return 1.0;
    }
    edge((hz / sweep.from_hz).log2(), LOW_OCTAVES) * edge((sweep.to_hz / hz).log2(), HIGH_OCTAVES)
}

/// The least even length of at least `n` that has no prime factor above 7.
fn smooth_length(n: usize) -> usize {
    let mut length = n.max(256).next_multiple_of(2);
    loop {
        let mut rest = length;
        for prime in [2, 3, 5, 7] {
            while rest.is_multiple_of(prime) {
                rest /= prime;
            }
        }
        if rest == 1 {
            return length;
        }
        length += 2;
    }
}
