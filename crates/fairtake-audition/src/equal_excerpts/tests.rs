//! Tests: equal in length, loudness and rate; what is the same sound, and what is not.

use super::*;
use crate::testing::{every_second, found, held, hits, take, take_at};
use fairtake_compare::Playing;
use fairtake_listen::{Asked, Key, Kind, Plan};

fn wanted(seconds: f64) -> WantedExcerpts {
    WantedExcerpts {
        mics: vec!["a".into(), "b".into()],
        contestants: Vec::new(),
        seconds,
        most_per_pass: 4,
        condition: Condition::AsRecorded,
    }
}

/// As loud as each other to 0.1 LU, equally long, faded at both ends, and none louder than it was.
fn assert_equal(made: &Excerpts) {
    assert_eq!(made.clips.len(), made.material.excerpts.len());
    for clip in &made.clips {
        assert_eq!((clip.rate_hz, clip.samples.len()), (made.about.rate_hz, made.about.frames));
        let lufs = event_loudness_lufs(&clip.samples, clip.rate_hz).expect("no silence");
        // Rounding of f32 alone: a thousandth of what is asked.
        assert!((lufs - made.about.loudness_lufs).abs() < 1e-4, "{lufs} {}", made.about.loudness_lufs);
        assert!(clip.gain_db <= 0.0);
        assert_eq!((clip.samples[0], clip.samples[clip.samples.len() - 1]), (0.0, 0.0));
    }
}

#[test]
fn what_was_recorded_at_once_is_the_same_sound_of_both() {
    let samples = hits(48_000, 3, &every_second(), 14.0);
    let louder: Vec<f32> = samples.iter().map(|x| x * 1.7).collect();
    let takes = [take("a", 1, samples), take("b", 1, louder)];
    let found = found(&takes, Playing::Percussive);
    let made = equal_excerpts(&takes, &found.measures, &found.findings, "drum", &wanted(2.0)).expect("cut");
    assert_equal(&made);
    assert_eq!((made.material.paired, made.clips.len()), (Paired::SameSound, 8));
    assert_eq!(made.about.seconds, 2.0);
    // One is the other times a constant, so matched they are the same but for rounding; and begin before their onset.
    let of = |mic: &str, sound: u32| {
        let at = made.material.excerpts.iter().position(|e| e.mic == mic && e.sound == sound).expect("there");
        &made.clips[at].samples
    };
    for e in made.material.excerpts.iter().filter(|e| e.mic == "a") {
        let (a, b) = (of("a", e.sound), of("b", e.sound));
        assert!(a.iter().zip(b).all(|(x, y)| (x - y).abs() < 1e-6));
        let before = a[..(0.045 * 48_000.0) as usize].iter().fold(0f32, |m, x| m.max(x.abs()));
        let after = a.iter().fold(0f32, |m, x| m.max(x.abs()));
        assert!(
            before < 0.05 * after,
            "an attack begins within the excerpt, not at its edge: {before} {after}"
        );
    }
    let asked = Asked {
        kind: Kind::Which,
        mics: vec!["a".into(), "b".into()],
        n_trials: 16,
        n_control: 0,
        n_catch: 2,
        look_after: Vec::new(),
        n_sittings: None,
    };
    assert!(Plan::new(asked, made.material).is_ok());
}

#[test]
fn what_was_played_again_has_sounds_of_its_own_and_several_in_each_pass() {
    let again = |mic: &str, placement: u32, performance: u32, seed: u64| {
        take_at(48_000, mic, placement, performance, hits(48_000, seed, &every_second(), 14.0))
    };
    let takes = [again("a", 1, 1, 3), again("b", 1, 2, 4), again("a", 2, 3, 5), again("b", 2, 4, 6)];
    let found = found(&takes, Playing::Percussive);
    let made = equal_excerpts(&takes, &found.measures, &found.findings, "drum", &wanted(1.0)).expect("cut");
    assert_equal(&made);
    assert_eq!(made.material.paired, Paired::PlayedAgain);
    let mut sounds: Vec<u32> = made.material.excerpts.iter().map(|e| e.sound).collect();
    sounds.sort_unstable();
    sounds.dedup();
    assert_eq!(sounds.len(), made.clips.len(), "no sound twice");
    assert!(made.material.groups("a").iter().all(|g| g.excerpts.len() >= 2));
    let asked = Asked {
        kind: Kind::OddOne,
        mics: vec!["a".into(), "b".into()],
        n_trials: 12,
        n_control: 6,
        n_catch: 0,
        look_after: Vec::new(),
        n_sittings: None,
    };
    use rand_chacha::rand_core::SeedableRng;
    let plan = Plan::new(asked, made.material).expect("with control trials");
    assert_eq!(Key::draw(&plan, &mut rand_chacha::ChaCha20Rng::seed_from_u64(1)).trials.len(), 18);
}

#[test]
fn sustained_sound_is_cut_in_blocks_and_too_long_a_wish_is_shortened() {
    let takes = [take("a", 1, held(3, 1.0, 9.0)), take("b", 1, held(3, 1.0, 9.0))];
    let found = found(&takes, Playing::Sustained);
    let made = equal_excerpts(&takes, &found.measures, &found.findings, "drum", &wanted(10.0)).expect("cut");
    assert_equal(&made);
    assert!(made.about.seconds < 10.0 && made.about.seconds >= 2.5, "{}", made.about.seconds);
}

#[test]
fn what_cannot_be_cut_is_refused_in_words() {
    let takes = [
        take("a", 1, hits(48_000, 3, &every_second(), 14.0)),
        take_at(44_100, "b", 1, 1, hits(44_100, 3, &every_second(), 14.0)),
    ];
    let found = found(&takes, Playing::Percussive);
    let cut = |wanted: &WantedExcerpts| {
        equal_excerpts(&takes, &found.measures, &found.findings, "drum", wanted)
            .expect_err("refused")
            .to_string()
    };
    assert!(cut(&wanted(2.0)).contains("44100 Hz"), "{}", cut(&wanted(2.0)));
    assert!(cut(&wanted(99.0)).contains("99 s"));
    let stranger = WantedExcerpts { mics: vec!["a".into(), "z".into()], ..wanted(2.0) };
    assert!(cut(&stranger).contains("'z'"));
}

#[test]
fn with_equal_spectra_the_found_difference_is_gone() {
    // The second hears a third of the sample before beside each sample: softer treble.
    let samples = hits(48_000, 3, &every_second(), 14.0);
    let dull: Vec<f32> = (0..samples.len())
        .map(|i| if i == 0 { 0.0 } else { 0.6 * samples[i] + 0.4 * samples[i - 1] })
        .collect();
    let takes = [take("a", 1, samples), take("b", 1, dull)];
    let found = found(&takes, Playing::Percussive);
    let tilt_db = |condition| {
        let made = equal_excerpts(
            &takes,
            &found.measures,
            &found.findings,
            "drum",
            &WantedExcerpts { condition, ..wanted(2.0) },
        )
        .expect("cut");
        assert_equal(&made);
        // Energy from 7 to 14 kHz against that from 500 Hz to 2 kHz, so that the level match does not matter.
        let bands = fairtake_signal::bands::BandSet::new(3, 24_000.0);
        let tilt = |mic: &str| {
            let at = made.material.excerpts.iter().position(|e| e.mic == mic).expect("there");
            let mut spectrum = fairtake_signal::spectrum::BandSpectrum::new(48_000, &bands);
            let energy = spectrum.event_energy(&made.clips[at].samples);
            let within = |from: f64, to: f64| {
                let spans = bands.spans_hz();
                spans.iter().zip(&energy).filter(|(s, _)| s.0 > from && s.1 < to).map(|(_, e)| e).sum::<f64>()
            };
            within(7e3, 14.5e3) / within(500.0, 2e3)
        };
        power_db(tilt("b") / tilt("a")).expect("sound")
    };
    let (as_recorded, equal) = (tilt_db(Condition::AsRecorded), tilt_db(Condition::EqualSpectrum));
    assert!(as_recorded < -1.5, "{as_recorded}");
    assert!(equal.abs() < 0.3 * as_recorded.abs(), "{equal} against {as_recorded}");
}

#[test]
fn a_microphone_with_a_filter_takes_part_beside_the_one_that_it_becomes_like() {
    let samples = hits(48_000, 3, &every_second(), 14.0);
    // What the second one does to the sound: a filter of two taps.
    let dull = |x: &[f32]| -> Vec<f32> {
        (0..x.len()).map(|i| if i == 0 { 0.0 } else { 0.6 * x[i] + 0.4 * x[i - 1] }).collect()
    };
    let takes = [take("a", 1, samples.clone()), take("b", 1, dull(&samples))];
    let found = found(&takes, Playing::Percussive);
    let filtered = Contestant { key: "a like b".into(), of: "a".into(), filter: vec![0.6, 0.4] };
    let cut = |mics: &[&str]| {
        let mics = mics.iter().map(|m| m.to_string()).collect();
        let asked = WantedExcerpts { mics, contestants: vec![filtered.clone()], ..wanted(2.0) };
        equal_excerpts(&takes, &found.measures, &found.findings, "drum", &asked).expect("cut")
    };
    let made = cut(&["a", "b"]);
    assert_equal(&made);
    assert_eq!(made.clips.len(), 12);
    let of = |mic: &str, sound: u32| {
        let at = made.material.excerpts.iter().position(|e| e.mic == mic && e.sound == sound).expect("there");
        &made.clips[at].samples
    };
    for e in made.material.excerpts.iter().filter(|e| e.mic == "a like b") {
        let apart =
            |x: &[f32], y: &[f32]| x.iter().zip(y).map(|(x, y)| f64::from(x - y).powi(2)).sum::<f64>();
        let (plain, filtered, other) = (of("a", e.sound), of("a like b", e.sound), of("b", e.sound));
        // The same but for the fades, which lie before the filter in one and behind it in the other.
        assert!(apart(filtered, other) < 1e-4 * apart(plain, other), "{}", apart(filtered, other));
    }
    // The one that is filtered need not take part itself.
    let without = cut(&["b"]);
    let mut keys: Vec<&str> = without.material.excerpts.iter().map(|e| e.mic.as_str()).collect();
    keys.dedup();
    assert_eq!(keys, ["b", "a like b"]);
    let asked = Asked {
        kind: Kind::Which,
        mics: vec!["a like b".into(), "b".into()],
        n_trials: 16,
        n_control: 0,
        n_catch: 0,
        look_after: Vec::new(),
        n_sittings: None,
    };
    assert!(Plan::new(asked, without.material).is_ok());
}

#[test]
fn what_was_played_in_turn_is_no_same_sound_though_the_reference_is_not_among_them() {
    let seeds = [3, 4, 5];
    let played = |seed: u64| hits(48_000, seed, &every_second(), 14.0);
    let takes = |performances: [u32; 3]| {
        let of =
            |i: usize| take(["a", "b", "c"][i], performances[i], played(seeds[performances[i] as usize - 1]));
        [of(0), of(1), of(2)]
    };
    let paired_of = |takes: &[Take], mics: &[&str], of: Option<&str>| {
        let found = found(takes, Playing::Percussive);
        assert!(
            found.findings.comparisons.iter().all(|c| c.reference == "a"),
            "the reference is not asked for"
        );
        let filtered = of.map(|of| Contestant { key: format!("{of}~a"), of: of.into(), filter: vec![1.0] });
        let mics = mics.iter().map(|m| m.to_string()).collect();
        let asked = WantedExcerpts { mics, contestants: filtered.into_iter().collect(), ..wanted(1.0) };
        let made = equal_excerpts(takes, &found.measures, &found.findings, "drum", &asked).expect("cut");
        made.material.paired
    };
    let in_turn = takes([1, 2, 3]);
    for (mics, of) in [(vec!["b", "c"], None), (vec!["c"], Some("b")), (vec!["a"], Some("b"))] {
        assert_eq!(paired_of(&in_turn, &mics, of), Paired::PlayedAgain, "{mics:?} {of:?}");
    }
    // One microphone and itself with a filter: at whatever playing, both hear it.
    for mic in ["a", "b"] {
        assert_eq!(paired_of(&in_turn, &[mic], Some(mic)), Paired::SameSound, "{mic}");
    }
    let together = takes([1, 1, 1]);
    for (mics, of) in [(vec!["b", "c"], None), (vec!["c"], Some("b")), (vec!["a"], Some("c"))] {
        assert_eq!(paired_of(&together, &mics, of), Paired::SameSound, "{mics:?} {of:?}");
    }
}
