//! Tests: what stands side by side, and that it is in step.

use super::*;
use crate::testing::{every_second, found, found_with, held, hits, take, take_at};
use fairtake_compare::{Measurement, Settings, Source};

fn of(takes: &[Take], found: &Measurement) -> Vec<Moment> {
    moments(takes, &found.measures, &found.findings, "drum").expect("there is something to hear")
}

/// Every part is as long as the moment and has its first onset where the moment says, both to within one frame.
fn assert_in_step(moments: &[Moment], found: &Measurement) {
    assert!(!moments.is_empty());
    for moment in moments {
        for part in &moment.parts {
            let rate = f64::from(part.rate_hz);
            assert!((part.stretch.frames as f64 - moment.duration_s * rate).abs() <= 1.0, "{moment:?}");
            let measure = found.measures.iter().find(|m| m.take == part.take).expect("measured");
            let first = part.stretch.start as f64 + moment.onsets_s[0] * rate;
            let off = measure.events.iter().map(|e| (e.onset_s * rate - first).abs());
            assert!(off.fold(f64::INFINITY, f64::min) <= 1.0, "{moment:?}");
        }
    }
}

fn summary(moments: &[Moment]) -> Vec<(MomentKind, usize)> {
    moments.iter().map(|m| (m.kind, m.onsets_s.len())).collect()
}

#[test]
fn one_performance_is_heard_in_the_same_seconds_at_any_rate() {
    let samples = hits(48_000, 3, &every_second(), 14.0);
    // The same at 44.1 kHz, near enough for events.
    let slower = hits(44_100, 3, &every_second(), 14.0);
    let takes = [take("a", 1, samples.clone()), take_at(44_100, "b", 1, 1, slower), take("c", 1, samples)];
    let found = found(&takes, Playing::Percussive);
    let moments = of(&takes, &found);
    assert_in_step(&moments, &found);
    // Hits a second apart, each ringing for less: eight go into 8 s. All of 12 s are the whole.
    assert_eq!(
        summary(&moments),
        [(MomentKind::Passage, 8), (MomentKind::Passage, 4), (MomentKind::Whole, 12)]
    );
    for moment in &moments {
        assert_eq!(moment.paired, Paired::SamePerformance);
        let mics: Vec<&str> = moment.parts.iter().map(|p| p.mic.as_str()).collect();
        assert_eq!(mics, ["a", "b", "c"]);
        // The same seconds: half a frame of each rate is what rounding leaves.
        for part in &moment.parts {
            let off_s = part.stretch.start as f64 / f64::from(part.rate_hz)
                - moment.parts[0].stretch.start as f64 / f64::from(moment.parts[0].rate_hz);
            assert!(off_s.abs() <= 1.0 / 44_100.0, "{moment:?}");
        }
        // Half of the gap of a second is more than the lead.
        assert!((moment.onsets_s[0] - LEAD_S).abs() < 1e-9, "{moment:?}");
        let gaps = moment.onsets_s.windows(2).map(|w| w[1] - w[0]);
        // The step of the envelope, 2.5 ms, to either side.
        assert!(gaps.into_iter().all(|g| (g - 1.0).abs() <= 0.005), "{moment:?}");
    }
}

#[test]
fn hits_in_turn_come_one_by_one_where_their_gaps_differ() {
    let (even, uneven): (Vec<f64>, Vec<f64>) =
        (1..=12).map(|i| (f64::from(i), 1.25 * f64::from(i) + 0.05 * f64::from(i % 3))).unzip();
    let takes = [take("a", 1, hits(48_000, 4, &even, 14.0)), take("b", 2, hits(48_000, 5, &uneven, 16.0))];
    let found = found(&takes, Playing::Percussive);
    let moments = of(&takes, &found);
    assert_in_step(&moments, &found);
    assert_eq!(summary(&moments), vec![(MomentKind::Event, 1); 12]);
    for (moment, onsets) in moments.iter().zip(even.iter().zip(&uneven)) {
        assert_eq!(moment.paired, Paired::PlayedAgain);
        for (part, onset_s) in moment.parts.iter().zip([onsets.0, onsets.1]) {
            let starts_s = part.stretch.start as f64 / 48_000.0;
            // Exact to the envelope's step: 50 ms before the onset as made.
            assert!((starts_s + LEAD_S - onset_s).abs() <= 0.0051, "{moment:?}");
        }
        // As long as the shorter of both, and not into the next hit.
        assert!(moment.duration_s > 0.3 && moment.duration_s < 1.0 + LEAD_S, "{moment:?}");
    }
}

#[test]
fn hits_in_turn_stay_in_a_row_where_their_gaps_agree() {
    let later: Vec<f64> = every_second().iter().map(|s| s + 0.37).collect();
    let takes =
        [take("a", 1, hits(48_000, 4, &every_second(), 14.0)), take("b", 2, hits(48_000, 5, &later, 14.0))];
    let found = found(&takes, Playing::Percussive);
    let moments = of(&takes, &found);
    assert_in_step(&moments, &found);
    assert_eq!(moments[0].kind, MomentKind::Passage);
    assert_eq!(moments[0].onsets_s.len(), 8);
    for (i, onset_s) in moments[0].onsets_s.iter().enumerate() {
        // Two steps of the envelope, of the first onset and this one.
        assert!((onset_s - LEAD_S - i as f64).abs() <= 0.0051, "{moments:?}");
    }
}

#[test]
fn what_was_left_out_is_in_no_moment() {
    let a = hits(48_000, 6, &every_second(), 14.0);
    let mut b = a.clone();
    // The fifth hit is clipped in one microphone.
    b[240_100..240_110].fill(1.0);
    let takes = [take("a", 1, a), take("b", 1, b)];
    let mut found = found(&takes, Playing::Percussive);
    // Kept in spite of the check, so that the rest is heard.
    found.findings.takes.iter_mut().for_each(|t| t.left_out = false);
    let moments = of(&takes, &found);
    assert_eq!(summary(&moments), [(MomentKind::Passage, 4), (MomentKind::Passage, 7)]);
    for part in moments.iter().flat_map(|m| &m.parts) {
        let frames = part.stretch.start..part.stretch.start + part.stretch.frames as i64;
        assert!(!frames.contains(&240_000) && !frames.contains(&240_100), "{part:?}");
    }
}

#[test]
fn held_sound_in_turn_is_heard_from_where_it_begins() {
    // Blocks lie on whole seconds: the first that is not silent begins at 2 s and 0 s.
    let takes = [take("a", 1, held(7, 2.0, 14.0)), take("b", 2, held(8, 0.0, 9.0))];
    let found = found(&takes, Playing::Sustained);
    let moments = of(&takes, &found);
    assert_in_step(&moments, &found);
    assert_eq!(summary(&moments), [(MomentKind::Beginning, 1)]);
    let starts: Vec<i64> = moments[0].parts.iter().map(|p| p.stretch.start).collect();
    assert_eq!((starts, moments[0].duration_s), (vec![96_000, 0], 8.0));
}

#[test]
fn held_sound_of_one_performance_goes_on_in_passages() {
    let samples = held(9, 0.0, 21.0);
    let takes = [take("a", 1, samples.clone()), take("b", 1, samples)];
    let found = found(&takes, Playing::Sustained);
    let moments = of(&takes, &found);
    assert_in_step(&moments, &found);
    let lengths: Vec<f64> = moments.iter().map(|m| m.duration_s.round()).collect();
    assert_eq!(lengths, [8.0, 8.0, 5.0, 21.0]);
    assert_eq!(moments[3].kind, MomentKind::Whole);
}

#[test]
fn replays_are_heard_in_the_same_seconds_of_the_recording() {
    let a = hits(48_000, 10, &every_second(), 14.0);
    let mut b = vec![0.0; 480];
    b.extend_from_slice(&a[..a.len() - 480]);
    let takes = [take("a", 1, a), take("b", 2, b)];
    let source = Source { playing: Playing::Percussive, replayed: true, ..Source::default() };
    let found = found_with(&takes, source, Settings::standard());
    let moments = of(&takes, &found);
    assert_in_step(&moments, &found);
    for moment in &moments {
        assert_eq!(moment.paired, Paired::SameRecording);
        // Exact: 480 frames later, found to the nearest frame.
        assert_eq!(moment.parts[1].stretch.start - moment.parts[0].stretch.start, 480);
    }
}

#[test]
fn takes_of_one_placement_number_stand_side_by_side() {
    let made = |mic: &str, placement, performance| {
        take_at(
            48_000,
            mic,
            placement,
            performance,
            hits(48_000, u64::from(performance), &every_second(), 14.0),
        )
    };
    let takes = [made("a", 2, 1), made("b", 1, 2), made("a", 1, 3), made("b", 2, 4), made("b", 3, 5)];
    let found = found(&takes, Playing::Percussive);
    let mut pairs: Vec<(String, String)> =
        of(&takes, &found).iter().map(|m| (m.parts[0].take.clone(), m.parts[1].take.clone())).collect();
    pairs.dedup();
    // Placement 3 of b has no counterpart: a is heard at its last one before.
    let wanted = [("a-3", "b-2"), ("a-1", "b-4"), ("a-1", "b-5")];
    assert_eq!(pairs, wanted.map(|(a, b)| (a.to_string(), b.to_string())));
}

#[test]
fn what_is_missing_is_named() {
    let samples = hits(48_000, 3, &every_second(), 14.0);
    let takes = [take("a", 1, samples.clone()), take("b", 1, samples)];
    let mut found = found(&takes, Playing::Percussive);
    let asked = |takes: &[Take], found: &Measurement, source: &str| {
        moments(takes, &found.measures, &found.findings, source)
            .expect_err("something is missing")
            .to_string()
    };
    assert_eq!(asked(&takes, &found, "bell"), "nothing was compared on 'bell'; there are drum");
    assert_eq!(
        asked(&takes[..1], &found, "drum"),
        "the findings hold the take b-1, but its samples are not at hand"
    );
    let measure = found.measures.remove(0);
    assert_eq!(
        asked(&takes, &found, "drum"),
        "the findings hold the take a-1, but what was measured of it is not at hand"
    );
    // No event of b is used.
    found.measures.push(measure);
    found.measures[0].events.iter_mut().for_each(|e| e.left_out = Some(fairtake_compare::LeftOut::CutOff));
    assert_eq!(
        asked(&takes, &found, "drum"),
        "nothing on 'drum' can be set side by side: no event that was used in one take has a counterpart in the others"
    );
    found.findings.takes[1].left_out = true;
    assert_eq!(
        asked(&takes, &found, "drum"),
        "nothing on 'drum' can be set side by side: no take by 'b' is used"
    );
}

#[test]
fn dense_hits_are_heard_without_their_neighbours() {
    // Gaps of 0.08 and 0.3 s, set by hand; other gaps in the other take, so that every hit comes alone.
    let dense = |gaps: [f64; 3]| -> Vec<f64> {
        (0..12).scan(1.0, |at, i| Some(std::mem::replace(at, *at + gaps[i % 3]))).collect()
    };
    let (a, b) = (dense([0.08, 0.3, 0.5]), dense([0.3, 0.08, 0.6]));
    let mut takes = [take("a", 1, hits(48_000, 20, &a, 8.0)), take("b", 2, hits(48_000, 21, &b, 8.0))];
    (takes[0].hand_set_events_s, takes[1].hand_set_events_s) = (Some(a.clone()), Some(b.clone()));
    let found = found(&takes, Playing::Percussive);
    let moments = of(&takes, &found);
    assert_in_step(&moments, &found);
    assert_eq!(summary(&moments), vec![(MomentKind::Event, 1); 12]);
    for (i, moment) in moments.iter().enumerate() {
        for (part, onsets_s) in moment.parts.iter().zip([&a, &b]) {
            // Onsets are kept on the envelope's steps.
            let within = |s: &&f64| {
                let frame = ((*s / 0.0025) as i64) * 120;
                (part.stretch.start..part.stretch.start + part.stretch.frames as i64).contains(&frame)
            };
            let heard: Vec<&f64> = onsets_s.iter().filter(within).collect();
            assert_eq!(heard, [&onsets_s[i]], "{moment:?}");
        }
    }
    // Half-way from the onset before, where that is nearer than 50 ms.
    assert!((moments[1].onsets_s[0] - 0.04).abs() <= 0.0026, "{:?}", moments[1]);
    assert!((moments[3].onsets_s[0] - LEAD_S).abs() < 1e-9, "{:?}", moments[3]);
}

#[test]
fn held_sound_in_turn_ends_where_something_was_left_out() {
    let mut b = held(8, 0.0, 12.0);
    // Clipped in the sixth second.
    b[250_000..250_010].fill(1.0);
    let takes = [take("a", 1, held(7, 0.0, 12.0)), take("b", 2, b)];
    let mut found = found(&takes, Playing::Sustained);
    found.findings.takes.iter_mut().for_each(|t| t.left_out = false);
    let moments = of(&takes, &found);
    assert_eq!((moments.len(), moments[0].duration_s), (1, 5.0));
}

#[test]
fn onsets_set_by_hand_too_near_to_each_other_play_nothing_backwards() {
    let (a, b) = (hits(48_000, 3, &every_second(), 14.0), hits(48_000, 4, &every_second(), 14.0));
    let mut takes = [take("a", 1, a), take("b", 2, b)];
    // The stretch of 3.003 begins 5 ms before it, and so before the onset at 3; 99 lies beyond the take.
    takes[0].hand_set_events_s = Some(vec![1.0, 2.0, 3.0, 3.003, 4.0, 5.0, 6.0, 7.0, 99.0]);
    let found = found(&takes, Playing::Percussive);
    assert_eq!(found.measures[0].events.len(), 9);
    let moments = of(&takes, &found);
    assert_in_step(&moments, &found);
    for moment in &moments {
        let last = moment.onsets_s[moment.onsets_s.len() - 1];
        assert!(last < moment.duration_s && moment.duration_s <= WHOLE_S, "{moment:?}");
    }
}

#[test]
fn takes_that_were_not_all_made_at_once_stand_side_by_side_as_played_again() {
    let made = |mic: &str, performance| {
        take(mic, performance, hits(48_000, u64::from(performance), &every_second(), 14.0))
    };
    // Two at once and one later.
    let mut takes = vec![made("a", 1), made("b", 1), made("c", 2), made("a", 3)];
    // What leaks in is not the source.
    takes[3].role = fairtake_compare::Role::Bleed;
    let source = Source { playing: Playing::Percussive, ..Source::default() };
    let found = found_with(&takes, source.clone(), Settings::standard());
    let designs: Vec<Design> = found.findings.comparisons.iter().map(|c| c.design).collect();
    assert_eq!(designs, [Design::Together, Design::InTurn]);
    let heard = of(&takes, &found);
    assert_in_step(&heard, &found);
    for moment in &heard {
        let ids: Vec<&str> = moment.parts.iter().map(|p| p.take.as_str()).collect();
        assert_eq!((moment.paired, ids), (Paired::PlayedAgain, vec!["a-1", "b-1", "c-2"]));
    }
    // Of three performances all three recorded one.
    let takes = [made("a", 1), made("a", 3), made("b", 1), made("b", 3), made("c", 1)];
    let found = found_with(&takes, source.clone(), Settings::standard());
    let designs: Vec<Design> = found.findings.comparisons.iter().map(|c| c.design).collect();
    assert_eq!(designs, [Design::Together, Design::InTurn]);
    let heard = of(&takes, &found);
    assert_in_step(&heard, &found);
    for moment in &heard {
        let ids: Vec<&str> = moment.parts.iter().map(|p| p.take.as_str()).collect();
        assert_eq!((moment.paired, ids), (Paired::SamePerformance, vec!["a-1", "b-1", "c-1"]));
    }
    // Each of two shares a performance with the first, and no performance was recorded by all.
    let takes = [made("a", 1), made("a", 2), made("b", 1), made("c", 2)];
    let settings = Settings { design_override: Some(Design::Together), ..Settings::standard() };
    let found = found_with(&takes, source, settings);
    assert!(found.findings.comparisons.iter().all(|c| c.design == Design::Together));
    let heard = of(&takes, &found);
    assert_in_step(&heard, &found);
    assert!(heard.iter().all(|m| m.paired == Paired::PlayedAgain && m.parts.len() == 3), "{heard:?}");
}
