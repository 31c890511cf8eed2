//! From the description to samples.

use super::form::{Form, Kind};
use super::mark::{Mark, Role};
use super::{Excitation, noise};
use fairtake_signal::units::db_to_power;
use std::f64::consts::{PI, TAU};

/// Silence at both ends in seconds.
const SILENCE_S: f64 = 0.5;
/// Silence between the first mark and the first pass in seconds: the mark has to die away.
const GAP_S: f64 = 1.0;
/// A mark is so much below the loudest pass, in dB: what is heard first is quiet.
const MARK_BELOW_DB: f64 = 20.0;
/// Noise and tones rise in so many seconds, or in a quarter of a pass.
const RISE_S: f64 = 1.0;
/// And fall in so many.
const FALL_S: f64 = 0.05;

/// One pass: where it begins and how loud it is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Pass {
    /// First frame.
    pub start: usize,
    /// Peak level in dBFS.
    pub level_dbfs: f64,
}

/// Where everything lies, in frames.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Layout {
    /// First frame of the first mark.
    pub start_mark: usize,
    /// Every pass in order: level by level, each repeated.
    pub passes: Vec<Pass>,
    /// Frames of a pass.
    pub pass_frames: usize,
    /// Frames of the pause after a pass.
    pub pause_frames: usize,
    /// First frame of the last mark.
    pub end_mark: usize,
    /// Length of the whole.
    pub n_frames: usize,
}

impl Layout {
    /// Of an excitation.
    pub fn of(excitation: &Excitation) -> Layout {
        let form = &excitation.form;
        let frames = |seconds: f64| (seconds * f64::from(form.rate_hz)).ceil() as usize;
        let start_mark = frames(SILENCE_S);
        let first = start_mark + frames(Mark::SECONDS) + frames(GAP_S);
        let (pass_frames, pause_frames) = (frames(excitation.pass_s()) + 1, frames(form.pause_s));
        let levels = form.levels_dbfs.iter();
        let passes: Vec<Pass> = levels
            .flat_map(|level| std::iter::repeat_n(*level, form.repeats as usize))
            .enumerate()
            .map(|(i, level_dbfs)| Pass { start: first + i * (pass_frames + pause_frames), level_dbfs })
            .collect();
        let end_mark = first + passes.len() * (pass_frames + pause_frames);
        let n_frames = end_mark + frames(Mark::SECONDS) + frames(SILENCE_S);
        Layout { start_mark, passes, pass_frames, pause_frames, end_mark, n_frames }
    }
}

/// The samples of the whole.
pub(super) fn render(excitation: &Excitation) -> Vec<f32> {
    let layout = Layout::of(excitation);
    let rate_hz = f64::from(excitation.rate_hz());
    let mut out = vec![0.0f32; layout.n_frames];
    let mut put = |at: usize, samples: &[f64], level_dbfs: f64| {
        let gain = db_to_power(level_dbfs).sqrt();
        out[at..].iter_mut().zip(samples).for_each(|(o, x)| *o = (gain * x) as f32);
    };
    for (at, role) in [(layout.start_mark, Role::Start), (layout.end_mark, Role::End)] {
        let mark = Mark { code: excitation.code(), role };
        put(at, &mark.samples(rate_hz), excitation.peak_dbfs() - MARK_BELOW_DB);
    }
    let pass = match excitation.sweep() {
        Some(sweep) => sweep.samples(1.0 / rate_hz, 0.0, layout.pass_frames),
        None => steady(excitation.form(), layout.pass_frames),
    };
    layout.passes.iter().for_each(|p| put(p.start, &pass, p.level_dbfs));
    out
}

/// Noise or a tone of peak amplitude 1, faded.
fn steady(form: &Form, n: usize) -> Vec<f64> {
    let rate_hz = f64::from(form.rate_hz);
    let mut samples = match form.kind {
        Kind::Tone => (0..n).map(|i| (TAU * form.from_hz * i as f64 / rate_hz).sin()).collect(),
        _ => noise::noise(form, n),
    };
    let (rise, fall) = (RISE_S.min(0.25 * form.seconds) * rate_hz, FALL_S * rate_hz);
    let fade = |share: f64| 0.5 - 0.5 * (PI * share.min(1.0)).cos();
    samples.iter_mut().enumerate().for_each(|(i, x)| {
        *x *= fade(i as f64 / rise) * fade((n - 1 - i) as f64 / fall);
    });
    let peak = samples.iter().fold(0.0f64, |peak, x| peak.max(x.abs()));
    samples.iter_mut().for_each(|x| *x /= peak);
    samples
}
