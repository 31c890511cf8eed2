//! Tests: worths by counting, what has no estimate, and intervals where listeners differ. The published example stands in
//! `tests/outside_values/listening.rs`.

use super::*;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;
use rand_distr::{Bernoulli, Distribution, Normal};

fn judged(first: usize, second: usize, n_first: u64, n_second: u64) -> Judged {
    Judged { first, second, n_first, n_second }
}

#[test]
fn two_items_have_the_odds_that_were_counted() {
    let found = worths(2, &[judged(0, 1, 30, 10)], Order::Ignored).expect("both won");
    let (log_odds, error) = found.log_odds(0, 1);
    // Exact: ln(30/10), and the standard error of a log odds is √(1/30 + 1/10).
    assert!((log_odds - 3f64.ln()).abs() < 1e-10);
    assert!((error - (1.0 / 30.0 + 1.0 / 10.0f64).sqrt()).abs() < 1e-9, "{error}");
    assert!((found.shares()[0] - 0.75).abs() < 1e-10);
    assert!((found.chance(0, 1, 0.95)[0] - 0.75).abs() < 1e-10);
    let (low, high) = found.interval(0, 0.95);
    assert!((low + high - log_odds).abs() < 1e-9, "half the log odds lies on each side of the mean");
}

#[test]
fn the_place_of_presentation_can_be_told_from_the_worth() {
    // The first place wins three times as often, whichever item stands there: equal worths, odds of 3.
    let found = worths(2, &[judged(0, 1, 30, 10), judged(1, 0, 30, 10)], Order::Estimated).expect("both won");
    assert!(found.log_worth[0].abs() < 1e-10);
    assert!((found.order_effect.expect("estimated").0 - 3f64.ln()).abs() < 1e-9);
}

#[test]
fn what_always_won_has_no_finite_worth() {
    let never_lost = worths(3, &[judged(0, 1, 5, 0), judged(0, 2, 4, 0), judged(1, 2, 2, 2)], Order::Ignored);
    assert_eq!(never_lost, Err(NoWorths::Apart(vec![0])));
    assert_eq!(worths(2, &[], Order::Ignored), Err(NoWorths::Nothing));
    assert_eq!(worths(2, &[judged(0, 2, 1, 1)], Order::Ignored), Err(NoWorths::Nothing));
}

#[test]
fn listeners_who_always_agree_with_themselves_count_about_once() {
    // Twelve listeners, 40 judgements each, eight on one side and four on the other but for one judgement.
    let listeners: Vec<Vec<Judged>> =
        (0..12).map(|l| vec![if l < 8 { judged(0, 1, 39, 1) } else { judged(0, 1, 1, 39) }]).collect();
    let plain = worths(2, &listeners.concat(), Order::Ignored).expect("both won").log_odds(0, 1).1;
    let clustered = worths_of_listeners(2, &listeners, Order::Ignored).expect("both won").log_odds(0, 1).1;
    // Between independent judgements and one each the error grows by √40 = 6.3; by 5 at least here.
    assert!(clustered > 5.0 * plain, "{clustered} {plain}");
    // One listener alone: the model's error.
    let one = worths_of_listeners(2, &listeners[..1], Order::Ignored).expect("both won");
    assert_eq!(one, worths(2, &listeners[0], Order::Ignored).expect("both won"));
}

#[test]
fn intervals_cover_although_listeners_have_tastes_of_their_own() {
    // 16 listeners with log odds around 0.5, standard deviation 1; 8 judgements of each of three pairs.
    const N: usize = 400;
    let mut rng = ChaCha8Rng::seed_from_u64(8);
    let taste = Normal::new(0.0, 1.0).expect("a spread");
    let (mut n_covered, mut n_covered_plain) = (0, 0);
    // The average listener's chance is what is covered: of the logistic of a normal draw, by its mean over many draws.
    let truth = {
        let n = 200_000;
        (0..n).map(|_| logistic(0.5 + taste.sample(&mut rng))).sum::<f64>() / f64::from(n)
    };
    for _ in 0..N {
        let listeners: Vec<Vec<Judged>> = (0..16)
            .map(|_| {
                let coin = Bernoulli::new(logistic(0.5 + taste.sample(&mut rng))).expect("a chance");
                let n_first = (0..24).filter(|_| coin.sample(&mut rng)).count() as u64;
                vec![judged(0, 1, n_first, 24 - n_first)]
            })
            .collect();
        let covers = |w: &Worths| {
            let [_, low, high] = w.chance(0, 1, 0.95);
            usize::from(low <= truth && truth <= high)
        };
        n_covered += covers(&worths_of_listeners(2, &listeners, Order::Ignored).expect("both won"));
        n_covered_plain += covers(&worths(2, &listeners.concat(), Order::Ignored).expect("both won"));
    }
    // 0.95 of 400 less four standard errors (0.011 each).
    assert!(n_covered >= 362, "{n_covered} of {N}");
    assert!(n_covered_plain < 340, "the plain interval covered {n_covered_plain} of {N}");
}
