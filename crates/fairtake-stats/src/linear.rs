//! Estimates that are weighted sums of unit means, and what is left over: the residuals.
//!
//! A *unit* is whatever is repeated (a hit, a placement); every unit is a row of values, one per column
//! (a band). A *stratum* holds units that repeat the same thing. The estimate is the weighted sum of the
//! strata's means. Strata of one side share a variance per column; the two sides do not, unless both
//! carry the same weight in the estimate: then their pooled variance serves the difference exactly as
//! well and has more degrees of freedom.

use crate::matrix::Matrix;

/// Units that repeat one thing.
#[derive(Debug, Clone, PartialEq)]
pub struct Stratum {
    /// One row per unit.
    pub rows: Matrix,
    /// Effective number of units, at most the number of rows (correlated units count less).
    pub n_effective: f64,
    /// What the mean of this stratum is multiplied by in the estimate.
    pub weight: f64,
    /// Strata with the same number share a variance (0 = reference side, 1 = the other side).
    pub side: usize,
}

/// Residuals that share one variance per column.
#[derive(Debug, Clone, PartialEq)]
pub struct Part {
    /// Residuals, one row per unit.
    pub residuals: Matrix,
    /// What the sum of squared residuals is divided by to give the variance of one unit.
    pub divisor: f64,
    /// Degrees of freedom of that variance.
    pub df: f64,
    /// Variance of the estimate = this × variance of one unit.
    pub factor: f64,
}

/// The estimate per column and the parts of its variance.
#[derive(Debug, Clone, PartialEq)]
pub struct Fit {
    /// Weighted sum of the strata's means, per column.
    pub estimate: Vec<f64>,
    /// Parts of the variance.
    pub parts: Vec<Part>,
}

impl Fit {
    /// Residual degrees of freedom over all parts.
    pub fn df(&self) -> f64 {
        self.parts.iter().map(|p| p.df).sum()
    }

    /// The same where all variances share a scale that is itself known with this relative variance (variance over squared
    /// mean): fewer degrees of freedom.
    ///
    /// # Source
    /// A variance with d degrees of freedom has the relative variance 2/d; relative variances of factors add (first order,
    /// textbook). With k parts the scale's counts k-fold in each, so that Welch and Satterthwaite's formula, which takes
    /// the parts as independent, finds it once in the sum of equal parts, and more than once otherwise.
    pub fn with_uncertain_scale(mut self, relative_variance: f64) -> Fit {
        let k = self.parts.len() as f64;
        self.parts.iter_mut().for_each(|p| p.df = 1.0 / (1.0 / p.df.max(1e-9) + k * relative_variance / 2.0));
        self
    }
}

/// Estimate by strata.
///
/// Shape: all strata have the same columns; at least one stratum.
///
/// # Source
/// Weighted means of independent samples; correlated units enter by their effective number `n_e`:
/// Var(mean) = σ²/n_e, and E(Σ residual²) = σ²·n·(1 − 1/n_e). Derivation in `docs/methods/difference-curve.md`.
pub fn fit_strata(strata: &[Stratum]) -> Fit {
    let n_cols = strata.first().map_or(0, |s| s.rows.n_cols());
    let mut estimate = vec![0.0; n_cols];
    let mut sides: Vec<(usize, Part)> = Vec::new();
    for stratum in strata {
        let n = stratum.rows.n_rows() as f64;
        let n_effective = stratum.n_effective.min(n).max(1.0);
        let mean = stratum.rows.column_means();
        for (e, m) in estimate.iter_mut().zip(&mean) {
            *e += stratum.weight * m;
        }
        let part = match sides.iter_mut().find(|(side, _)| *side == stratum.side) {
            Some((_, part)) => part,
            None => {
                sides.push((
                    stratum.side,
                    Part { residuals: Matrix::zeros(0, n_cols), divisor: 0.0, df: 0.0, factor: 0.0 },
                ));
                &mut sides.last_mut().expect("a side was just pushed").1
            }
        };
        for row in 0..stratum.rows.n_rows() {
            let residual: Vec<f64> = stratum.rows.row(row).iter().zip(&mean).map(|(v, m)| v - m).collect();
            part.residuals.push_row(&residual);
        }
        part.divisor += n * (1.0 - 1.0 / n_effective);
        part.df += n_effective - 1.0;
        part.factor += stratum.weight * stratum.weight / n_effective;
    }
    let parts: Vec<Part> = sides.into_iter().map(|(_, part)| part).collect();
    Fit { estimate, parts: pool_equal(parts) }
}

/// Two sides of equal weight and equal freedom are pooled: half the sum of the factors times twice the
/// pooled variance is the same variance of the difference, with the degrees of freedom of both.
fn pool_equal(mut parts: Vec<Part>) -> Vec<Part> {
    if parts.len() == 2
        && (parts[0].factor - parts[1].factor).abs() < 1e-9
        && (parts[0].df - parts[1].df).abs() < 1e-9
    {
        let second = parts.pop().expect("there are two parts");
        let first = &mut parts[0];
        for row in 0..second.residuals.n_rows() {
            first.residuals.push_row(second.residuals.row(row));
        }
        first.divisor += second.divisor;
        first.df += second.df;
        first.factor += second.factor;
    }
    parts
}

/// Estimate of one effect in a regression of unit rows, beside nuisance covariates (position, drift).
///
/// Shape: `effect` has one value per unit (all ones: the intercept), `covariates` one row per unit. `None` when
/// the covariates cannot be told from the effect or no residual degree of freedom is left.
///
/// # Source
/// Ordinary least squares by Gram–Schmidt; any textbook. *Checked against exact small cases in the tests.*
pub fn fit_effect(rows: &Matrix, effect: &[f64], covariates: &Matrix) -> Option<Fit> {
    let n = rows.n_rows();
    // Orthonormal basis of the covariates, then what is left of the effect.
    let mut basis: Vec<Vec<f64>> = Vec::new();
    for col in 0..covariates.n_cols() {
        let v: Vec<f64> = (0..n).map(|i| covariates.at(i, col)).collect();
        if let Some(q) = orthonormal(v, &basis) {
            basis.push(q);
        }
    }
    let own = orthonormal(effect.to_vec(), &basis)?;
    // The estimate is (q·y)/(q·x) with q the part of the effect x that no covariate explains.
    let q_dot_effect: f64 = own.iter().zip(effect).map(|(q, x)| q * x).sum();
    let weights: Vec<f64> = own.iter().map(|q| q / q_dot_effect).collect();
    basis.push(own);
    let df = n as f64 - basis.len() as f64;
    if df < 1.0 {
        return None;
    }
    let n_cols = rows.n_cols();
    let mut estimate = vec![0.0; n_cols];
    for (i, w) in weights.iter().enumerate() {
        for (e, v) in estimate.iter_mut().zip(rows.row(i)) {
            *e += w * v;
        }
    }
    let mut residuals = rows.clone();
    for q in &basis {
        let mut dot = vec![0.0; n_cols];
        for (i, qi) in q.iter().enumerate() {
            dot.iter_mut().zip(rows.row(i)).for_each(|(d, v)| *d += qi * v);
        }
        for (i, qi) in q.iter().enumerate() {
            residuals.row_mut(i).iter_mut().zip(&dot).for_each(|(r, d)| *r -= qi * d);
        }
    }
    let factor = weights.iter().map(|w| w * w).sum();
    Some(Fit { estimate, parts: vec![Part { residuals, divisor: df, df, factor }] })
}

/// What is left of `v` beside `basis`, at unit length; `None` when nothing is.
fn orthonormal(mut v: Vec<f64>, basis: &[Vec<f64>]) -> Option<Vec<f64>> {
    let norm_before: f64 = v.iter().map(|x| x * x).sum::<f64>().sqrt();
    for q in basis {
        let dot: f64 = q.iter().zip(&v).map(|(a, b)| a * b).sum();
        v.iter_mut().zip(q).for_each(|(x, qx)| *x -= dot * qx);
    }
    let norm: f64 = v.iter().map(|x| x * x).sum::<f64>().sqrt();
    if norm < 1e-9 * norm_before.max(1e-300) {
        return None;
    }
    v.iter_mut().for_each(|x| *x /= norm);
    Some(v)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn column(values: &[f64]) -> Matrix {
        Matrix::from_rows(values.len(), 1, values.to_vec())
    }

    #[test]
    fn two_equal_samples_pool_to_the_textbook_variance_of_a_difference() {
        let a = Stratum { rows: column(&[1.0, 3.0]), n_effective: 2.0, weight: -1.0, side: 0 };
        let b = Stratum { rows: column(&[4.0, 8.0]), n_effective: 2.0, weight: 1.0, side: 1 };
        let fit = fit_strata(&[a, b]);
        // Exact: means 2 and 6; sums of squares 2 and 8; pooled variance 10/2 = 5; Var = 5·(1/2+1/2).
        assert_eq!(fit.estimate, vec![4.0]);
        let part = &fit.parts[0];
        let ss: f64 = (0..4).map(|i| part.residuals.at(i, 0).powi(2)).sum();
        assert_eq!((ss / part.divisor * part.factor, part.df), (5.0, 2.0));
    }

    #[test]
    fn samples_of_unequal_size_keep_their_own_variance() {
        let a = Stratum { rows: column(&[1.0, 3.0]), n_effective: 2.0, weight: -1.0, side: 0 };
        let b = Stratum { rows: column(&[4.0, 8.0, 6.0]), n_effective: 3.0, weight: 1.0, side: 1 };
        assert_eq!(fit_strata(&[a, b]).parts.len(), 2);
    }

    #[test]
    fn a_position_effect_is_taken_out_by_exchange() {
        // d = 2 ± 5 by position: the intercept is 2 whatever the positions do.
        let rows = column(&[7.0, -3.0, 7.2, -3.2]);
        let positions = column(&[1.0, -1.0, 1.0, -1.0]);
        let fit = fit_effect(&rows, &[1.0; 4], &positions).expect("balanced");
        assert!((fit.estimate[0] - 2.0).abs() < 1e-12);
        // Exact: residuals ±0.1 around each position's mean, two degrees of freedom, factor 1/4.
        let part = &fit.parts[0];
        assert_eq!(part.df, 2.0);
        assert!((part.factor - 0.25).abs() < 1e-12);
        let ss: f64 = (0..4).map(|i| part.residuals.at(i, 0).powi(2)).sum();
        assert!((ss - 0.04).abs() < 1e-12);
    }

    #[test]
    fn a_covariate_that_never_changes_sign_cannot_be_told_from_the_intercept() {
        let rows = column(&[7.0, 7.2, 7.1]);
        assert!(fit_effect(&rows, &[1.0; 3], &column(&[1.0, 1.0, 1.0])).is_none());
    }
}
