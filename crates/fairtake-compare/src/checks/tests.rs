//! Checks on takes made for them: what is grossly wrong is found, what is clean is passed over.

use super::*;
use crate::testing::{hits, take, take_at};
use crate::{Comparison, Role, Settings, Shootout, compare};

pub(super) fn codes(takes: &[Take]) -> Vec<(String, Outcome)> {
    results(takes).into_iter().map(|c| (c.code, c.outcome)).collect()
}

pub(super) fn results(takes: &[Take]) -> Vec<CheckResult> {
    let asked =
        Comparison { reference: None, pair: None, source: None, recognised: None, version: "test".into() };
    let settings = Settings { resamples: 100, ..Settings::standard() };
    compare(takes, &Shootout::default(), &settings, &asked).expect("compares").findings.checks
}

pub(super) fn outcome(found: &[(String, Outcome)], code: &str) -> Option<Outcome> {
    found.iter().find(|(c, _)| c == code).map(|(_, o)| *o)
}

#[test]
fn polarity_is_checked_on_takes_recorded_at_once_and_on_no_others() {
    let samples = hits(5, 0.5);
    let turned: Vec<f32> = samples.iter().map(|x| -0.7 * x).collect();
    let upright: Vec<f32> = samples.iter().map(|x| 0.7 * x).collect();
    let with = |b: Vec<f32>, performance| codes(&[take("a", 1, samples.clone()), take("b", performance, b)]);
    assert_eq!(outcome(&with(turned.clone(), 1), "polarity"), Some(Outcome::Caution));
    assert_eq!(outcome(&with(upright, 1), "polarity"), Some(Outcome::Fair));
    assert_eq!(outcome(&with(turned, 2), "polarity"), None);
}

#[test]
fn a_chain_differs_only_where_both_log_it() {
    let made = |pad_a, pad_b| {
        let (mut a, mut b) = (take("a", 1, hits(5, 0.5)), take("b", 2, hits(6, 0.5)));
        (a.chain.pad_db, b.chain.pad_db) = (pad_a, pad_b);
        outcome(&codes(&[a, b]), "chain_differs")
    };
    assert_eq!(made(Some(10.0), Some(20.0)), Some(Outcome::Caution));
    assert_eq!(made(Some(10.0), Some(10.0)), Some(Outcome::Fair));
    assert_eq!(made(Some(10.0), None), Some(Outcome::Fair));
}

#[test]
fn what_the_file_says_of_itself_is_checked_exactly() {
    let made = |code: &str, spoil: &dyn Fn(&mut Take)| {
        let (a, mut b) = (take("a", 1, hits(5, 0.5)), take("b", 2, hits(6, 0.5)));
        spoil(&mut b);
        let found = codes(&[a, b]);
        // Clean first: what is raised is raised by the change alone.
        found
            .into_iter()
            .filter(|(c, o)| c == code && *o != Outcome::Fair)
            .map(|(_, o)| o)
            .collect::<Vec<_>>()
    };
    for code in ["rates_differ", "word_length_differs", "lossy", "same_file_twice"] {
        assert!(made(code, &|_| ()).is_empty(), "{code}");
    }
    assert_eq!(made("word_length_differs", &|b| b.stored_as.bits = Some(16)).len(), 1);
    assert_eq!(made("lossy", &|b| b.stored_as.lossy = true).len(), 1);
    assert_eq!(made("rates_differ", &|b| *b = take_at(32_000, "b", 2, hits(6, 0.5))).len(), 1);
    // The same bytes are the same file, whatever it is called; another channel of it is another take.
    assert_eq!(made("same_file_twice", &|b| b.stored_as.sha256 = "a1".into()).len(), 1);
    assert!(made("same_file_twice", &|b| (b.stored_as.sha256, b.channel) = ("a1".into(), 2)).is_empty());
}

/// Outcomes of a check on one microphone's samples beside a clean take by another.
fn with_defect(code: &str, spoil: impl Fn(&mut Vec<f32>)) -> Vec<Outcome> {
    let mut samples = hits(6, 0.5);
    spoil(&mut samples);
    let found = codes(&[take("a", 1, hits(5, 0.5)), take("b", 2, samples)]);
    found.into_iter().filter(|(c, _)| c == code).map(|(_, o)| o).collect()
}

#[test]
fn clean_takes_raise_nothing_but_their_single_placement() {
    let found = codes(&[take("a", 1, hits(5, 0.5)), take("b", 2, hits(6, 0.5))]);
    let raised: Vec<&str> =
        found.iter().filter(|(_, o)| *o != Outcome::Fair).map(|(c, _)| c.as_str()).collect();
    assert_eq!(raised, ["few_placements"]);
    for code in ["dropout", "repeated_buffer", "click", "hum", "snr_low", "dual_mono"] {
        assert!(outcome(&found, code).is_some(), "{code} was not checked");
    }
}

#[test]
fn defects_in_the_samples_of_one_take_are_found_there_and_not_in_the_other() {
    let one_of_two = [Outcome::Fair, Outcome::Caution];
    // The third hit begins at 3 s; 16 frames are 1 ms.
    assert_eq!(with_defect("dropout", |x| x[48_100..48_260].fill(0.0)), one_of_two);
    assert_eq!(with_defect("repeated_buffer", |x| x.copy_within(48_100..48_356, 48_356)), one_of_two);
    assert_eq!(with_defect("click", |x| x[60_000..].iter_mut().for_each(|v| *v += 0.1)), one_of_two);
    let hum = |x: &mut Vec<f32>| {
        let angle = |i: usize, hz: f32| std::f32::consts::TAU * hz * (i % 16_000) as f32 / 16_000.0;
        let tone = |i: usize| 1e-4 * (angle(i, 50.0).sin() + angle(i, 150.0).sin());
        x.iter_mut().enumerate().for_each(|(i, v)| *v += tone(i));
    };
    assert_eq!(with_defect("hum", hum), one_of_two);
}

#[test]
fn noise_near_the_playing_is_a_low_signal_to_noise() {
    // A dull source: two one-pole low-passes at 130 Hz leave about −36 dB at 1 kHz; the noise stays white.
    let spoilt = |noise_gain: f32| {
        with_defect("snr_low", |x| {
            for _ in 0..2 {
                let mut smooth = 0.0;
                for v in x.iter_mut() {
                    smooth += 0.05 * (*v - smooth);
                    *v = smooth;
                }
            }
            x.iter_mut().zip(hits(77, 0.0)).for_each(|(v, n)| *v += noise_gain * n);
        })
    };
    assert_eq!(spoilt(2.0), [Outcome::Caution]);
    assert_eq!(spoilt(0.01), [Outcome::Fair]);
}

#[test]
fn the_same_samples_under_two_names_are_found_and_a_quieter_copy_is_not() {
    let made = |samples: Vec<f32>, performance| {
        outcome(&codes(&[take("a", 1, hits(5, 0.5)), take("b", performance, samples)]), "dual_mono")
    };
    let turned: Vec<f32> = hits(5, 0.5).iter().map(|x| -x).collect();
    for performance in [1, 2] {
        assert_eq!(made(hits(5, 0.5), performance), Some(Outcome::Caution));
        assert_eq!(made(turned.clone(), performance), Some(Outcome::Caution));
        assert_eq!(made(hits(5, 0.45), performance), Some(Outcome::Fair));
    }
}

#[test]
fn strength_that_differs_is_told_by_a_witness_and_by_nothing_else() {
    // Every hit lasts half a second and begins on a second; `shape` sets its level in dB.
    let played = |seed: u64, shape: fn(usize) -> f64| -> Vec<f32> {
        let mut x = hits(seed, 0.5);
        for hit in 0..12 {
            let gain = 10f64.powf(shape(hit) / 20.0) as f32;
            x[(hit + 1) * 16_000..(hit + 1) * 16_000 + 8_000].iter_mut().for_each(|v| *v *= gain);
        }
        x
    };
    let found = |shape: fn(usize) -> f64, with_witness: bool| {
        let mut takes = vec![take("a", 1, hits(5, 0.5)), take("b", 2, played(6, shape))];
        if with_witness {
            takes.extend([take("w", 1, hits(7, 0.5)), take("w", 2, played(8, shape))]);
            takes[2..].iter_mut().for_each(|t| t.role = Role::Witness);
        }
        outcome(&codes(&takes), "strength_differs")
    };
    let uneven = |hit: usize| if hit.is_multiple_of(2) { 6.0 } else { -6.0 };
    let rising = |hit: usize| 0.8 * hit as f64 - 4.4;
    assert_eq!(found(uneven, true), Some(Outcome::Caution));
    assert_eq!(found(rising, true), Some(Outcome::Caution));
    assert_eq!(found(|_| 0.0, true), Some(Outcome::Fair));
    assert_eq!(found(uneven, false), None);
}
