//! Tests: what is no test is refused with advice, and the power is said beforehand.

use super::*;
use crate::testing::{in_turn, together};

fn asked(kind: Kind, mics: &[&str]) -> Asked {
    let mics = mics.iter().map(ToString::to_string).collect();
    Asked { kind, mics, n_trials: 16, n_control: 0, n_catch: 0, look_after: Vec::new(), n_sittings: None }
}

fn refused(asked: Asked, material: Material) -> String {
    let e = Plan::new(asked, material).expect_err("no test");
    assert!(!e.hint.is_empty());
    e.to_string()
}

#[test]
fn what_is_no_test_is_refused_in_words() {
    let two = ["moorhen", "heron"];
    assert!(
        refused(asked(Kind::Which, &["moorhen", "heron", "plover"]), together(4)).contains("3 microphones")
    );
    assert!(refused(asked(Kind::Liking, &["moorhen"]), together(4)).contains("one microphone does not make"));
    assert!(refused(asked(Kind::Prefer, &["heron", "heron"]), together(4)).contains("named twice"));
    assert!(refused(asked(Kind::Which, &["moorhen", "grebe"]), together(4)).contains("no excerpt by grebe"));
    // One hit of each pass leaves no other to be the unknown.
    assert!(refused(asked(Kind::Which, &two), in_turn(1)).contains("cannot be set against each other"));
    let with = |f: fn(&mut Asked)| {
        let mut a = asked(Kind::Which, &two);
        f(&mut a);
        a
    };
    assert!(refused(with(|a| a.n_trials = 0), together(4)).contains("0 trials"));
    assert!(refused(with(|a| a.n_trials = 500), together(4)).contains("500 trials"));
    assert!(refused(with(|a| a.n_control = 4), together(4)).contains("two passes"));
    assert!(refused(with(|a| a.look_after = vec![20]), together(4)).contains("beyond the last"));
    assert!(refused(with(|a| a.look_after = vec![8, 8]), together(4)).contains("ascend"));
    let both = with(|a| {
        a.look_after = vec![8];
        a.n_control = 4;
    });
    assert!(refused(both, in_turn(4)).contains("runs to its end"));
    let prefer = Asked { look_after: vec![8], ..asked(Kind::Prefer, &two) };
    assert!(refused(prefer, together(4)).contains("right answers"));
}

#[test]
fn the_control_is_by_placements_where_all_were_placed_again() {
    let a = Asked { n_control: 4, ..asked(Kind::Which, &["moorhen", "heron"]) };
    let plan = Plan::new(a.clone(), in_turn(3)).expect("a test");
    assert_eq!(plan.control(), Some(Control::Placements));
    let mut passes = in_turn(3);
    passes.excerpts.iter_mut().for_each(|e| e.placement = 1);
    assert_eq!(Plan::new(a, passes).expect("a test").control(), Some(Control::Passes));
}

#[test]
fn the_power_is_known_before_the_start() {
    let plan = Plan::new(asked(Kind::Which, &["moorhen", "heron"]), together(4)).expect("a test");
    // Exact: 12 of 16 are needed; what is found in four of five tests is heard in so much more than half of trials.
    let share = plan.finds_share(1).expect("enough trials");
    assert!((0.5..0.75).contains(&share), "{share}");
    assert!(plan.finds_share(10).expect("more trials") < share);
    let n = trials_that_find(Kind::Which, share).expect("can be found");
    // 16 reach it just; numbers that are not multiples may need a few more, since hits are whole.
    assert!((16..=24).contains(&n), "{n}");
    assert_eq!(trials_that_find(Kind::Liking, 0.5), None);
}
