//! Made takes whose design is known.

use super::*;
use crate::testing::{hits, take};

/// Noise of one room, or of one microphone.
fn noise(seed: u64, size: f32, n: usize) -> Vec<f32> {
    let mut state = seed.wrapping_mul(0x9e37_79b9_7f4a_7c15);
    (0..n)
        .map(|_| {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            size * ((state >> 40) as f32 / (1u64 << 23) as f32 - 1.0)
        })
        .collect()
}

fn sum(a: &[f32], b: &[f32]) -> Vec<f32> {
    a.iter().zip(b).map(|(x, y)| x + y).collect()
}

/// Hits without noise of their own.
fn programme(seed: u64) -> Vec<f32> {
    let with = hits(seed, 1.0);
    // Where no hit sounds the made take holds noise of 1e-4; a programme holds none.
    with.iter().map(|x| if x.abs() < 2e-4 { 0.0 } else { *x }).collect()
}

/// Played back by a clock that runs `ppm` millionths faster, by straight lines between samples.
fn drifting(x: &[f32], ppm: f64) -> Vec<f32> {
    (0..x.len())
        .map(|i| {
            let at = i as f64 * (1.0 + ppm * 1e-6);
            let (k, part) = (at as usize, at.fract() as f32);
            let next = x.get(k + 1).copied().unwrap_or(0.0);
            x.get(k).map_or(0.0, |v| v * (1.0 - part) + next * part)
        })
        .collect()
}

/// A brighter microphone: the difference of neighbours added.
fn brighter(x: &[f32]) -> Vec<f32> {
    (0..x.len()).map(|i| 0.6 * x[i] + 0.3 * (x[i] - if i > 0 { x[i - 1] } else { 0.0 })).collect()
}

fn recognise(a: Vec<f32>, b: Vec<f32>) -> (bool, Option<SharedPair>) {
    let mut takes = vec![take("a", 1, a), take("b", 2, b)];
    let found = recognise_performances(&mut takes, None).expect("in memory");
    let between = found.between("b:2", "a:1").cloned();
    (takes[0].performance == takes[1].performance, between)
}

#[test]
fn recorded_at_once_is_together() {
    let heard = sum(&programme(1), &noise(7, 1e-4, 224_000));
    let a = sum(&heard, &noise(8, 2e-5, 224_000));
    // Six frames later, brighter, with noise of its own.
    let mut later = vec![0.0; 6];
    later.extend_from_slice(&heard[..heard.len() - 6]);
    let b = sum(&brighter(&later), &noise(9, 2e-5, 224_000));
    let (same, found) = recognise(a, b);
    let found = found.expect("they share a performance");
    assert!(same);
    assert_eq!(found.how, HowShared::AtOnce, "{found:?}");
    assert_eq!(found.drift_ppm, None);
}

#[test]
fn one_recording_played_back_for_each_is_replayed() {
    let played = programme(2);
    let a = sum(&played, &noise(11, 1e-4, 224_000));
    let b = sum(&brighter(&played), &noise(12, 1e-4, 224_000));
    let (same, found) = recognise(a.clone(), b);
    assert!(same);
    let found = found.expect("they share a performance");
    assert_eq!((found.how, found.drift_ppm), (HowShared::Replayed, None), "{found:?}");
    // With two clocks, the drift is measured: exact to what interpolation between samples makes.
    for ppm in [-120.0, 8.0, 60.0] {
        let b = sum(&brighter(&drifting(&played, ppm)), &noise(13, 1e-4, 224_000));
        let (same, found) = recognise(a.clone(), b);
        let found = found.unwrap_or_else(|| panic!("{ppm} is not found"));
        assert!(same && found.how == HowShared::Replayed, "{found:?}");
        let drift = found.drift_ppm.unwrap_or_else(|| panic!("{ppm} does not show"));
        // A faster clock brings everything earlier.
        assert!((drift + ppm).abs() < 0.5 + 0.02 * ppm.abs(), "{drift} for {ppm}");
    }
}

#[test]
fn without_a_gap_it_cannot_be_told() {
    // Noise whose strength wanders a little: nothing is 30 dB below the loudest.
    let mut heard = noise(21, 0.2, 160_000);
    heard.iter_mut().enumerate().for_each(|(i, x)| *x *= 1.0 + 0.5 * (i as f32 / 9000.0).sin());
    let a = sum(&heard, &noise(22, 1e-4, 160_000));
    let b = sum(&brighter(&heard), &noise(23, 1e-4, 160_000));
    let (same, found) = recognise(a, b);
    assert!(same);
    let found = found.expect("they share a performance");
    assert_eq!((found.how, found.noise_coherence), (HowShared::Unclear, None));
    assert!(found.reason.contains("no gap"), "{}", found.reason);
}

#[test]
fn digital_silence_between_hits_tells_nothing() {
    let heard = programme(31);
    let (same, found) = recognise(heard.clone(), brighter(&heard));
    assert!(same);
    assert_eq!(found.expect("they share a performance").how, HowShared::Unclear);
}

#[test]
fn two_recorders_at_once_are_not_claimed_to_be_one() {
    let heard = sum(&programme(41), &noise(42, 1e-4, 224_000));
    let (same, found) = recognise(heard.clone(), drifting(&heard, 8.0));
    assert!(same);
    // Noise is shared, the clocks are not one.
    assert_eq!(found.expect("they share a performance").how, HowShared::Unclear);
}

#[test]
fn passes_of_playing_are_strangers_even_with_hits_at_the_same_times() {
    let mut n_same = 0;
    for seed in 0..20 {
        let (a, b) = (hits(100 + seed, 1.0), hits(200 + seed, 1.0));
        let (same, found) = recognise(a, b);
        n_same += usize::from(same || found.is_some());
    }
    assert_eq!(n_same, 0);
}

#[test]
fn replays_started_by_hand_are_brought_into_step() {
    let played = programme(51);
    let mut later = vec![0.0; 4000];
    later.extend_from_slice(&played[..played.len() - 4000]);
    let a = take("a", 1, sum(&played, &noise(52, 1e-4, 224_000)));
    let b = take("b", 2, sum(&later, &noise(53, 1e-4, 224_000)));
    let c = take("c", 3, hits(54, 1.0));
    let takes = [&a, &b, &c];
    let streamed = in_parallel(&takes, |t| stream(t).map(Arc::new)).expect("in memory");
    let found = replays_later_s(&takes, &streamed).expect("in memory");
    assert_eq!(found[0], Some(0.0));
    // Exact: 4000 frames at 16 kHz; half a frame.
    assert!((found[1].expect("found") - 0.25).abs() < 0.5 / 16_000.0, "{found:?}");
    assert_eq!(found[2], None);
}
