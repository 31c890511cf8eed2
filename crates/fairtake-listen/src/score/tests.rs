//! Tests: made listeners of known ability are judged as they should be, and sentences say no more than that.

use super::*;
use crate::key::Key;
use crate::plan::Asked;
use crate::simulated::Listener;
use crate::sitting::{Answer, Given};
use crate::testing::{in_turn, plan, rng, together};
use rand_chacha::ChaCha20Rng;

fn asked(kind: Kind, n_mics: usize, n_trials: u32, n_control: u32) -> Asked {
    let mics = ["moorhen", "heron", "plover"][..n_mics].iter().map(ToString::to_string).collect();
    Asked { kind, mics, n_trials, n_control, n_catch: 2, look_after: Vec::new(), n_sittings: None }
}

fn name(key: &str) -> String {
    key.to_uppercase()
}

fn sittings(plan: &Plan, listeners: &[Listener], rng: &mut ChaCha20Rng) -> Vec<Sitting> {
    listeners.iter().map(|l| l.sits(plan, Key::draw(plan, rng), rng)).collect()
}

fn hits(score: &Score) -> &Hits {
    match &score.shown {
        Some(Shown::Hits(hits)) => hits,
        other => panic!("no hits: {other:?}"),
    }
}

/// A sitting with exactly so many right answers among those that count.
fn with_right(plan: &Plan, n_right: u64, rng: &mut ChaCha20Rng) -> Sitting {
    let mut sitting = Sitting::begin(Key::draw(plan, rng));
    while let Some(t) = sitting.awaited() {
        let trial = &sitting.key().trials[t];
        let right = trial.right.expect("is right");
        let is_right = trial.role == crate::Role::Looked && sitting.tally(crate::Role::Looked).0 < n_right;
        let given = Given::Choice(if is_right { right } else { 1 - right });
        sitting.take(plan, Answer { given, comment: String::new() });
    }
    sitting
}

#[test]
fn nine_of_sixteen_are_not_shown_and_the_words_say_what_that_leaves_open() {
    let plan = plan(asked(Kind::Which, 2, 16, 0), together(6));
    let sitting = with_right(&plan, 9, &mut rng(1));
    let score = score(&plan, &[sitting], &name, 1);
    let found = hits(&score);
    assert_eq!((found.outcome, found.looked), (HitOutcome::NotShown, Tally { hits: 9, trials: 16 }));
    let exact = fairtake_stats::binomial::clopper_pearson(9, 16, 0.95).expect("trials");
    assert_eq!((found.share_low, found.share_high), (exact.low, exact.high));
    assert!((found.heard[2] - (2.0 * exact.high - 1.0)).abs() < 1e-12);
    let words = score.says.join(" ");
    assert!(words.contains("9 of 16") && words.contains("not shown to be heard"), "{words}");
    assert!(words.contains(&format!("up to {:.0} %", 100.0 * found.heard[2])), "{words}");
    let not = score.does_not_say.join(" ");
    assert!(
        not.contains("does not show that there is nothing to hear") && not.contains("four of five"),
        "{not}"
    );
    assert!(not.contains("Microphone and place are not told apart"), "{not}");
}

#[test]
fn twelve_of_sixteen_are_heard_and_five_of_five_too() {
    let right = |n: u32, n_right: u64| {
        let plan = plan(asked(Kind::Which, 2, n, 0), together(6));
        let sitting = with_right(&plan, n_right, &mut rng(2));
        hits(&score(&plan, &[sitting], &name, 1)).outcome
    };
    assert_eq!([right(16, 12), right(5, 5)], [HitOutcome::Heard; 2]);
    assert_eq!([right(16, 11), right(5, 4), right(4, 4)], [HitOutcome::NotShown; 3]);
}

#[test]
fn what_is_heard_in_the_control_as_well_is_not_the_microphone() {
    let plan = plan(asked(Kind::Which, 2, 30, 30), in_turn(6));
    let mut rng = rng(3);
    let told = |hears_control: f64, rng: &mut ChaCha20Rng| {
        let listener = Listener { hears: 0.95, hears_control, ..Listener::guessing(2) };
        score(&plan, &sittings(&plan, &[listener], rng), &name, 1)
    };
    let by_playing = told(0.95, &mut rng);
    assert_eq!(hits(&by_playing).outcome, HitOutcome::NotMoreThanControl);
    assert!(by_playing.says.join(" ").contains("not shown more easily than two passes of one microphone"));
    let by_microphone = told(0.0, &mut rng);
    assert_eq!(hits(&by_microphone).outcome, HitOutcome::Heard);
    assert!(by_microphone.says.join(" ").contains("more than that between two placements"));
}

#[test]
fn without_a_control_takes_played_in_turn_are_told_apart_and_not_heard() {
    let right = |material| {
        let plan = plan(asked(Kind::Which, 2, 16, 0), material);
        let sitting = with_right(&plan, 15, &mut rng(2));
        score(&plan, &[sitting], &name, 1)
    };
    let in_turn = right(in_turn(6));
    assert_eq!(hits(&in_turn).outcome, HitOutcome::ToldApart);
    assert!(
        in_turn.says.join(" ").contains("by the microphones or by the playing is not known"),
        "{:?}",
        in_turn.says
    );
    assert_eq!(hits(&right(together(6))).outcome, HitOutcome::Heard);
    let equal = right(crate::Material { has_equal_spectra: true, ..together(6) });
    assert!(equal.says[0].contains("equal spectra"), "{:?}", equal.says);
}

#[test]
fn several_sittings_that_may_end_early_say_what_was_counted_and_cover_the_truth() {
    let mut rng = rng(9);
    let look_after = vec![8, 12, 16, 20, 24];
    let plan = plan(Asked { look_after, ..asked(Kind::Which, 2, 24, 0) }, together(6));
    let listener = Listener { hears: 0.5, ..Listener::guessing(2) };
    const N: usize = 60;
    let n_held = (0..N)
        .filter(|_| {
            let found = score(&plan, &sittings(&plan, &vec![listener.clone(); 100], &mut rng), &name, 1);
            let h = hits(&found);
            assert!(
                found.says[0]
                    .contains(&format!("{} of 100 sittings ended as", h.n_shown.expect("is counted")))
            );
            assert!(
                found.does_not_say.join(" ").contains("fixed beforehand") && h.would_have_found.is_none()
            );
            // Half heard, half of the rest guessed right.
            (h.share_low..=h.share_high).contains(&0.75)
        })
        .count();
    // 0.95 of 60, less three standard errors; shares of whole sittings, long and short alike, held half of them.
    assert!(n_held >= 52, "{n_held} of {N}");
}

#[test]
fn a_microphone_that_is_the_copy_is_not_put_below_it_by_the_screening() {
    let mut rng = rng(10);
    let plan = crate::testing::plan(asked(Kind::Likeness, 3, 1, 0), together(6));
    const N: usize = 200;
    // All three are rated alike, so that screening by the copy alone would favour it.
    let listener = Listener { taste: vec![0.0; 3], ..Listener::guessing(3) };
    let n_below = (0..N)
        .filter(|_| {
            let found = score(&plan, &sittings(&plan, &vec![listener.clone(); 30], &mut rng), &name, 1);
            let Some(Shown::Rating(r)) = found.shown else { panic!("no rating") };
            r.rated.iter().any(|m| m.p_copy.is_some_and(|p| p <= 0.05))
        })
        .count();
    // 0.05 of 200 and four standard errors.
    assert!(n_below <= 22, "{n_below} of {N}");
}

#[test]
fn guessing_is_called_heard_no_more_often_than_said_by_many_listeners_too() {
    let mut rng = rng(4);
    for (kind, n_listeners, looks) in [
        (Kind::Which, 1, vec![]),
        (Kind::OddOne, 4, vec![]),
        (Kind::Which, 1, vec![8, 12]),
        (Kind::Which, 6, vec![8, 12]),
    ] {
        let plan = plan(Asked { look_after: looks, ..asked(kind, 2, 16, 0) }, together(6));
        const N: u32 = 600;
        let n_heard = (0..N)
            .filter(|_| {
                let all = vec![Listener::guessing(2); n_listeners];
                hits(&score(&plan, &sittings(&plan, &all, &mut rng), &name, 1)).outcome == HitOutcome::Heard
            })
            .count();
        // 0.05 and four standard errors of it.
        assert!(
            n_heard as f64 / f64::from(N) < 0.05 + 4.0 * (0.05 * 0.95 / f64::from(N)).sqrt(),
            "{n_heard}"
        );
    }
}

#[test]
fn a_preference_is_found_and_a_listener_who_goes_round_in_circles_too() {
    let plan = plan(asked(Kind::Prefer, 3, 30, 0), together(6));
    let mut rng = rng(5);
    let of_taste = |taste: [f64; 3]| Listener { taste: taste.to_vec(), ..Listener::guessing(3) };
    let all = vec![of_taste([3.0, 0.0, -3.0]); 8];
    let found = score(&plan, &sittings(&plan, &all, &mut rng), &name, 1);
    let Some(Shown::Preference(p)) = &found.shown else { panic!("no preference") };
    assert_eq!(p.best.as_deref(), Some("moorhen"));
    assert_eq!((p.pairs.len(), p.left.trials, p.left_of_same.trials), (3, 240, 16));
    assert!(p.pairs.iter().all(|pair| pair.preferred.trials == 80));
    assert_eq!(p.worths.first().map(|w| w.mic.as_str()), Some("moorhen"));
    assert!((p.worths.iter().map(|w| w.share).sum::<f64>() - 1.0).abs() < 1e-9);
    assert!(
        p.each.len() == 8
            && p.each.iter().all(|o| o.consistence == Some(1.0))
            && p.repeated.hits * 10 > p.repeated.trials * 8
    );
    assert!(found.says.iter().any(|s| s.contains("MOORHEN was preferred to every other one")));
    let nobody = score(&plan, &sittings(&plan, &vec![of_taste([0.0; 3]); 8], &mut rng), &name, 1);
    let Some(Shown::Preference(p)) = &nobody.shown else { panic!("no preference") };
    assert_eq!(p.best, None);
    assert!(nobody.does_not_say.iter().any(|s| s.contains("does not mean that all are liked equally")));
}

#[test]
fn ratings_give_medians_and_leave_out_whoever_misses_the_hidden_copy() {
    let plan = plan(asked(Kind::Likeness, 3, 10, 0), together(6));
    let mut rng = rng(6);
    let careful = Listener { taste: vec![0.0, 2.0, 6.0], rating_sd: 3.0, ..Listener::guessing(3) };
    let careless = Listener { taste: vec![0.0; 3], rating_sd: 60.0, ..careful.clone() };
    let mut all = vec![careful; 9];
    all.push(careless);
    let found = score(&plan, &sittings(&plan, &all, &mut rng), &name, 1);
    let Some(Shown::Rating(r)) = &found.shown else { panic!("no rating") };
    assert_eq!((r.n_kept, r.n_screened), (9, 1));
    let medians: Vec<f64> = r.rated.iter().map(|m| m.median.expect("rated")).collect();
    assert!(
        medians[0] > 95.0 && (75.0..85.0).contains(&medians[1]) && (35.0..45.0).contains(&medians[2]),
        "{medians:?}"
    );
    // The rater who is left out of the medians has a say in the comparison with the copy, which screening would bias.
    let [more, fewer] = r.rated[2].below_copy.expect("is compared");
    assert!(r.rated[0].is_hidden_copy && more >= 9 && more + fewer == 10, "{more} {fewer}");
    assert!(r.rated.iter().all(|m| m.interval.is_some()) && r.concordance.expect("nine raters") > 0.9);
    assert!(found.says.iter().any(|s| s.contains("One rater was left out")), "{:?}", found.says);
    // Liking screens nobody.
    let liking = crate::testing::plan(asked(Kind::Liking, 3, 4, 0), together(6));
    let one = Listener { taste: vec![2.0, 0.0, 0.0], ..Listener::guessing(3) };
    let found = score(&liking, &sittings(&liking, &[one], &mut rng), &name, 1);
    let Some(Shown::Rating(r)) = &found.shown else { panic!("no rating") };
    assert_eq!((r.n_kept, r.n_screened, r.concordance), (1, 0, None));
    assert!(found.does_not_say.iter().any(|s| s.contains("no interval of a median")));
}

#[test]
fn open_sittings_tell_nothing_and_left_ones_are_reported() {
    let plan = plan(asked(Kind::Which, 2, 16, 0), together(6));
    let mut rng = rng(7);
    let open = Sitting::begin(Key::draw(&plan, &mut rng));
    let mut left = open.clone();
    left.take(&plan, Answer { given: Given::Choice(0), comment: String::new() });
    left.leave();
    let nothing = score(&plan, &[open.clone(), left.clone()], &name, 1);
    assert_eq!((nothing.shown, nothing.sittings), (None, Counted { done: 0, left: 1, open: 1, deleted: 0 }));
    let done = with_right(&plan, 12, &mut rng);
    let found = score(&plan, &[open, left, done], &name, 1);
    assert_eq!(hits(&found).looked.trials, 16);
    assert!(hits(&found).left.trials <= 1);
    assert!(found.says.iter().any(|s| s.contains("1 more was left before the end")));
}

#[test]
fn each_listener_s_preferences_stand_by_themselves() {
    let plan = plan(asked(Kind::Prefer, 3, 30, 0), together(6));
    let mut rng = rng(11);
    let sure = Listener { taste: vec![9.0, 0.0, -9.0], ..Listener::guessing(3) };
    // Always the left one: what comes again on the other side is answered otherwise.
    let mut lefty = Sitting::begin(Key::draw(&plan, &mut rng));
    while lefty.awaited().is_some() {
        lefty.take(&plan, Answer { given: Given::Choice(0), comment: String::new() });
    }
    let mut all = sittings(&plan, &[sure], &mut rng);
    all.push(lefty);
    let found = score(&plan, &all, &name, 1);
    let Some(Shown::Preference(p)) = &found.shown else { panic!("no preference") };
    let [sure, lefty] = p.each.as_slice() else { panic!("two sittings") };
    // Thirty judgements of three pairs: three are first ones.
    assert_eq!((sure.repeated, sure.consistence), (Tally { hits: 27, trials: 27 }, Some(1.0)));
    assert_eq!(lefty.left, Tally { hits: 30, trials: 30 });
    assert!(lefty.repeated.trials == 27 && lefty.repeated.hits < 20, "{lefty:?}");
    assert_eq!(p.repeated.hits, sure.repeated.hits + lefty.repeated.hits);
    // Two microphones cannot go round in a circle.
    let two = crate::testing::plan(asked(Kind::Prefer, 2, 6, 0), together(6));
    let one = Listener { taste: vec![9.0, 0.0], ..Listener::guessing(2) };
    let found = score(&two, &sittings(&two, &[one], &mut rng), &name, 1);
    let Some(Shown::Preference(p)) = &found.shown else { panic!("no preference") };
    assert_eq!((p.each[0].consistence, p.each[0].repeated), (None, Tally { hits: 5, trials: 5 }));
}

#[test]
fn a_number_of_sittings_that_was_fixed_is_held_against_what_came_of_it() {
    let says = |fixed: Option<u32>, n_done: usize, n_deleted: u64| {
        let plan = plan(Asked { n_sittings: fixed, ..asked(Kind::Which, 2, 8, 0) }, together(6));
        let mut rng = rng(12);
        let all: Vec<Sitting> = (0..n_done).map(|_| with_right(&plan, 5, &mut rng)).collect();
        let found = score(&plan, Sittings { kept: &all, n_deleted }, &name, 1);
        (found.says.join(" "), found.does_not_say.join(" "))
    };
    let (_, not) = says(None, 3, 0);
    assert!(not.contains("supposes that the number of sittings was fixed beforehand"), "{not}");
    let (says_it, not) = says(Some(3), 3, 0);
    assert!(says_it.contains("3 sittings were fixed beforehand, and all have come to the end"), "{says_it}");
    assert!(!not.contains("beforehand"), "{not}");
    let (says_it, _) = says(Some(1), 1, 0);
    assert!(says_it.contains("1 sitting was fixed beforehand, and it has come to the end"), "{says_it}");
    let (_, not) = says(Some(5), 3, 0);
    assert!(
        not.contains("5 sittings were fixed beforehand and 3 came to the end: this is a look on the way"),
        "{not}"
    );
    let (_, not) = says(Some(3), 4, 0);
    assert!(not.contains("3 sittings were fixed beforehand, 4 came to the end"), "{not}");
    // Who deletes what does not suit and lets others come is found out.
    let (says_it, not) = says(Some(3), 3, 2);
    assert!(says_it.contains("2 sittings were deleted by whoever keeps this test"), "{says_it}");
    assert!(not.contains("and 2 were deleted: how often guessing does as well is known only"), "{not}");
    let (says_it, _) = says(None, 0, 1);
    assert!(says_it.contains("1 sitting was deleted"), "{says_it}");
    for n in [0, 10_001] {
        let refused = Plan::new(Asked { n_sittings: Some(n), ..asked(Kind::Which, 2, 8, 0) }, together(6));
        assert!(refused.is_err(), "{n}");
    }
}

#[test]
fn hits_where_nobody_can_know_raise_an_alarm() {
    let plan = plan(Asked { n_catch: 10, ..asked(Kind::Which, 2, 6, 0) }, together(6));
    let mut rng = rng(8);
    let mut sitting = Sitting::begin(Key::draw(&plan, &mut rng));
    while let Some(t) = sitting.awaited() {
        let right = sitting.key().trials[t].right.expect("was drawn");
        sitting.take(&plan, Answer { given: Given::Choice(right), comment: String::new() });
    }
    let found = score(&plan, &[sitting], &name, 1);
    assert!(found.does_not_say.iter().any(|s| s.contains("not to be trusted")), "{:?}", found.does_not_say);
}
