//! Filters of finite length: one that imposes a gain over frequency, and running it.

use fairtake_signal::minimum_phase::minimum_phase;
use fairtake_transform::{Complex, fast_length, forward, inverse};

/// The filter is designed on at least this many seconds, so that bands a few Hz wide are resolved, and its cepstrum has
/// died away.
const DESIGN_S: f64 = 2.0;
/// Last part of the filter that is faded out, as a share of its length.
const FADED_SHARE: f64 = 0.125;

/// Impulse response of the minimum-phase filter with the gain `gain_db` at each frequency in Hz, at least a second long.
///
/// # Source
/// See [`minimum_phase`].
pub(crate) fn minimum_phase_fir(rate_hz: u32, gain_db: impl Fn(f64) -> f64) -> Vec<f64> {
    let n = ((DESIGN_S * f64::from(rate_hz)) as usize).next_power_of_two();
    let step_hz = f64::from(rate_hz) / n as f64;
    let log_gain: Vec<f64> =
        (0..=n / 2).map(|k| gain_db(k as f64 * step_hz) * std::f64::consts::LN_10 / 20.0).collect();
    let mut impulse = to_time(minimum_phase(&log_gain), n);
    // The second half of the circle would hold what comes before the impulse, which a minimum-phase filter has not.
    impulse.truncate(n / 2);
    let faded = (FADED_SHARE * impulse.len() as f64) as usize;
    impulse.iter_mut().rev().take(faded).enumerate().for_each(|(i, x)| {
        *x *= 0.5 - 0.5 * (std::f64::consts::PI * i as f64 / faded as f64).cos();
    });
    impulse
}

/// The samples through the filter, cut to their own length.
pub(crate) fn filtered(samples: &[f32], impulse: &[f64]) -> Vec<f64> {
    let n = fast_length(samples.len() + impulse.len());
    let filter = to_frequency(impulse.iter().copied(), n);
    let mut spectrum = to_frequency(samples.iter().map(|x| f64::from(*x)), n);
    spectrum.iter_mut().zip(&filter).for_each(|(x, h)| *x *= h);
    let mut out = to_time(spectrum, n);
    out.truncate(samples.len());
    out
}

/// Spectrum of samples, filled up with zeros to `n`.
pub(crate) fn to_frequency(samples: impl Iterator<Item = f64>, n: usize) -> Vec<Complex<f64>> {
    let plan = forward(n);
    let (mut padded, mut out) = (vec![0.0; n], plan.make_output_vec());
    padded.iter_mut().zip(samples).for_each(|(p, x)| *p = x);
    plan.process(&mut padded, &mut out).expect("lengths are those of the plan");
    out
}

/// Samples of a spectrum of `n` samples, scaled back.
pub(crate) fn to_time(mut spectrum: Vec<Complex<f64>>, n: usize) -> Vec<f64> {
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
