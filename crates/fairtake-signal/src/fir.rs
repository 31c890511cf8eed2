//! Filters of finite length: one that imposes a gain over frequency, and running it.

use crate::minimum_phase::minimum_phase;
use crate::units::db_to_power;
use fairtake_transform::{Complex, fast_length, forward, inverse};

/// The filter is designed on at least this many seconds, so that bands a few Hz wide are resolved, and its cepstrum has
/// died away.
const DESIGN_S: f64 = 2.0;
/// Last part of the filter that is faded out, as a share of its length.
const FADED_SHARE: f64 = 0.125;

/// So many taps that a filter follows bands a few Hz wide: a second or more.
pub fn ample_taps(rate_hz: u32) -> usize {
    ((DESIGN_S * f64::from(rate_hz)) as usize).next_power_of_two() / 2
}

/// Impulse response of the minimum-phase filter with the gain `gain_db` at each frequency in Hz, `n_taps` long, its last
/// eighth faded out.
///
/// # Source
/// See [`minimum_phase`].
pub fn minimum_phase_fir(rate_hz: u32, n_taps: usize, gain_db: impl Fn(f64) -> f64) -> Vec<f64> {
    let n = 2 * ample_taps(rate_hz).max(n_taps.next_power_of_two());
    let step_hz = f64::from(rate_hz) / n as f64;
    let log_gain: Vec<f64> =
        (0..=n / 2).map(|k| gain_db(k as f64 * step_hz) * std::f64::consts::LN_10 / 20.0).collect();
    let mut impulse = to_time(minimum_phase(&log_gain), n);
    // The second half of the circle would hold what comes before the impulse, which a minimum-phase filter has not.
    impulse.truncate(n_taps);
    let faded = (FADED_SHARE * impulse.len() as f64) as usize;
    impulse.iter_mut().rev().take(faded).enumerate().for_each(|(i, x)| {
        *x *= 0.5 - 0.5 * (std::f64::consts::PI * i as f64 / faded as f64).cos();
    });
    impulse
}

/// Impulse response of the linear-phase filter with the gain `gain_db` at each frequency in Hz: symmetric about its middle,
/// by which it delays, `n_taps` long made odd, its outer eighths faded out.
pub fn linear_phase_fir(rate_hz: u32, n_taps: usize, gain_db: impl Fn(f64) -> f64) -> Vec<f64> {
    let half = n_taps / 2;
    let n = 2 * ample_taps(rate_hz).max(n_taps.next_power_of_two());
    let step_hz = f64::from(rate_hz) / n as f64;
    let gain = |k: usize| db_to_power(gain_db(k as f64 * step_hz)).sqrt();
    let around_zero = to_time((0..=n / 2).map(|k| Complex::new(gain(k), 0.0)).collect(), n);
    let faded = ((FADED_SHARE * n_taps as f64) as usize).max(1);
    let tap = |i: usize| {
        let from_middle = i.abs_diff(half);
        let to_end = half - from_middle;
        let fade = if to_end < faded {
            0.5 - 0.5 * (std::f64::consts::PI * to_end as f64 / faded as f64).cos()
        } else {
            1.0
        };
        fade * around_zero[from_middle]
    };
    (0..=2 * half).map(tap).collect()
}

/// The samples through the filter, cut to their own length.
pub fn filtered(samples: &[f32], impulse: &[f64]) -> Vec<f64> {
    let n = fast_length(samples.len() + impulse.len());
    let filter = to_frequency(impulse.iter().copied(), n);
    let mut spectrum = to_frequency(samples.iter().map(|x| f64::from(*x)), n);
    spectrum.iter_mut().zip(&filter).for_each(|(x, h)| *x *= h);
    let mut out = to_time(spectrum, n);
    out.truncate(samples.len());
    out
}

/// Spectrum of samples, filled up with zeros to `n`.
pub fn to_frequency(samples: impl Iterator<Item = f64>, n: usize) -> Vec<Complex<f64>> {
    let plan = forward(n);
    let (mut padded, mut out) = (vec![0.0; n], plan.make_output_vec());
    padded.iter_mut().zip(samples).for_each(|(p, x)| *p = x);
    plan.process(&mut padded, &mut out).expect("lengths are those of the plan");
    out
}

/// Samples of a spectrum of `n` samples, scaled back.
pub fn to_time(mut spectrum: Vec<Complex<f64>>, n: usize) -> Vec<f64> {
    let plan = inverse(n);
    let last = spectrum.len() - 1;
    // What is left there by rounding, or by a shift of half a sample, no real signal has.
    (spectrum[0].im, spectrum[last].im) = (0.0, 0.0);
    let mut out = plan.make_output_vec();
    plan.process(&mut spectrum, &mut out).expect("lengths are those of the plan");
    out.iter_mut().for_each(|x| *x /= n as f64);
    out
}

#[cfg(test)]
mod tests;
