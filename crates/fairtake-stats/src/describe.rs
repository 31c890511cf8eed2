//! Mean, standard deviation and lag-1 autocorrelation of a series, without losing digits to a large offset.

/// What a series of numbers is like.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Description {
    /// How many numbers there are, 1 or more.
    pub n: usize,
    /// Arithmetic mean.
    pub mean: f64,
    /// Standard deviation with divisor n − 1; `None` for a single number.
    pub sd: Option<f64>,
    /// Σ(x_t − m)(x_{t+1} − m) / Σ(x_t − m)², over the series in its order; `None` where all numbers are equal.
    pub lag1: Option<f64>,
}

/// Describes `values` in their order; `None` for an empty slice.
///
/// Two passes with compensated sums: the second pass also takes out what rounding left of the mean.
///
/// # Source
/// Compensated summation: Neumaier (1974), ZAMM 54 (from memory). Two passes with the correction term: Chan,
/// Golub and LeVeque (1983), The American Statistician 37 (from memory). Checked against the certified values of
/// NIST StRD in `reference/11_nist_strd.toml`.
pub fn describe(values: &[f64]) -> Option<Description> {
    if values.is_empty() {
        return None;
    }
    let n = values.len();
    let n_f = n as f64;
    let rough_mean = compensated_sum(values.iter().copied()) / n_f;
    let correction = compensated_sum(values.iter().map(|v| v - rough_mean)) / n_f;
    let deviation = |v: f64| (v - rough_mean) - correction;
    let sum_of_squares = compensated_sum(values.iter().map(|v| deviation(*v).powi(2)));
    let products = compensated_sum(values.windows(2).map(|w| deviation(w[0]) * deviation(w[1])));
    Some(Description {
        n,
        mean: rough_mean + correction,
        sd: (n > 1).then(|| (sum_of_squares / (n_f - 1.0)).sqrt()),
        lag1: (sum_of_squares > 0.0).then(|| products / sum_of_squares),
    })
}

/// Sum that carries what each addition rounds away.
fn compensated_sum(values: impl Iterator<Item = f64>) -> f64 {
    let (mut sum, mut lost) = (0.0_f64, 0.0_f64);
    for v in values {
        let next = sum + v;
        lost += if sum.abs() >= v.abs() { (sum - next) + v } else { (v - next) + sum };
        sum = next;
    }
    sum + lost
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_has_no_mean_and_one_number_no_spread() {
        assert_eq!(describe(&[]), None);
        assert_eq!(describe(&[4.0]), Some(Description { n: 1, mean: 4.0, sd: None, lag1: None }));
    }

    #[test]
    fn equal_numbers_have_a_spread_of_zero_and_no_autocorrelation() {
        assert_eq!(describe(&[7.5; 6]), Some(Description { n: 6, mean: 7.5, sd: Some(0.0), lag1: None }));
    }

    #[test]
    fn what_a_plain_sum_loses_is_kept() {
        // Exact: 1 + 1e100 + 1 − 1e100 = 2, of which a plain sum leaves 0.
        let values = [1.0, 1e100, 1.0, -1e100];
        assert_eq!(values.iter().sum::<f64>(), 0.0);
        assert_eq!(compensated_sum(values.into_iter()), 2.0);
    }
}
