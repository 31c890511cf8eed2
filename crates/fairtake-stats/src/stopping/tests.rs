//! Tests: the rule keeps its error rate by counting and by simulation, and its interval covers.

use super::*;
use crate::binomial::{clopper_pearson, fewest_hits};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;
use rand_distr::{Bernoulli, Distribution};

fn rule(guess: f64, looks: &[u64]) -> StoppingRule {
    StoppingRule::new(Question { guess, alpha: 0.05 }, looks).expect("ascending")
}

/// Where one made listener ends.
fn run(rule: &StoppingRule, hit: f64, rng: &mut ChaCha8Rng) -> (u64, u64, Says) {
    let coin = Bernoulli::new(hit).expect("a chance");
    let (mut n_trials, mut n_hits) = (0, 0);
    loop {
        n_trials += 1;
        n_hits += u64::from(coin.sample(rng));
        match rule.says(n_trials, n_hits) {
            Says::GoOn => {}
            says => return (n_trials, n_hits, says),
        }
    }
}

#[test]
fn one_look_is_the_plain_exact_test() {
    for n in [5, 16, 40] {
        let rule = rule(0.5, &[n]);
        assert_eq!(rule.looks()[0].fewest_hits, fewest_hits(n, 0.5, 0.05));
        for n_hits in [0, n / 2, n - 1, n] {
            let found = rule.interval(n, n_hits, 0.95).expect("an end");
            let plain = clopper_pearson(n_hits, n, 0.95).expect("trials");
            // Bisection ends below 1e-15; the beta quantile is good to 1e-9.
            assert!((found.low - plain.low).abs() < 1e-8 && (found.high - plain.high).abs() < 1e-8);
        }
    }
}

#[test]
fn looking_often_does_not_let_guessing_pass_more_often() {
    for (guess, looks) in [
        (0.5, vec![8, 12, 16, 20, 24]),
        (0.5, (5..=60).collect::<Vec<u64>>()),
        (1.0 / 3.0, vec![6, 12, 18, 24, 30]),
    ] {
        let rule = rule(guess, &looks);
        let (shown, _) = rule.outcome(guess);
        assert!(shown <= 0.05, "by counting: {shown}");
        // The rule is worth having: a listener who is nearly always right ends early.
        let (finds, n_average) = rule.outcome(0.95);
        assert!(finds > 0.95 && n_average < 0.7 * rule.most_trials() as f64, "{finds} {n_average}");
        const N: u32 = 20_000;
        let mut rng = ChaCha8Rng::seed_from_u64(3);
        let n_shown = (0..N).filter(|_| run(&rule, guess, &mut rng).2 == Says::Shown).count();
        // Four standard errors around what counting says.
        let error = 4.0 * (shown * (1.0 - shown) / f64::from(N)).sqrt();
        assert!(
            (n_shown as f64 / f64::from(N) - shown).abs() < error,
            "{n_shown} of {N}, by counting {shown}"
        );
    }
}

#[test]
fn stopping_at_the_first_small_p_would_not_keep_it() {
    // What the rule is for: looking after every trial with the plain bound passes guessing several times as often.
    let plain: Vec<Look> =
        (5..=60).map(|n_trials| Look { n_trials, fewest_hits: fewest_hits(n_trials, 0.5, 0.05) }).collect();
    let naive = StoppingRule { question: Question { guess: 0.5, alpha: 0.05 }, looks: plain };
    assert!(naive.outcome(0.5).0 > 0.15, "{}", naive.outcome(0.5).0);
}

#[test]
fn intervals_after_an_early_end_cover_at_least_as_often_as_they_say() {
    let rule = rule(0.5, &[8, 12, 16, 20, 24]);
    let mut rng = ChaCha8Rng::seed_from_u64(4);
    const N: u32 = 1000;
    for hit in [0.5, 0.7, 0.9] {
        let n_covered = (0..N)
            .filter(|_| {
                let (n_trials, n_hits, _) = run(&rule, hit, &mut rng);
                let found = rule.interval(n_trials, n_hits, 0.95).expect("an end");
                found.low <= hit && hit <= found.high
            })
            .count();
        // Four standard errors of a share of 0.95 among 1000 are 0.028.
        assert!(n_covered as f64 >= (0.95 - 0.028) * f64::from(N), "{n_covered} of {N} at {hit}");
    }
}

#[test]
fn small_p_and_shown_are_the_same() {
    let rule = rule(0.5, &[8, 12, 16]);
    for n_hits in 0..=16 {
        let p = rule.p_value(16, n_hits).expect("an end");
        assert_eq!(rule.says(16, n_hits) == Says::Shown, p <= 0.05, "{n_hits}: {p}");
    }
    assert_eq!(rule.p_value(10, 9), None);
    assert!(StoppingRule::new(Question { guess: 0.5, alpha: 0.05 }, &[8, 8]).is_err());
    assert!(StoppingRule::new(Question { guess: 0.5, alpha: 0.05 }, &[]).is_err());
}
