//! Two proportions: does one exceed the other, listener by listener, and by how much?

use crate::binomial::{ProportionInterval, wilson};
use statrs::function::factorial::ln_binomial;

/// Hits of one listener under the condition that is looked at and under the control.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Beside {
    /// Hits looked at.
    pub n_hits: u64,
    /// Trials looked at.
    pub n_trials: u64,
    /// Hits of the control.
    pub control_hits: u64,
    /// Trials of the control.
    pub control_trials: u64,
}

/// How often hits would lie at least so much on the side that is looked at, if no listener were better there than in the
/// control. Every listener may have a share of their own. 1 where there is nothing to compare.
///
/// # Source
/// One-sided exact test with the margins of every table given: Fisher's, and over several tables Gart's (1970); cross-checked
/// with scipy and statsmodels in `outside/listening.py`.
pub fn exceeds_control(listeners: &[Beside]) -> f64 {
    // Distribution of the sum of hits looked at, and the least that it can be.
    let mut chance = vec![1.0];
    let mut observed = 0;
    for table in listeners {
        let hits = table.n_hits + table.control_hits;
        let least = hits.saturating_sub(table.control_trials);
        let most = hits.min(table.n_trials);
        let all = ln_binomial(table.n_trials + table.control_trials, hits);
        let own: Vec<f64> = (least..=most)
            .map(|k| {
                (ln_binomial(table.n_trials, k) + ln_binomial(table.control_trials, hits - k) - all).exp()
            })
            .collect();
        let mut next = vec![0.0; chance.len() + own.len() - 1];
        for (i, a) in chance.iter().enumerate() {
            own.iter().enumerate().for_each(|(j, b)| next[i + j] += a * b);
        }
        chance = next;
        observed += (table.n_hits - least) as usize;
    }
    chance[observed..].iter().sum::<f64>().min(1.0)
}

/// Difference of two proportions, looked at minus control, with its interval: estimate, low, high. `None` without trials on
/// either side.
///
/// # Source
/// Newcombe (1998), Statistics in Medicine 17, 873–890, method 10: from two score intervals. Cross-checked with statsmodels
/// in `outside/listening.py`.
pub fn difference(all: Beside, confidence: f64) -> Option<[f64; 3]> {
    let looked_at = wilson(all.n_hits, all.n_trials, confidence)?;
    let control = wilson(all.control_hits, all.control_trials, confidence)?;
    let p = all.n_hits as f64 / all.n_trials as f64;
    let q = all.control_hits as f64 / all.control_trials as f64;
    Some(joined(p, looked_at, q, control))
}

/// Joins two intervals to one of the difference.
pub fn joined(p: f64, of_p: ProportionInterval, q: f64, of_q: ProportionInterval) -> [f64; 3] {
    let d = p - q;
    [d, d - (p - of_p.low).hypot(of_q.high - q), d + (of_p.high - p).hypot(q - of_q.low)]
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand_chacha::ChaCha8Rng;
    use rand_chacha::rand_core::SeedableRng;
    use rand_distr::{Binomial, Distribution};

    #[test]
    fn a_lady_tasting_tea_is_right_by_luck_in_one_of_seventy() {
        // Exact: Fisher's example, four of four: 1/70; three of four: 17/70.
        let cups = |n_hits: u64| Beside { n_hits, n_trials: 4, control_hits: 4 - n_hits, control_trials: 4 };
        assert!((exceeds_control(&[cups(4)]) - 1.0 / 70.0).abs() < 1e-12);
        assert!((exceeds_control(&[cups(3)]) - 17.0 / 70.0).abs() < 1e-12);
        assert_eq!(exceeds_control(&[]), 1.0);
        // Two listeners: the tail of a sum, 1/70² for all right twice.
        assert!((exceeds_control(&[cups(4), cups(4)]) - 1.0 / 4900.0).abs() < 1e-12);
    }

    #[test]
    fn listeners_of_different_ability_do_not_pass_the_control_more_often_than_said() {
        let mut rng = ChaCha8Rng::seed_from_u64(6);
        const N: u32 = 4000;
        let n_passed = (0..N)
            .filter(|_| {
                let tables: Vec<Beside> = [0.5, 0.6, 0.8, 0.95, 0.5]
                    .iter()
                    .map(|p| {
                        let n_hits = Binomial::new(12, *p).expect("a chance").sample(&mut rng);
                        let control_hits = Binomial::new(8, *p).expect("a chance").sample(&mut rng);
                        Beside { n_hits, n_trials: 12, control_hits, control_trials: 8 }
                    })
                    .collect();
                exceeds_control(&tables) <= 0.05
            })
            .count();
        // Four standard errors above 0.05.
        assert!(f64::from(n_passed as u32) / f64::from(N) < 0.05 + 4.0 * (0.05 * 0.95 / f64::from(N)).sqrt());
        assert!(n_passed > 40, "a test that never passes is none: {n_passed}");
    }

    #[test]
    fn a_difference_lies_within_its_interval_and_turns_with_its_sides() {
        let all = Beside { n_hits: 15, n_trials: 16, control_hits: 6, control_trials: 16 };
        let [d, low, high] = difference(all, 0.95).expect("trials");
        assert!(low < d && d < high && low > 0.0 && high < 1.0);
        let turned = Beside { n_hits: 6, n_trials: 16, control_hits: 15, control_trials: 16 };
        let [e, other_low, other_high] = difference(turned, 0.95).expect("trials");
        assert!(
            (d + e).abs() < 1e-15 && (low + other_high).abs() < 1e-12 && (high + other_low).abs() < 1e-12
        );
        assert_eq!(difference(Beside { control_trials: 0, control_hits: 0, ..all }, 0.95), None);
    }
}
