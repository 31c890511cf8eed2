//! Tests: what plays when, and that nothing is louder than it may be.

use super::*;
use crate::testing::{every_second, found, hits, take, take_at};
use crate::{gains_db, moments};
use fairtake_compare::Playing;

/// Two microphones that heard the same hits, the second one louder by this factor; their moments and gains.
fn heard(louder: f32) -> (Vec<Take>, Vec<Moment>, Vec<PlaybackGain>) {
    let samples = hits(48_000, 3, &every_second(), 14.0);
    let other = samples.iter().map(|x| x * louder).collect();
    let takes = vec![take("a", 1, samples), take("b", 1, other)];
    let found = found(&takes, Playing::Percussive);
    let moments = moments(&takes, &found.measures, &found.findings, "drum").expect("something to hear");
    let mics = ["a".to_string(), "b".to_string()];
    let gains = gains_db(&found.findings, "drum", &mics).expect("matched");
    (takes, moments, gains)
}

fn wanted() -> Wanted {
    Wanted { gap_s: 0.5, most_moments: 2, most_s: 60.0, orders: Vec::new() }
}

#[test]
fn pieces_follow_each_other_with_gaps_of_silence_and_are_the_clips_that_are_heard() {
    let (takes, moments, gains) = heard(2.0);
    let reel = reel(&takes, &moments, &gains, &wanted()).expect("a reel");
    let mics: Vec<&str> = reel.pieces.iter().map(|p| p.mic.as_str()).collect();
    assert_eq!(mics, ["a", "b", "a", "b"]);
    for pair in reel.pieces.windows(2) {
        assert_eq!(pair[1].from_frame - pair[0].to_frame, 24_000);
        let gap = &reel.samples[pair[0].to_frame as usize..pair[1].from_frame as usize];
        assert!(gap.iter().all(|x| *x == 0.0));
    }
    // Exact: the same calls on the same takes, turned down by the common trim.
    for piece in &reel.pieces {
        let part = moments[piece.moment].parts.iter().find(|p| p.mic == piece.mic).expect("a part");
        let take = takes.iter().find(|t| t.id == part.take).expect("a take");
        let gain = gains.iter().find(|g| g.mic == piece.mic).expect("a gain").gain_db;
        let alone = clip(take, part.stretch, gain).expect("a clip").samples;
        let factor = gain_factor(reel.trim_db);
        let here = &reel.samples[piece.from_frame as usize..piece.to_frame as usize];
        assert!(here.iter().zip(&alone).all(|(x, y)| *x == (f64::from(*y) * factor) as f32));
    }
    // Matched: the same hits, so the same pieces but for rounding of the gain.
    let piece =
        |i: usize| &reel.samples[reel.pieces[i].from_frame as usize..reel.pieces[i].to_frame as usize];
    assert!(piece(0).iter().zip(piece(1)).all(|(x, y)| (x - y).abs() < 1e-3));
}

#[test]
fn true_peaks_stay_below_the_ceiling_and_nothing_is_turned_up() {
    // Played so hot that its peak comes near full scale, and so soft that it could be turned up.
    for factor in [4.5f32, 0.01] {
        let (mut takes, moments, gains) = heard(1.0);
        let samples: Vec<f32> = hits(48_000, 3, &every_second(), 14.0).iter().map(|x| x * factor).collect();
        takes = takes.drain(..).map(|t| take(&t.mic, 1, samples.clone())).collect();
        let reel = reel(&takes, &moments, &gains, &wanted()).expect("a reel");
        assert!(reel.true_peak_dbtp.expect("no silence") < CEILING_DBTP);
        assert!(reel.trim_db <= 0.0);
        let peak = samples.iter().fold(0f32, |m, x| m.max(x.abs()));
        let here = reel.samples.iter().fold(0f32, |m, x| m.max(x.abs()));
        assert!(here <= peak);
        assert_eq!(reel.trim_db < 0.0, factor > 1.0, "{factor}: {}", reel.trim_db);
        assert!(reel.loudness_lufs.is_some() || factor < 1.0);
    }
}

#[test]
fn an_order_is_kept_and_what_is_no_order_is_refused() {
    let (takes, moments, gains) = heard(1.0);
    let orders = vec![vec![1, 0], vec![0, 1]];
    let made = reel(&takes, &moments, &gains, &Wanted { orders, ..wanted() }).expect("a reel");
    let mics: Vec<&str> = made.pieces.iter().map(|p| p.mic.as_str()).collect();
    assert_eq!(mics, ["b", "a", "a", "b"]);
    for order in [vec![0, 0], vec![0], vec![0, 1, 2]] {
        let refused = reel(&takes, &moments, &gains, &Wanted { orders: vec![order], ..wanted() });
        assert!(matches!(refused, Err(AuditionError::NoReel { .. })));
    }
    assert!(reel(&takes, &[], &gains, &wanted()).is_err());
    assert!(reel(&takes, &moments, &gains, &Wanted { gap_s: f64::NAN, ..wanted() }).is_err());
    let gone = reel(&takes[..1], &moments, &gains, &wanted()).expect_err("b is gone");
    assert!(gone.to_string().contains("b-1"), "{gone}");
}

#[test]
fn a_reel_ends_where_it_would_grow_too_long_and_keeps_to_one_rate() {
    let (takes, moments, gains) = heard(1.0);
    let all = Wanted { most_moments: 99, most_s: 20.0, ..wanted() };
    let made = reel(&takes, &moments, &gains, &all).expect("a reel");
    // Eight seconds by two microphones; the next moment would go beyond 20 s.
    assert_eq!(made.pieces.iter().map(|p| p.moment).max(), Some(0));
    let slower = hits(44_100, 3, &every_second(), 14.0);
    let mixed = [take("a", 1, hits(48_000, 3, &every_second(), 14.0)), take_at(44_100, "b", 1, 1, slower)];
    let found = found(&mixed, Playing::Percussive);
    let moments =
        crate::moments(&mixed, &found.measures, &found.findings, "drum").expect("something to hear");
    assert!(matches!(reel(&mixed, &moments, &gains, &wanted()), Err(AuditionError::NoReel { .. })));
}
