//! Verdicts on bands, and regions of neighbouring bands.

use crate::Verdict;

/// The verdict on an interval that holds for all bands at once.
pub fn verdict(estimate: f64, low: f64, high: f64, margin_db: f64) -> Verdict {
    if low >= -margin_db && high <= margin_db {
        Verdict::Alike
    } else if (low > 0.0 || high < 0.0) && estimate.abs() >= margin_db {
        Verdict::Different
    } else {
        Verdict::Undecided
    }
}

/// Neighbouring bands of one verdict and, where different, one sign: `from..to` band indices.
///
/// Shape: one verdict and difference per band.
pub fn runs(verdicts: &[Verdict], difference_db: &[Option<f64>]) -> Vec<(usize, usize)> {
    let kind = |i: usize| {
        let up = verdicts[i] == Verdict::Different && difference_db[i].is_some_and(|d| d > 0.0);
        (verdicts[i], up)
    };
    let mut out: Vec<(usize, usize)> = Vec::new();
    for i in 0..verdicts.len() {
        match out.last_mut() {
            Some((_, to)) if kind(*to - 1) == kind(i) => *to = i + 1,
            _ => out.push((i, i + 1)),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_interval_inside_the_margin_is_alike_even_when_it_excludes_zero() {
        assert_eq!(verdict(0.5, 0.2, 0.8, 1.0), Verdict::Alike);
    }

    #[test]
    fn a_difference_needs_both_an_interval_without_zero_and_the_margin() {
        assert_eq!(verdict(1.4, 0.3, 2.5, 1.0), Verdict::Different);
        assert_eq!(verdict(0.9, 0.3, 1.5, 1.0), Verdict::Undecided);
        assert_eq!(verdict(1.4, -0.1, 2.9, 1.0), Verdict::Undecided);
    }

    #[test]
    fn differences_of_opposite_sign_are_two_regions() {
        let v = [Verdict::Different, Verdict::Different, Verdict::Alike];
        assert_eq!(runs(&v, &[Some(2.0), Some(-2.0), Some(0.0)]), vec![(0, 1), (1, 2), (2, 3)]);
    }
}
