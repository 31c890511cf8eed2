//! Ratings on a scale from 0 to 100: medians with intervals, and which raters are screened out.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

/// What the hidden copy of the reference must reach.
///
/// # Source
/// ITU-R BS.1534-3, 4.1.2; values and worked cases in `reference/10_bs1534_rules.toml`.
pub const HIDDEN_REFERENCE_BELOW: f64 = 90.0;
/// A rater is left out where more than this share of the items has the hidden reference below, or the mid anchor above,
/// [`HIDDEN_REFERENCE_BELOW`].
pub const MOST_SHARE: f64 = 0.15;
/// Where more than this share of the raters rates an item's mid anchor so high, the item is no reason to leave anybody out.
pub const EXEMPT_SHARE: f64 = 0.25;

/// One rater's ratings of what is known beforehand, item by item.
#[derive(Debug, Clone, PartialEq)]
pub struct KnownRatings {
    /// Of the hidden copy of the reference.
    pub hidden_reference: Vec<f64>,
    /// Of the mid anchor; `None`: the item had none.
    pub mid_anchor: Vec<Option<f64>>,
}

/// Which raters are kept, in their order.
///
/// # Source
/// ITU-R BS.1534-3, 4.1.2.
pub fn kept(raters: &[KnownRatings]) -> Vec<bool> {
    let n_raters = raters.len() as f64;
    let high = |rating: &Option<f64>| rating.is_some_and(|r| r > HIDDEN_REFERENCE_BELOW);
    let exempt = |item: usize| {
        let n_high = raters.iter().filter(|r| r.mid_anchor.get(item).is_some_and(high)).count();
        n_high as f64 > EXEMPT_SHARE * n_raters
    };
    raters
        .iter()
        .map(|rater| {
            let n_low = rater.hidden_reference.iter().filter(|r| **r < HIDDEN_REFERENCE_BELOW).count();
            let n_high =
                rater.mid_anchor.iter().enumerate().filter(|(item, r)| high(r) && !exempt(*item)).count();
            let over = |n: usize, of: usize| n as f64 > MOST_SHARE * of as f64;
            !over(n_low, rater.hidden_reference.len()) && !over(n_high, rater.mid_anchor.len())
        })
        .collect()
}

/// Median; `None` of nothing. Of an even number the mean of the middle two.
pub fn median(values: &[f64]) -> Option<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let n = sorted.len();
    (n > 0).then(|| 0.5 * (sorted[(n - 1) / 2] + sorted[n / 2]))
}

/// Fewest raters of whose median an interval is given.
pub const FEWEST_RATERS: usize = 6;

/// Median of each rater's median, with a bootstrap interval over raters: estimate, low, high.
///
/// Shape: one entry per rater; those without ratings do not count. `None` with fewer than six raters: the median of five
/// lies outside the range of their ratings in one case of sixteen, so no interval of 95 % can be had.
///
/// # Source
/// Efron and Tibshirani, An Introduction to the Bootstrap (1993), percentile interval, raters drawn whole. Coverage by
/// simulation: docs/methods/listening.md.
pub fn median_interval(raters: &[Vec<f64>], confidence: f64, n_draws: usize, seed: u64) -> Option<[f64; 3]> {
    let own: Vec<f64> = raters.iter().filter_map(|r| median(r)).collect();
    let estimate = median(&own).filter(|_| own.len() >= FEWEST_RATERS && n_draws > 0)?;
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut drawn: Vec<f64> = (0..n_draws)
        .filter_map(|_| {
            let again: Vec<f64> = own.iter().map(|_| own[below(own.len(), &mut rng)]).collect();
            median(&again)
        })
        .collect();
    drawn.sort_by(f64::total_cmp);
    let tail = (1.0 - confidence) / 2.0;
    let at = |share: f64| drawn[((drawn.len() as f64 * share) as usize).min(drawn.len() - 1)];
    Some([estimate, at(tail), at(1.0 - tail)])
}

/// A number below `n`, evenly: the high half of a product (the bias is below 2⁻³² for so few).
fn below(n: usize, rng: &mut impl Rng) -> usize {
    ((u128::from(rng.next_u64()) * n as u128) >> 64) as usize
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand_distr::{Distribution, Normal};

    #[test]
    fn medians_are_the_middle() {
        assert_eq!(
            (median(&[3.0, 1.0, 2.0]), median(&[4.0, 1.0]), median(&[])),
            (Some(2.0), Some(2.5), None)
        );
        assert_eq!(median_interval(&vec![vec![50.0]; 5], 0.95, 100, 1), None);
        assert_eq!(median_interval(&vec![vec![50.0]; 6], 0.95, 100, 1), Some([50.0, 50.0, 50.0]));
        // Ratings of one rater hang together: fifty of one rater weigh no more than one of another.
        let mut raters = vec![vec![10.0]; 6];
        raters.push(vec![90.0; 50]);
        assert_eq!(median_interval(&raters, 0.95, 200, 1).map(|m| m[0]), Some(10.0));
        let spread: Vec<Vec<f64>> = (0..9).map(|i| vec![f64::from(i) * 10.0]).collect();
        assert_eq!(median_interval(&spread, 0.95, 500, 7), median_interval(&spread, 0.95, 500, 7));
    }

    #[test]
    fn intervals_of_medians_cover_nearly_as_often_as_they_say() {
        let mut rng = ChaCha8Rng::seed_from_u64(9);
        let rating = Normal::new(60.0, 15.0).expect("a spread");
        for n in [8, 12, 20] {
            const N: usize = 400;
            let n_covered = (0..N)
                .filter(|k| {
                    let raters: Vec<Vec<f64>> = (0..n).map(|_| vec![rating.sample(&mut rng)]).collect();
                    let [_, low, high] = median_interval(&raters, 0.95, 400, *k as u64).expect("raters");
                    low <= 60.0 && 60.0 <= high
                })
                .count();
            // Known of the percentile interval: a few per cent too narrow with few raters, which the page says.
            assert!(n_covered as f64 / N as f64 > 0.90, "{n} raters: {n_covered} of {N}");
        }
    }
}
