//! How strongly ranges of frequency sound while a reel plays: what makes a moving picture light up.
//!
//! Computed from the samples that are heard and from nothing else. Method: docs/methods/audition.md.

use fairtake_signal::spectrum::BandSpectrum;
use fairtake_signal::units::power_db;

/// Length of the stretch whose spectrum is taken, in seconds: long ones tell narrow ranges of low frequency apart, short
/// ones show when something begins. Each range gets the shortest that is [`PERIODS`] long, measured in its own width.
const WINDOW_S: [f64; 4] = [0.05, 0.1, 0.2, 0.4];
/// Spectra are taken at least so often, in seconds: a quarter of the shortest window, so that nothing short falls between two.
const STEP_S: f64 = 0.0125;
/// So many times one over its width must a range's window last: a Hann window's bandwidth is 1.5 over its length.
const PERIODS: f64 = 3.0;
/// Time constant with which light comes, in seconds: about a frame of a moving picture.
const RISE_S: f64 = 0.025;
/// Time constant with which it goes, in seconds: that of time weighting F (IEC 61672-1), 35 dB a second.
const FALL_S: f64 = 0.125;
/// So far below its strongest a range is dark, in dB.
const SPAN_DB: f64 = 30.0;
/// A range that never comes nearer to the strongest one than this stays dark, in dB: what leaks there from the others, or
/// noise.
const FAINT_DB: f64 = 60.0;

/// Brightness, 0 to 1, of each of `spans_hz` (lower and upper edge) at each frame of a moving picture.
///
/// Shape: frames × spans; the *k*-th frame is about the sound at *k* / `frames_per_second` s, as many as begin within the
/// sound. Power is taken from a Hann-windowed stretch around that time, smoothed with `RISE_S` upwards and `FALL_S`
/// downwards, and shown in dB: full at the strongest of this span in all of the sound, dark 30 dB below. Both microphones
/// of a pair are held against the same strongest, so that one which has less in a range lights it less.
///
/// # Source
/// Own derivation. Time constant F: IEC 61672-1 (from memory).
pub fn lights(
    samples: &[f32],
    rate_hz: u32,
    spans_hz: &[(f64, f64)],
    frames_per_second: f64,
) -> Vec<Vec<f32>> {
    let length_s = samples.len() as f64 / f64::from(rate_hz);
    let n_frames = (length_s * frames_per_second).ceil() as usize;
    let n_steps = (1.0 / (frames_per_second * STEP_S)).ceil().max(1.0) as usize;
    let steps_per_second = frames_per_second * n_steps as f64;
    let mut powers = vec![vec![0.0f64; spans_hz.len()]; n_frames * n_steps];
    for window_s in WINDOW_S {
        let mine: Vec<usize> = (0..spans_hz.len()).filter(|i| window_of(spans_hz[*i]) == window_s).collect();
        if mine.is_empty() {
            continue;
        }
        let n_window = ((window_s * f64::from(rate_hz)) as usize).next_multiple_of(4);
        let mut spectrum = BandSpectrum::of_spans(rate_hz, mine.iter().map(|i| spans_hz[*i]).collect());
        let mut stretch = vec![0f32; n_window];
        for (k, of_step) in powers.iter_mut().enumerate() {
            let middle = (k as f64 / steps_per_second * f64::from(rate_hz)).round() as i64;
            around(samples, middle, &mut stretch);
            let found = spectrum.steady_power(&stretch, n_window).map_or(Vec::new(), |(p, _)| p);
            mine.iter().zip(found).for_each(|(i, p)| of_step[*i] = p);
        }
    }
    smooth(&mut powers, steps_per_second);
    let of_frames: Vec<Vec<f64>> = powers.into_iter().step_by(n_steps).collect();
    shown(&of_frames, spans_hz.len())
}

/// The window that tells a range from its neighbours.
fn window_of((from_hz, to_hz): (f64, f64)) -> f64 {
    let [.., longest] = WINDOW_S;
    WINDOW_S.into_iter().find(|w| w * (to_hz - from_hz) >= PERIODS).unwrap_or(longest)
}

/// The samples around a place; silence where there are none.
fn around(samples: &[f32], middle: i64, out: &mut [f32]) {
    let first = middle - out.len() as i64 / 2;
    for (i, x) in out.iter_mut().enumerate() {
        *x = usize::try_from(first + i as i64).ok().and_then(|at| samples.get(at)).copied().unwrap_or(0.0);
    }
}

/// Powers follow what rises and what falls with different time constants.
fn smooth(powers: &mut [Vec<f64>], steps_per_second: f64) {
    let follow = |time_s: f64| 1.0 - (-1.0 / (steps_per_second * time_s)).exp();
    let (rise, fall) = (follow(RISE_S), follow(FALL_S));
    for k in 1..powers.len() {
        let (before, now) = powers.split_at_mut(k);
        for (p, was) in now[0].iter_mut().zip(&before[k - 1]) {
            *p = was + (*p - was) * if *p > *was { rise } else { fall };
        }
    }
}

fn shown(powers: &[Vec<f64>], n_spans: usize) -> Vec<Vec<f32>> {
    let strongest: Vec<f64> = (0..n_spans).map(|i| powers.iter().map(|p| p[i]).fold(0.0, f64::max)).collect();
    let of_all = strongest.iter().copied().fold(0.0, f64::max);
    let faint = |p: f64| p <= 0.0 || power_db(p / of_all).is_none_or(|db| db < -FAINT_DB);
    let one = |p: f64, strongest: f64| {
        if faint(strongest) {
            return 0.0;
        }
        power_db(p / strongest).map_or(0.0, |db| (1.0 + db / SPAN_DB).clamp(0.0, 1.0) as f32)
    };
    powers
        .iter()
        .map(|of_frame| of_frame.iter().zip(&strongest).map(|(p, s)| one(*p, *s)).collect())
        .collect()
}

#[cfg(test)]
mod tests;
