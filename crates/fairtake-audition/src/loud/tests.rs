//! Tests: louder in one respect is louder.

use super::*;
use fairtake_signal::units::amplitude_db;

const RATE_HZ: u32 = 48_000;

/// Bursts of a sine of 1 kHz, amplitude 0.1 to the rounding of its samples, each as long as said and a second apart.
fn bursts(lengths_s: &[f64], amplitude: f64) -> Vec<f32> {
    let rate = f64::from(RATE_HZ);
    let at = |i: usize| {
        let (second, since) = (i / RATE_HZ as usize, (i % RATE_HZ as usize) as f64 / rate);
        let sounds = since < lengths_s[second];
        if sounds { (amplitude * (std::f64::consts::TAU * 1000.0 * since).sin()) as f32 } else { 0.0 }
    };
    (0..lengths_s.len() * RATE_HZ as usize).map(at).collect()
}

fn trim_db(of: &[f32], bound: &[f32]) -> f64 {
    Loud::of(of, RATE_HZ).trim_db(Loud::of(bound, RATE_HZ))
}

#[test]
fn each_respect_alone_is_enough_to_be_turned_down() {
    let near = |found: f64, wanted: f64| assert!((found - wanted).abs() < 0.05, "{found} {wanted}");
    let bound = bursts(&[0.3, 0.0, 0.0], 0.1);
    assert_eq!(trim_db(&bound, &bound).to_bits(), 0f64.to_bits());
    // Event loudness: three bursts of one size have three times the energy, and no louder place.
    near(trim_db(&bursts(&[0.3, 0.3, 0.3], 0.1), &bound), -10.0 * 3f64.ln() / 10f64.ln());
    // The loudest 0.4 s: twice as long at one place, against two places of the same energy in all.
    near(
        trim_db(&bursts(&[0.4, 0.0, 0.0], 0.1), &bursts(&[0.2, 0.2, 0.2], 0.1)),
        -10.0 * 2f64.ln() / 10f64.ln(),
    );
    // Peak: a burst of one hundredth of the length, three times as high, has a tenth of the energy.
    near(trim_db(&bursts(&[0.003, 0.0, 0.0], 0.3), &bound), -amplitude_db(3.0).expect("not zero"));
    // Quieter in every respect.
    assert_eq!(trim_db(&bursts(&[0.2, 0.0, 0.0], 0.09), &bound), 0.0);
    // After the trim it is not louder in any.
    let long = bursts(&[0.9, 0.9, 0.9], 0.7);
    let gain = crate::clip::gain_factor(trim_db(&long, &bound)) as f32;
    let trimmed: Vec<f32> = long.iter().map(|x| x * gain).collect();
    // Rounding of f32.
    assert!(trim_db(&trimmed, &bound) > -1e-5);
}

#[test]
fn beside_silence_nothing_may_sound_and_silence_may() {
    let (silence, sound) = (vec![0f32; 4800], bursts(&[0.3], 0.1));
    assert_eq!((trim_db(&silence, &silence), trim_db(&silence, &sound), trim_db(&[], &[])), (0.0, 0.0, 0.0));
    assert_eq!(crate::clip::gain_factor(trim_db(&sound, &silence)) as f32, 0.0);
}
