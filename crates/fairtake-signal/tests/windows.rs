//! The window and the averaging of steady spectra against published constants.

use fairtake_signal::bands::BandSet;
use fairtake_signal::spectrum::BandSpectrum;

/// Row of a table by its first cell.
fn row<'t>(table: &'t str, name: &str) -> Vec<&'t str> {
    let line = table.lines().find(|l| l.split(',').next() == Some(name));
    line.unwrap_or_else(|| panic!("{name} is in the table")).split(',').collect()
}

fn number(cell: &str) -> f64 {
    cell.parse().unwrap_or_else(|_| panic!("{cell} is a number"))
}

/// White noise, uniform.
fn noise(seed: u64) -> impl FnMut() -> f32 {
    let mut state = seed;
    move || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        ((state >> 33) as f64 / (1u64 << 30) as f64 - 1.0) as f32
    }
}

/// A band that lies within one bin, beginning above `above_hz`: it has the bin's density.
fn within_a_bin(bands: &BandSet, bin_hz: f64, above_hz: f64) -> usize {
    let bin_of = |hz: f64| (hz / bin_hz + 0.5).floor();
    let inside = |(from, to): &(f64, f64)| *from > above_hz && bin_of(*from) == bin_of(*to);
    bands.spans_hz().iter().position(inside).expect("narrow bands lie within bins")
}

#[test]
fn a_tone_is_spread_by_the_published_noise_bandwidth() {
    // A tone in the middle of a bin: all bands together hold its power, the bin itself 1/1.5 of it.
    let bandwidth = number(row(include_str!("../../../reference/08_windows.csv"), "hann")[7]);
    let (rate, n_fft) = (8000u32, 256usize);
    let bin_hz = f64::from(rate) / n_fft as f64;
    let bands = BandSet::new(24, 4000.0);
    let band = within_a_bin(&bands, bin_hz, 230.0);
    let (from_hz, to_hz) = bands.spans_hz()[band];
    let bin = (from_hz / bin_hz + 0.5).floor();
    let samples: Vec<f32> = (0..8 * n_fft)
        .map(|i| (std::f64::consts::TAU * bin * i as f64 / n_fft as f64).sin() as f32)
        .collect();
    let (power, _) = BandSpectrum::new(rate, &bands).steady_power(&samples, n_fft).expect("long enough");
    let of_bin = power[band] * bin_hz / (to_hz - from_hz);
    // Single-precision samples and transform.
    assert!((power.iter().sum::<f64>() / of_bin - bandwidth).abs() < 1e-4, "{of_bin}");
}

#[test]
fn averages_of_half_overlapping_segments_have_the_published_degrees_of_freedom() {
    let dof = number(row(include_str!("../../../reference/08_welch_dof.csv"), "8")[2]);
    let (rate, n_fft) = (8000, 256);
    let bin_hz = f64::from(rate) / n_fft as f64;
    let bands = BandSet::new(24, 4000.0);
    let band = within_a_bin(&bands, bin_hz, 200.0);
    let mut spectrum = BandSpectrum::new(rate, &bands);
    let mut next = noise(77);
    let trials = 3000;
    let powers: Vec<f64> = (0..trials)
        .map(|_| {
            let samples: Vec<f32> = (0..n_fft * 9 / 2).map(|_| next()).collect();
            let (power, n) = spectrum.steady_power(&samples, n_fft).expect("long enough");
            assert_eq!(n, 8);
            power[band]
        })
        .collect();
    let mean = powers.iter().sum::<f64>() / f64::from(trials);
    let variance = powers.iter().map(|p| (p - mean).powi(2)).sum::<f64>() / (f64::from(trials) - 1.0);
    let found = 2.0 * mean * mean / variance;
    // The variance of a chi-square law with 15 degrees of freedom, from 3000 trials, is good to √((2 + 12/15)/3000) = 3 %;
    // four of these.
    assert!((found / dof - 1.0).abs() < 0.12, "{found} instead of {dof}");
}
