//! Tests: what is played is what was recorded, turned down, faded, and silent beyond.

use super::*;
use crate::testing::{RATE_HZ, random, take};

/// A second at full scale.
fn full_scale() -> Take {
    take("a", 1, vec![1.0; RATE_HZ as usize])
}

#[test]
fn fades_begin_and_end_at_zero_and_leave_the_middle_alone() {
    let played = clip(&full_scale(), Stretch { start: 1000, frames: 4800 }, -6.0).expect("there");
    assert_eq!((played.rate_hz, played.samples.len(), played.gain_db), (RATE_HZ, 4800, -6.0));
    assert_eq!((played.samples[0], played.samples[4799]), (0.0, 0.0));
    // Exact: −6 dB is 10^(−6/20), to the rounding of f32; 5 ms are 240 frames, of which the 120th has the factor 1/2.
    let gain = 10f64.powf(-0.3) as f32;
    assert!(played.samples[240..4560].iter().all(|x| (x - gain).abs() < 1e-7));
    assert!((played.samples[120] - gain / 2.0).abs() < 1e-7, "{}", played.samples[120]);
    assert!(played.samples[..241].windows(2).all(|w| w[1] >= w[0]));
    assert!(played.samples.iter().zip(played.samples.iter().rev()).all(|(x, y)| x == y));
}

#[test]
fn beyond_the_take_there_is_silence_and_no_step() {
    let rate = i64::from(RATE_HZ);
    for (start, there) in
        [(-1000, 1000..4800), (rate - 1000, 0..1000), (-9000, 4800..4800), (rate, 0..0), (i64::MAX, 0..0)]
    {
        let played =
            clip(&full_scale(), Stretch { start, frames: 4800 }, 0.0).expect("silence can be played");
        let (n, there) = (played.samples.len(), there.start as usize..there.end as usize);
        assert_eq!(n, 4800);
        for (i, x) in played.samples.iter().enumerate() {
            assert!(there.contains(&i) || *x == 0.0, "{start}: {x} at {i}");
        }
        // Where the take begins or ends inside, it fades too: no step larger than that of the fade, π/2 in 240 frames.
        let steps = played.samples.windows(2).map(|w| (w[1] - w[0]).abs());
        assert!(steps.fold(0.0, f32::max) < 0.0066, "{start}");
        assert_eq!(played.samples.iter().any(|x| *x > 0.9), !there.is_empty(), "{start}");
    }
}

#[test]
fn whatever_is_played_is_no_louder_than_its_original() {
    let mut number = random(11);
    let samples: Vec<f32> = (0..RATE_HZ).map(|_| number() as f32).collect();
    let original = take("a", 1, samples.clone());
    for _ in 0..50 {
        let start = (number() * 60_000.0) as i64;
        let frames = 1 + (number().abs() * 20_000.0) as u64;
        let gain_db = -20.0 * number().abs();
        let played = clip(&original, Stretch { start, frames }, gain_db).expect("can be played");
        assert_eq!(played.samples.len() as u64, frames);
        for (i, x) in played.samples.iter().enumerate() {
            let there = usize::try_from(start + i as i64).ok().and_then(|k| samples.get(k)).unwrap_or(&0.0);
            assert!(x.abs() <= there.abs(), "{x} of {there}");
        }
    }
}

#[test]
fn clips_of_a_few_frames_are_all_fade() {
    for frames in 1..=12 {
        let played = clip(&full_scale(), Stretch { start: 0, frames }, 0.0).expect("short, but there");
        let n = played.samples.len();
        assert_eq!((n as u64, played.samples[0], played.samples[n - 1]), (frames, 0.0, 0.0));
    }
}

#[test]
fn what_cannot_be_played_is_refused_by_name() {
    let take = full_scale();
    let refused = |stretch, gain_db| clip(&take, stretch, gain_db).expect_err("refused").to_string();
    let whole = Stretch { start: 0, frames: 100 };
    assert_eq!(
        refused(Stretch { start: 0, frames: 0 }, 0.0),
        "a stretch of 0 frames of a-1 cannot be played; it needs 1 to 2880000"
    );
    assert_eq!(
        refused(Stretch { start: 0, frames: 2_880_001 }, 0.0),
        "a stretch of 2880001 frames of a-1 cannot be played; it needs 1 to 2880000"
    );
    assert_eq!(refused(whole, 0.5), "a-1 is not played at 0.5 dB: no clip is louder than its original");
    assert!(refused(whole, f64::NAN).starts_with("a-1 is not played"));
    assert!(refused(whole, f64::NEG_INFINITY).starts_with("a-1 is not played"));
}
