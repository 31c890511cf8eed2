//! Tests: answers once, in order, none after the end; what is stored comes back.

use super::*;
use crate::plan::Asked;
use crate::testing::{plan, rng, together};

fn a_plan(kind: Kind, n_trials: u32, look_after: Vec<u32>) -> Plan {
    let mics = ["moorhen", "heron"].map(String::from).to_vec();
    plan(Asked { kind, mics, n_trials, n_control: 0, n_catch: 0, look_after, n_sittings: None }, together(4))
}

fn chose(n: usize) -> Answer {
    Answer { given: Given::Choice(n), comment: String::new() }
}

#[test]
fn answers_are_taken_once_in_order_and_never_after_the_end() {
    let plan = a_plan(Kind::Which, 3, Vec::new());
    let mut sitting = Sitting::begin(Key::draw(&plan, &mut rng(1)));
    assert_eq!(sitting.check(&plan, 1, &chose(0)), Err(Refused::NotYet { trial: 1, awaited: 0 }));
    for trial in 0..3 {
        assert_eq!(sitting.awaited(), Some(trial));
        sitting.check(&plan, trial, &chose(1)).expect("awaited");
        sitting.take(&plan, chose(1));
        let again = sitting.check(&plan, trial, &chose(0));
        assert_eq!(again, Err(Refused::Again { trial }));
    }
    assert_eq!((sitting.state(), sitting.awaited()), (State::Done, None));
    assert_eq!(sitting.check(&plan, 3, &chose(0)), Err(Refused::Ended));
    assert_eq!(sitting.check(&plan, 99, &chose(0)), Err(Refused::Ended));
    sitting.leave();
    assert_eq!(sitting.state(), State::Done, "whoever is done cannot leave any more");
}

#[test]
fn what_is_no_answer_to_the_question_is_refused() {
    let sitting = |kind| {
        let plan = a_plan(kind, 2, Vec::new());
        let key = Key::draw(&plan, &mut rng(2));
        (plan, Sitting::begin(key))
    };
    let rated = |all: &[u8]| Answer { given: Given::Ratings(all.to_vec()), comment: String::new() };
    let refused = |kind, answer: Answer| {
        let (plan, sitting) = sitting(kind);
        matches!(sitting.check(&plan, 0, &answer), Err(Refused::NoAnswer { .. }))
    };
    assert!(
        refused(Kind::Which, chose(2)) && refused(Kind::OddOne, chose(3)) && !refused(Kind::OddOne, chose(2))
    );
    assert!(refused(Kind::Which, rated(&[1, 2])) && refused(Kind::Liking, chose(0)));
    assert!(refused(Kind::Liking, rated(&[1])) && refused(Kind::Liking, rated(&[1, 101])));
    assert!(!refused(Kind::Liking, rated(&[0, 100])) && !refused(Kind::Likeness, rated(&[50, 50])));
    let long = Answer { given: Given::Choice(0), comment: "x".repeat(MOST_COMMENT + 1) };
    assert!(refused(Kind::Prefer, long));
}

#[test]
fn a_listener_who_is_always_right_ends_early_and_one_who_leaves_is_kept() {
    let plan = a_plan(Kind::Which, 24, vec![8, 12, 16]);
    let mut sitting = Sitting::begin(Key::draw(&plan, &mut rng(3)));
    while let Some(trial) = sitting.awaited() {
        let right = sitting.key().trials[trial].right.expect("is right");
        sitting.take(&plan, chose(right));
    }
    assert!(sitting.answers().len() < 24, "{}", sitting.answers().len());
    assert_eq!(sitting.tally(Role::Looked), (sitting.answers().len() as u64, sitting.answers().len() as u64));
    let mut leaves = Sitting::begin(Key::draw(&plan, &mut rng(4)));
    leaves.take(&plan, chose(0));
    leaves.leave();
    assert_eq!((leaves.state(), leaves.answers().len()), (State::Left, 1));
    assert_eq!(leaves.check(&plan, 1, &chose(0)), Err(Refused::Ended));
}

#[test]
fn a_sitting_that_was_stored_goes_on_where_it_stood() {
    let plan = a_plan(Kind::Prefer, 4, Vec::new());
    let key = Key::draw(&plan, &mut rng(5));
    let mut sitting = Sitting::begin(key.clone());
    sitting.take(&plan, chose(1));
    sitting.take(&plan, chose(0));
    let stored = serde_json::to_string(&(plan.clone(), &key, sitting.answers())).expect("can be stored");
    let (plan_again, key_again, answers): (Plan, Key, Vec<Answer>) =
        serde_json::from_str(&stored).expect("can be read");
    assert_eq!(plan_again, plan);
    assert_eq!(Sitting::resume(&plan_again, key_again, answers, false), Ok(sitting));
    let too_many = vec![chose(0); 5];
    assert_eq!(Sitting::resume(&plan, key, too_many, false), Err(Refused::Ended));
}
