//! Tests: draws are fair and independent, sides balanced, the unknown is never what was presented, the seal holds.

use super::*;
use crate::plan::Asked;
use crate::testing::{in_turn, plan, rng, together};

fn asked(kind: Kind, n: u32) -> Asked {
    let mics = vec!["moorhen".to_string(), "heron".to_string()];
    Asked { kind, mics, n_trials: n, n_control: 0, n_catch: 0, look_after: Vec::new(), n_sittings: None }
}

fn mic(plan: &Plan, slot: &Slot) -> String {
    plan.material().excerpts[slot.excerpt].mic.clone()
}

#[test]
fn the_unknown_is_a_fair_draw_in_each_trial_and_the_number_of_each_is_not_balanced() {
    let plan = plan(asked(Kind::Which, 16), together(6));
    let mut rng = rng(1);
    let mut n_of_heron = [0u32; 17];
    let mut n_same_as_before = 0;
    const N: u32 = 4000;
    for _ in 0..N {
        let key = Key::draw(&plan, &mut rng);
        let unknown: Vec<bool> = key.trials.iter().map(|t| mic(&plan, &t.slots[2]) == "heron").collect();
        n_of_heron[unknown.iter().filter(|h| **h).count()] += 1;
        n_same_as_before += unknown.windows(2).filter(|w| w[0] == w[1]).count() as u32;
        let left = key.trials.iter().filter(|t| mic(&plan, &t.slots[0]) == "heron").count();
        assert_eq!(left, 8, "sides are balanced");
        for t in &key.trials {
            assert_ne!(mic(&plan, &t.slots[0]), mic(&plan, &t.slots[1]));
            assert_eq!(mic(&plan, &t.slots[t.right.expect("is right")]), mic(&plan, &t.slots[2]));
        }
    }
    // Binomial: 12 or more of 16 in 2517/65536 of keys; four standard errors. A balanced key has none.
    let expected = 2517.0 / 65536.0;
    let found = f64::from(n_of_heron[12..].iter().sum::<u32>()) / f64::from(N);
    assert!((found - expected).abs() < 4.0 * (expected / f64::from(N)).sqrt(), "{found} {expected}");
    // Independent: the one before says nothing.
    let pairs = f64::from(N * 15);
    assert!((f64::from(n_same_as_before) / pairs - 0.5).abs() < 4.0 * 0.5 / pairs.sqrt());
}

#[test]
fn the_right_place_says_nothing_about_the_excerpts_presented() {
    // Whoever knows everything presented on the left and right is right half of the time.
    let plan = plan(asked(Kind::Which, 50), in_turn(4));
    let mut rng = rng(2);
    let mut by_left = std::collections::BTreeMap::<usize, [u32; 2]>::new();
    for _ in 0..200 {
        for t in Key::draw(&plan, &mut rng).trials {
            by_left.entry(t.slots[0].excerpt).or_default()[t.right.expect("is right")] += 1;
        }
    }
    // Of the two microphones asked for; the third one is not.
    assert_eq!(by_left.len(), 16, "every excerpt is presented");
    for (excerpt, [left, right]) in by_left {
        let n = f64::from(left + right);
        assert!((f64::from(left) / n - 0.5).abs() < 4.5 * 0.5 / n.sqrt(), "{excerpt}: {left} {right}");
    }
}

#[test]
fn what_was_played_again_is_never_presented_twice_and_stays_in_its_pass() {
    let mut rng = rng(3);
    for kind in [Kind::Which, Kind::OddOne] {
        let mut asked = asked(kind, 40);
        asked.n_control = 20;
        asked.n_catch = 5;
        let plan = plan(asked, in_turn(3));
        for t in Key::draw(&plan, &mut rng).trials {
            let mut excerpts: Vec<usize> = t.slots.iter().map(|s| s.excerpt).collect();
            excerpts.sort_unstable();
            excerpts.dedup();
            let pass = |s: &Slot| {
                let e = &plan.material().excerpts[s.excerpt];
                (e.mic.clone(), e.placement, e.performance)
            };
            let mut passes: Vec<_> = t.slots.iter().map(pass).collect();
            passes.sort();
            passes.dedup();
            match t.role {
                Role::Catch => assert_eq!(excerpts.len(), 1),
                _ => assert_eq!((excerpts.len(), passes.len()), (3, 2)),
            }
            let mut mics: Vec<String> = t.slots.iter().map(|s| mic(&plan, s)).collect();
            mics.sort();
            mics.dedup();
            assert_eq!(mics.len(), if t.role == Role::Looked { 2 } else { 1 });
        }
    }
}

#[test]
fn sounds_recorded_at_once_are_presented_together_under_names_of_their_own() {
    let mut rng = rng(4);
    let plan = plan(asked(Kind::OddOne, 60), together(5));
    let key = Key::draw(&plan, &mut rng);
    let mut names: Vec<&String> = key.trials.iter().flat_map(|t| &t.slots).map(|s| &s.name).collect();
    for t in &key.trials {
        let sounds: Vec<u32> = t.slots.iter().map(|s| plan.material().excerpts[s.excerpt].sound).collect();
        assert!(sounds.iter().all(|s| *s == sounds[0]));
        let right = t.right.expect("is right");
        let others: Vec<String> = (0..3).filter(|i| *i != right).map(|i| mic(&plan, &t.slots[i])).collect();
        assert!(others[0] == others[1] && others[0] != mic(&plan, &t.slots[right]));
    }
    let mut n_right = [0; 3];
    key.trials.iter().for_each(|t| n_right[t.right.expect("is right")] += 1);
    assert!(n_right.iter().all(|n| *n > 5), "{n_right:?}");
    names.sort();
    names.dedup();
    assert_eq!(names.len(), 180);
    assert!(names.iter().all(|n| n.len() == 32 && n.bytes().all(|b| b.is_ascii_hexdigit())));
}

#[test]
fn the_hidden_copy_lies_anywhere_and_is_another_playing_where_all_was_played_again() {
    let mut rng = rng(5);
    for material in [together(4), in_turn(4)] {
        let paired = material.paired;
        let plan = plan(asked(Kind::Likeness, 60), material);
        let mut places = [0; 2];
        for t in Key::draw(&plan, &mut rng).trials {
            let hidden = t.right.expect("a hidden copy");
            places[hidden] += 1;
            assert_eq!(mic(&plan, &t.slots[0]), "moorhen");
            assert_eq!(mic(&plan, &t.slots[1 + hidden]), "moorhen");
            assert_eq!(t.slots[0].excerpt == t.slots[1 + hidden].excerpt, paired == Paired::SameSound);
        }
        assert!(places.iter().all(|n| *n > 12), "{places:?}");
    }
}

#[test]
fn a_seal_opens_for_its_own_text_alone() {
    let mut rng = rng(6);
    let plan = plan(asked(Kind::Which, 8), together(4));
    let key = Key::draw(&plan, &mut rng);
    let (seal, text) = (key.seal(&plan), key.text(&plan));
    assert_eq!(seal.len(), 64);
    assert!(opens(&seal, &text));
    assert!(!opens(&seal, &text.replacen("left", "Left", 1)));
    assert!(text.contains(&format!("nonce {}", key.nonce)) && key.nonce.len() == 64);
    assert_eq!(text.lines().filter(|l| l.contains("right = ")).count(), 8);
    // The same trials under another nonce have another seal: it cannot be found by trying the few keys that there are.
    let other = Key { nonce: "0".repeat(64), trials: key.trials.clone() };
    assert_ne!(other.seal(&plan), seal);
    // Exact: the digest of "abc" in FIPS 180-4.
    assert!(opens("ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad", "abc"));
}
