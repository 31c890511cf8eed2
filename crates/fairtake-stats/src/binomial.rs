//! Proportions: exact tails, intervals, and an interval for trials that come in clusters.

use crate::student::{t_factor, t_quantile};
use statrs::distribution::{Beta, ContinuousCDF};

/// An interval for a proportion, 0 ≤ low ≤ high ≤ 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ProportionInterval {
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

/// Hits among the trials of one cluster (for example the bands of one comparison that cover the truth).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Cluster {
    /// Trials that succeeded, at most `n_trials`.
    pub n_hits: u64,
    /// Trials.
    pub n_trials: u64,
}

/// Chance of `n_hits` or more among `n_trials` independent trials that each succeed with chance `chance`.
///
/// # Source
/// Sum of binomial terms, as a regularised incomplete beta function. Checked against exact counts in
/// `reference/10_binomial_critical.csv`.
pub fn tail_at_least(n_hits: u64, n_trials: u64, chance: f64) -> f64 {
    if n_hits == 0 {
        return 1.0;
    }
    if n_hits > n_trials || chance <= 0.0 {
        return 0.0;
    }
    if chance >= 1.0 {
        return 1.0;
    }
    beta(n_hits as f64, (n_trials - n_hits) as f64 + 1.0).cdf(chance)
}

/// Fewest hits among `n_trials` whose [`tail_at_least`] is at most `alpha`; `None` where even all hits are not
/// rare enough.
pub fn fewest_hits(n_trials: u64, chance: f64, alpha: f64) -> Option<u64> {
    let is_rare = |n_hits: u64| tail_at_least(n_hits, n_trials, chance) <= alpha;
    if !is_rare(n_trials) {
        return None;
    }
    // The tail falls with the number of hits: halved until one is left.
    let (mut common, mut rare) = (0, n_trials);
    if is_rare(common) {
        return Some(common);
    }
    while rare - common > 1 {
        let middle = common + (rare - common) / 2;
        if is_rare(middle) { rare = middle } else { common = middle }
    }
    Some(rare)
}

/// Exact interval of Clopper and Pearson; covers at least as often as it says. `None` without trials.
///
/// # Source
/// Clopper and Pearson (1934), as beta quantiles. Checked against `reference/10_binomial_intervals.csv`.
pub fn clopper_pearson(n_hits: u64, n_trials: u64, confidence: f64) -> Option<ProportionInterval> {
    (n_trials > 0 && n_hits <= n_trials).then(|| exact_interval(n_hits as f64, n_trials as f64, confidence))
}

/// Score interval of Wilson without continuity correction; covers as often as it says on average. `None`
/// without trials.
///
/// # Source
/// Wilson (1927). Checked against `reference/10_binomial_intervals.csv`.
pub fn wilson(n_hits: u64, n_trials: u64, confidence: f64) -> Option<ProportionInterval> {
    if n_trials == 0 || n_hits > n_trials {
        return None;
    }
    let (n, p) = (n_trials as f64, n_hits as f64 / n_trials as f64);
    let z = t_factor(confidence, f64::INFINITY);
    let middle = (p + z * z / (2.0 * n)) / (1.0 + z * z / n);
    let half_width = z / (1.0 + z * z / n) * (p * (1.0 - p) / n + z * z / (4.0 * n * n)).sqrt();
    Some(ProportionInterval { low: (middle - half_width).max(0.0), high: (middle + half_width).min(1.0) })
}

/// Interval for the proportion over all trials, where the trials of one cluster hang together.
///
/// `None` with fewer than two clusters that hold a trial. Clusters without a trial do not count. Where the
/// clusters do not differ at all, which says nothing about how their trials hang together, every cluster counts
/// as one trial.
///
/// # Source
/// Variance of a ratio of cluster totals by linearisation; exact interval at the effective number of trials
/// n·p(1 − p)/variance·(t(n − 1)/t(k − 1))²: Korn and Graubard (1998), Survey Methodology 24 (from memory). Checked
/// by simulation in the tests: *not checked against outside values.*
pub fn clustered(clusters: &[Cluster], confidence: f64) -> Option<ProportionInterval> {
    let used: Vec<&Cluster> = clusters.iter().filter(|c| c.n_trials > 0).collect();
    let k = used.len() as f64;
    if used.len() < 2 {
        return None;
    }
    let n = used.iter().map(|c| c.n_trials as f64).sum::<f64>();
    let p = used.iter().map(|c| c.n_hits as f64).sum::<f64>() / n;
    let sum_of_squares = used.iter().map(|c| (c.n_hits as f64 - p * c.n_trials as f64).powi(2)).sum::<f64>();
    let variance = k / (k - 1.0) * sum_of_squares / (n * n);
    let n_effective = if variance > 0.0 {
        let upper = 0.5 + confidence / 2.0;
        let few_clusters = t_quantile(upper, n - 1.0) / t_quantile(upper, k - 1.0);
        (p * (1.0 - p) / variance * few_clusters.powi(2)).min(n)
    } else {
        k
    };
    Some(exact_interval(p * n_effective, n_effective, confidence))
}

/// Clopper and Pearson's interval, with fractional hits and trials.
fn exact_interval(n_hits: f64, n_trials: f64, confidence: f64) -> ProportionInterval {
    let tail = (1.0 - confidence) / 2.0;
    let n_misses = n_trials - n_hits;
    ProportionInterval {
        low: if n_hits > 0.0 { beta(n_hits, n_misses + 1.0).inverse_cdf(tail) } else { 0.0 },
        high: if n_misses > 0.0 { beta(n_hits + 1.0, n_misses).inverse_cdf(1.0 - tail) } else { 1.0 },
    }
}

fn beta(a: f64, b: f64) -> Beta {
    Beta::new(a, b).expect("both shapes are positive")
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand_chacha::ChaCha8Rng;
    use rand_chacha::rand_core::SeedableRng;
    use rand_distr::{Binomial, Distribution};

    #[test]
    fn twelve_right_of_sixteen_is_rarely_luck() {
        // Exact by counting: (1820 + 560 + 120 + 16 + 1) / 2^16; 1e-13 for the beta function.
        assert!((tail_at_least(12, 16, 0.5) - 2517.0 / 65536.0).abs() < 1e-13);
    }

    #[test]
    fn impossible_and_certain_counts_have_chances_of_zero_and_one() {
        assert_eq!((tail_at_least(0, 5, 0.3), tail_at_least(6, 5, 0.3)), (1.0, 0.0));
        assert_eq!((tail_at_least(3, 5, 0.0), tail_at_least(3, 5, 1.0)), (0.0, 1.0));
        assert_eq!((clopper_pearson(0, 0, 0.95), clopper_pearson(2, 1, 0.95)), (None, None));
        assert_eq!((wilson(0, 0, 0.95), wilson(2, 1, 0.95)), (None, None));
    }

    #[test]
    fn clusters_of_one_trial_are_plain_trials() {
        let clusters: Vec<Cluster> =
            (0..200).map(|i| Cluster { n_hits: u64::from(i % 10 > 0), n_trials: 1 }).collect();
        let clustered = clustered(&clusters, 0.99).expect("many clusters");
        let plain = clopper_pearson(180, 200, 0.99).expect("many trials");
        // The variance's divisor k − 1 instead of k makes the effective number one trial in 200 smaller; the
        // interval's half-width of 0.06 changes by a quarter of a per cent of itself.
        assert!((clustered.low - plain.low).abs() < 3e-4 && (clustered.high - plain.high).abs() < 3e-4);
    }

    #[test]
    fn trials_that_always_agree_within_a_cluster_count_once() {
        let clusters: Vec<Cluster> =
            (0..200).map(|i| Cluster { n_hits: if i % 10 > 0 { 60 } else { 0 }, n_trials: 60 }).collect();
        let clustered = clustered(&clusters, 0.99).expect("many clusters");
        let plain = clopper_pearson(180, 200, 0.99).expect("many trials");
        // As above, and t with 199 degrees of freedom instead of the normal: the effective number is 2 % smaller,
        // the half-width of 0.06 one per cent larger.
        assert!((clustered.low - plain.low).abs() < 1e-3 && (clustered.high - plain.high).abs() < 1e-3);
    }

    #[test]
    fn clusters_that_do_not_differ_count_once_each_and_one_alone_says_nothing() {
        let all = [Cluster { n_hits: 50, n_trials: 50 }; 40];
        assert_eq!(clustered(&all, 0.99), clopper_pearson(40, 40, 0.99));
        assert_eq!(clustered(&all[..1], 0.99), None);
        assert_eq!(clustered(&[Cluster { n_hits: 0, n_trials: 0 }; 9], 0.99), None);
    }

    #[test]
    fn the_99_percent_interval_of_clustered_trials_covers_in_about_99_of_100_experiments() {
        // 2,000 experiments of 100 clusters with 60 trials; the clusters' own chances are 0.80 or 1.00, so the
        // truth is 0.90 and the plain interval would be far too narrow.
        let mut rng = ChaCha8Rng::seed_from_u64(5);
        let (mut n_covered, mut n_covered_if_plain) = (0_u64, 0_u64);
        let coin = Binomial::new(1, 0.5).expect("a chance");
        for _ in 0..2000 {
            let clusters: Vec<Cluster> = (0..100)
                .map(|_| {
                    let chance = if coin.sample(&mut rng) == 1 { 0.8 } else { 1.0 };
                    let n_hits = Binomial::new(60, chance).expect("a chance").sample(&mut rng);
                    Cluster { n_hits, n_trials: 60 }
                })
                .collect();
            let interval = clustered(&clusters, 0.99).expect("many clusters");
            n_covered += u64::from(interval.low <= 0.9 && 0.9 <= interval.high);
            let n_hits = clusters.iter().map(|c| c.n_hits).sum();
            let plain = clopper_pearson(n_hits, 6000, 0.99).expect("many trials");
            n_covered_if_plain += u64::from(plain.low <= 0.9 && 0.9 <= plain.high);
        }
        // Exact limits: the chance of fewer than 1963 and that of more than 1994 of 2,000 at 0.99 are below 0.0005 each.
        assert!((1963..=1994).contains(&n_covered), "{n_covered} of 2000");
        assert!(n_covered_if_plain < 1900, "the plain interval covered {n_covered_if_plain} of 2000");
    }
}
