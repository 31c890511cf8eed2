//! Planning trials that are right or wrong: how often an effect of a given size is found, how many trials that takes, and
//! which effect a given number would have missed.

use crate::binomial::{fewest_hits, tail_at_least};

/// No plan asks for more trials than this.
const MOST_TRIALS: u64 = 2000;

/// What a test of hits must keep.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Question {
    /// Chance of a hit by guessing, between 0 and 1: 1/2 for two choices, 1/3 for three.
    pub guess: f64,
    /// How often guessing alone may pass, at most.
    pub alpha: f64,
}

/// Chance that `n_trials` independent trials, each a hit with chance `hit`, pass the exact test. 0 where even all hits
/// would not.
///
/// # Source
/// Exact binomial tail. Cross-checked with scipy in `outside/listening.py`.
pub fn power(question: Question, n_trials: u64, hit: f64) -> f64 {
    fewest_hits(n_trials, question.guess, question.alpha)
        .map_or(0.0, |fewest| tail_at_least(fewest, n_trials, hit))
}

/// Fewest trials from which on at least `wanted` power is kept against `hit`, whatever greater number is taken: power
/// goes up and down with the number of trials, since hits are whole. `None` where more than 2000 would be needed.
pub fn trials_for(question: Question, hit: f64, wanted: f64) -> Option<u64> {
    let enough = |n: u64| power(question, n, hit) >= wanted;
    // Ups and downs are small against what doubling the number does: where a whole octave of numbers is enough, so is
    // every greater one.
    let mut most = 8;
    while !(most / 2..=most).all(enough) {
        if most == MOST_TRIALS {
            return None;
        }
        most = (2 * most).min(MOST_TRIALS);
    }
    Some((1..=most).rev().find(|n| !enough(*n)).unwrap_or(0) + 1)
}

/// The chance of a hit that `n_trials` trials would have found with chance `wanted`; anything smaller may well have been
/// missed. `None` where even a hit in every trial does not pass.
pub fn found_with(question: Question, n_trials: u64, wanted: f64) -> Option<f64> {
    let fewest = fewest_hits(n_trials, question.guess, question.alpha)?;
    Some(bisect(question.guess, 1.0, |hit| tail_at_least(fewest, n_trials, hit) >= wanted))
}

/// Share of trials in which the difference was really heard, if all others were guessed: (hit − guess)/(1 − guess), 0 or
/// more.
///
/// # Source
/// Abbott's correction for guessing (1925); common in sensory testing.
pub fn heard_share(hit: f64, guess: f64) -> f64 {
    ((hit - guess) / (1.0 - guess)).max(0.0)
}

/// Chance of a hit where the difference is really heard in this share of trials; the inverse of [`heard_share`].
pub fn hit_of_share(share: f64, guess: f64) -> f64 {
    guess + share * (1.0 - guess)
}

/// Smallest number between two bounds from which on a condition holds, which is false below and true above.
pub(crate) fn bisect(mut low: f64, mut high: f64, holds: impl Fn(f64) -> bool) -> f64 {
    // Sixty halvings use up the digits of a number near one.
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if holds(middle) { high = middle } else { low = middle }
    }
    0.5 * (low + high)
}

#[cfg(test)]
mod tests {
    use super::*;

    const TWO_CHOICES: Question = Question { guess: 0.5, alpha: 0.05 };

    #[test]
    fn power_is_a_sum_of_binomial_terms() {
        // Exact: 16 trials need 12; at 0.75 the terms from 12 to 16 sum to this.
        let choose = [1820.0, 560.0, 120.0, 16.0, 1.0];
        let exact: f64 =
            (0..5).map(|i| choose[i] * 0.75f64.powi(12 + i as i32) * 0.25f64.powi(4 - i as i32)).sum();
        assert!((power(TWO_CHOICES, 16, 0.75) - exact).abs() < 1e-12);
        assert_eq!(power(TWO_CHOICES, 4, 1.0), 0.0, "four right of four is one in sixteen");
    }

    #[test]
    fn the_number_of_trials_keeps_the_power_and_one_fewer_does_not() {
        for (hit, wanted) in [(0.7, 0.8), (0.8, 0.9), (0.9, 0.95)] {
            let n = trials_for(TWO_CHOICES, hit, wanted).expect("can be found");
            assert!((n..n + 200).all(|n| power(TWO_CHOICES, n, hit) >= wanted));
            assert!(power(TWO_CHOICES, n - 1, hit) < wanted);
        }
        assert_eq!(trials_for(TWO_CHOICES, 0.501, 0.8), None);
    }

    #[test]
    fn what_would_have_been_found_is_found_with_that_chance() {
        for n in [8, 16, 40, 100] {
            let hit = found_with(TWO_CHOICES, n, 0.8).expect("enough trials");
            assert!((power(TWO_CHOICES, n, hit) - 0.8).abs() < 1e-9);
        }
        assert_eq!(found_with(TWO_CHOICES, 4, 0.8), None);
        assert!((hit_of_share(heard_share(0.8, 1.0 / 3.0), 1.0 / 3.0) - 0.8).abs() < 1e-15);
        assert_eq!(heard_share(0.4, 0.5), 0.0);
    }
}
