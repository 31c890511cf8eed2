//! Checks on how a pair was played, on takes made for them; and what checks say that a defect does.

use super::tests::{codes, outcome, results};
use crate::testing::{hits, take};
use crate::{Outcome, Role, Take};

/// The twelve hits of `hits`, their own strengths evened out, each with a gain in dB.
fn shaped(seed: u64, gain_db: impl Fn(usize) -> f64) -> Vec<f32> {
    let mut x = hits(seed, 0.2);
    for hit in 0..12 {
        let gain = 10f64.powf(gain_db(hit) / 20.0) as f32 / (1.0 + 0.1 * (hit % 4) as f32);
        x[(hit + 1) * 16_000..(hit + 1) * 16_000 + 8_000].iter_mut().for_each(|v| *v *= gain);
    }
    x
}

/// Strengths from −6 to 5 dB, in no order.
fn strength(hit: usize) -> f64 {
    (hit * 7 % 12) as f64 - 6.0
}

fn limiting(takes: &[Take]) -> Option<(Outcome, f64, String)> {
    let found = results(takes).into_iter().find(|c| c.code == "limiting")?;
    Some((found.outcome, found.measured?, found.text))
}

#[test]
fn a_microphone_that_halves_every_decibel_is_found_by_the_other_one_recorded_at_once() {
    let pair = |b: Vec<f32>| limiting(&[take("a", 1, shaped(5, strength)), take("b", 1, b)]);
    let (outcome, change_db, text) = pair(shaped(5, |hit| strength(hit) / 2.0)).expect("both heard it");
    assert_eq!(outcome, Outcome::Caution);
    assert!(text.starts_with("against a, b gives strong events −"), "{text}");
    // Exact: from the second of twelve strengths to the eleventh are 9 dB, of which half are lost. The noise that the hits are
    // made of moves these strengths by some tenths of a decibel.
    assert!((change_db - 4.5).abs() < 0.4, "{change_db}");
    let (_, _, text) =
        limiting(&[take("a", 1, shaped(5, |hit| strength(hit) / 2.0)), take("b", 1, shaped(5, strength))])
            .expect("both heard it");
    assert!(text.starts_with("against b, a gives"), "the one that limits is named: {text}");
}

#[test]
fn a_microphone_that_is_only_quieter_does_not_limit() {
    let quieter = shaped(5, |hit| strength(hit) - 12.0);
    let (outcome, change_db, _) =
        limiting(&[take("a", 1, shaped(5, strength)), take("b", 1, quieter)]).expect("both heard it");
    // The noise of hits() is not scaled with the hits: a hundredth of a decibel.
    assert!(outcome == Outcome::Fair && change_db < 0.05, "{change_db}");
}

#[test]
fn in_turn_only_a_witness_shows_limiting() {
    let halved = |seed: u64| shaped(seed, |hit| strength(hit) / 2.0);
    let mut takes = vec![take("a", 1, shaped(5, strength)), take("b", 2, halved(6))];
    assert_eq!(limiting(&takes), None);
    takes.extend([take("w", 1, shaped(5, strength)), take("w", 2, shaped(6, strength))]);
    takes[2..].iter_mut().for_each(|t| t.role = Role::Witness);
    let (outcome, _, text) = limiting(&takes).expect("the witness heard both");
    assert_eq!(outcome, Outcome::Caution);
    assert!(text.starts_with("against the witness, b gives"), "{text}");
}

/// Takes of two microphones in this order, each take so many dB louder than the one before.
fn in_order(order: &str, drift_db: f64) -> Vec<Take> {
    let made = |(i, mic): (usize, char)| {
        let mut t = take(&mic.to_string(), i as u32 + 1, shaped(20 + i as u64, |_| drift_db * i as f64));
        t.order = Some(i as u32 + 1);
        t
    };
    order.chars().enumerate().map(made).collect()
}

#[test]
fn a_drift_over_the_order_of_takes_counts_where_the_order_does_not_even_it_out() {
    let found = |order: &str, drift_db: f64| {
        let result = results(&in_order(order, drift_db)).into_iter().find(|c| c.code == "order_drift");
        result.map(|c| (c.outcome, c.measured.unwrap_or(f64::NAN)))
    };
    let (outcome, bias_db) = found("aaabbb", 1.0).expect("order is logged");
    // Exact: the groups are three takes apart. The takes' own means differ by less than 0.1 dB.
    assert!(outcome == Outcome::Caution && (bias_db - 3.0).abs() < 0.3, "{bias_db}");
    let (outcome, bias_db) = found("abbaab", 1.0).expect("order is logged");
    // Exact: mean orders are 10/3 and 11/3.
    assert!(outcome == Outcome::Fair && (bias_db - 1.0 / 3.0).abs() < 0.1, "{bias_db}");
    assert_eq!(found("aaabbb", 0.0).map(|f| f.0), Some(Outcome::Fair));
    assert_eq!(found("ab", 1.0), None);
}

#[test]
fn an_unlogged_order_is_not_guessed() {
    let mut takes = in_order("aaabbb", 1.0);
    takes[4].order = None;
    assert_eq!(outcome(&codes(&takes), "order_drift"), None);
}

#[test]
fn a_channel_far_below_its_partner_is_doubted_and_silence_is_unfair() {
    let with = |b: Vec<f32>| {
        let mut takes = [take("a", 1, shaped(5, strength)), take("b", 1, b)];
        takes[1].keep_although_unfair = true;
        let found = results(&takes).into_iter().filter(|c| c.code == "wrong_channel");
        found.map(|c| c.outcome).collect::<Vec<_>>()
    };
    let scaled = |gain: f32| shaped(5, strength).iter().map(|x| gain * x).collect::<Vec<f32>>();
    assert_eq!(with(scaled(0.004)), [Outcome::Fair, Outcome::Caution]);
    assert_eq!(with(scaled(0.03)), [Outcome::Fair, Outcome::Fair]);
    assert_eq!(with(scaled(0.0)), [Outcome::Fair, Outcome::Unfair]);
}

#[test]
fn a_check_says_what_clipping_and_a_constant_do() {
    let text_of = |code: &str, b: Vec<f32>| {
        let found = results(&[take("a", 1, hits(5, 0.5)), take("b", 2, b)]);
        found.into_iter().filter(|c| c.code == code).nth(1).map(|c| c.text).unwrap_or_default()
    };
    // The third hit begins at 3 s and the ninth at 9 s: eight times as strong, 1.6 of full scale and more.
    let mut strong = hits(6, 1.0);
    for second in [3, 9] {
        strong[second * 16_000..][..8_000].iter_mut().for_each(|x| *x = (*x * 8.0).clamp(-1.0, 1.0));
    }
    let text = text_of("clipped", strong);
    assert!(text.starts_with("2 of 12 events clipped, event 3 first"), "{text}");
    assert!(text.contains("the mean loudness of the rest is lower by"), "{text}");
    let lifted = hits(6, 0.5).iter().map(|x| x + 0.02).collect();
    let text = text_of("dc", lifted);
    assert!(text.contains("of full scale; its energy alone lifts the lowest octave by"), "{text}");
}
