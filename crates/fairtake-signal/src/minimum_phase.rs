//! The minimum-phase filter with a given gain.

use fairtake_transform::{Complex, forward, inverse};

/// Spectrum of the minimum-phase filter with this gain: causal, with its energy as early as any filter of this gain has
/// it.
///
/// Shape: natural logarithms of the amplitude gain at n/2 + 1 evenly spaced frequencies from 0 to half the sampling rate,
/// n even; the result has the same frequencies. The cepstrum is taken at n points: gains with detail finer than a few
/// frequencies come out smeared.
///
/// # Panics
/// With fewer than two frequencies.
///
/// # Source
/// A. Oppenheim and R. Schafer, Discrete-Time Signal Processing, chapter on the cepstrum and the Hilbert transform: the
/// complex cepstrum of a minimum-phase sequence is the causal part of the real one, doubled. Chapter from memory.
pub fn minimum_phase(log_gain: &[f64]) -> Vec<Complex<f64>> {
    let n = 2 * (log_gain.len() - 1);
    let (to_time, to_frequency) = (inverse(n), forward(n));
    let mut log: Vec<Complex<f64>> = log_gain.iter().map(|g| Complex::new(*g, 0.0)).collect();
    let mut cepstrum = to_time.make_output_vec();
    to_time.process(&mut log, &mut cepstrum).expect("lengths are those of the plan");
    cepstrum.iter_mut().for_each(|c| *c /= n as f64);
    let half = n / 2;
    cepstrum[1..half].iter_mut().for_each(|c| *c *= 2.0);
    cepstrum[half + 1..].fill(0.0);
    to_frequency.process(&mut cepstrum, &mut log).expect("lengths are those of the plan");
    log.into_iter().map(Complex::exp).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    #[test]
    fn a_zero_inside_the_circle_is_found_from_its_gain_alone() {
        // Exact: 1 − 0.5·z⁻¹ is minimum-phase, and no other causal filter of its gain is. Its cepstrum falls as 0.5ⁿ/n, so
        // that 256 points leave rounding alone.
        let n = 256;
        let wanted: Vec<Complex<f64>> = (0..=n / 2)
            .map(|k| 1.0 - 0.5 * Complex::from_polar(1.0, -TAU * k as f64 / f64::from(n)))
            .collect();
        let log_gain: Vec<f64> = wanted.iter().map(|h| h.norm().ln()).collect();
        for (found, wanted) in minimum_phase(&log_gain).iter().zip(&wanted) {
            assert!((found - wanted).norm() < 1e-12, "{found} {wanted}");
        }
    }
}
