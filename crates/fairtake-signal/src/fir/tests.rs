//! Tests: the filter has the gain that was asked for, as early as can be.

use super::*;
use crate::bands::BandSet;
use crate::units::amplitude_db;

/// A gain that changes slowly over frequency: tilted by 6 dB over the range, with a dip and a rise.
fn smooth_db(hz: f64) -> f64 {
    let octaves = (hz.max(1.0) / 1000.0).log2();
    0.6 * octaves.clamp(-6.0, 5.0) + 3.0 * (-(octaves - 2.0).powi(2)).exp()
        - 4.0 * (-(octaves + 3.0).powi(2) * 2.0).exp()
}

#[test]
fn an_impulse_shows_the_gain_within_a_tenth_of_a_decibel() {
    for rate_hz in [44_100, 48_000, 96_000] {
        follows_within_a_tenth(&minimum_phase_fir(rate_hz, ample_taps(rate_hz), smooth_db), rate_hz);
    }
}

/// The filter has the gain of [`smooth_db`] in the middle of every twelfth of an octave.
fn follows_within_a_tenth(impulse: &[f64], rate_hz: u32) {
    let n = fast_length(8 * impulse.len());
    let spectrum = to_frequency(impulse.iter().copied(), n);
    for (from, to) in BandSet::new(12, f64::from(rate_hz) / 2.0).spans_hz() {
        let centre = (from * to).sqrt();
        // Bins of a sixteenth of a Hz: the nearest is as good as the centre.
        let bin = (centre * n as f64 / f64::from(rate_hz)).round() as usize;
        let found = amplitude_db(spectrum[bin].norm()).expect("not zero");
        assert!((found - smooth_db(centre)).abs() < 0.1, "{rate_hz} {centre}: {found}");
    }
}

#[test]
fn its_energy_is_never_later_than_that_of_the_linear_phase_filter() {
    let rate_hz = 48_000;
    let early = minimum_phase_fir(rate_hz, ample_taps(rate_hz), smooth_db);
    // The linear-phase filter of the same gain: no phase, its middle moved to half its length, so that it is causal too.
    let n = 2 * early.len();
    let gain = |k: usize| 10f64.powf(smooth_db(k as f64 * f64::from(rate_hz) / n as f64) / 20.0);
    let mut linear = to_time((0..=n / 2).map(|k| Complex::new(gain(k), 0.0)).collect(), n);
    linear.rotate_right(early.len() / 2);
    let total = |x: &[f64]| x.iter().map(|v| v * v).sum::<f64>();
    // Parseval: both have the energy of the gain; the cut at half the length costs less than a thousandth.
    assert!((total(&early) / total(&linear) - 1.0).abs() < 1e-3);
    let (mut a, mut b) = (0.0, 0.0);
    for (x, y) in early.iter().zip(&linear) {
        a += x * x;
        b += y * y;
        assert!(a >= b);
    }
    // It begins with its strongest part; nothing comes before.
    assert!(early[0].abs() > early[1..].iter().fold(0.0, |most: f64, x| most.max(x.abs())));
    assert!(early[0].powi(2) > 0.5 * total(&early), "{}", early[0].powi(2) / total(&early));
}

#[test]
fn no_gain_is_no_filter() {
    let impulse = minimum_phase_fir(48_000, ample_taps(48_000), |_| 0.0);
    // Exact but for rounding.
    assert!((impulse[0] - 1.0).abs() < 1e-12);
    assert!(impulse[1..].iter().all(|x| x.abs() < 1e-12));
}

#[test]
fn filtering_is_convolution() {
    let impulse: Vec<f64> = (0..300).map(|i| (f64::from(i) * 0.7).sin() / f64::from(i + 1)).collect();
    let samples: Vec<f32> = (0..1000).map(|i| ((i * i) % 37) as f32 / 37.0 - 0.5).collect();
    let fast = filtered(&samples, &impulse);
    assert_eq!(fast.len(), samples.len());
    for (i, y) in fast.iter().enumerate() {
        let slow: f64 = (0..=i.min(impulse.len() - 1)).map(|k| impulse[k] * f64::from(samples[i - k])).sum();
        // Rounding of f64 over a transform of 1400 points.
        assert!((y - slow).abs() < 1e-12, "{i}");
    }
}

#[test]
fn a_filter_that_still_rings_at_its_end_is_faded_there() {
    // 30 dB in a twelfth of an octave at the low end rings for seconds.
    let impulse =
        minimum_phase_fir(
            48_000,
            ample_taps(48_000),
            |hz| if (20.0..21.2).contains(&hz) { 30.0 } else { 0.0 },
        );
    let n = impulse.len();
    let greatest = |part: &[f64]| part.iter().fold(0.0, |most: f64, x| most.max(x.abs()));
    let before = greatest(&impulse[n * 6 / 8..n * 7 / 8]);
    assert!(before > 1e-5, "{before}");
    assert_eq!(impulse[n - 1], 0.0);
    // A period of 20 Hz before the end, 29 % of the fade, its factor is 0.2.
    assert!(greatest(&impulse[n - 2400..]) < 0.2 * before);
}

#[test]
fn the_linear_phase_filter_is_symmetric_and_has_the_gain() {
    let rate_hz = 48_000;
    let impulse = linear_phase_fir(rate_hz, 48_000, smooth_db);
    assert_eq!(impulse.len() % 2, 1);
    assert!((0..impulse.len() / 2).all(|i| impulse[i] == impulse[impulse.len() - 1 - i]));
    follows_within_a_tenth(&impulse, rate_hz);
}
