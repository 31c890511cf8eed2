//! Power: how large a difference of two curves must be to be found, before anything is recorded.

use crate::curve::{CurveSettings, curve};
use crate::linear::{Stratum, fit_strata};
use crate::matrix::Matrix;
use crate::random::Draws;

/// Sessions that are simulated. Reason: with the columns of each the quantile is good to a few per cent.
const N_SESSIONS: u64 = 40;
/// Error curves that each simulated judgement uses.
const N_DRAWS: usize = 400;

/// The curve that is looked at.
#[derive(Debug, Clone, PartialEq)]
pub struct Axis {
    /// Position of each column in octaves, ascending.
    pub position: Vec<f64>,
    /// How far the errors of repeats hang together, in octaves: their correlation is exp(−½·(distance/this)²).
    pub reach_octaves: f64,
}

impl Axis {
    /// Ten octaves in quarters, on which errors hang together over `reach_octaves`.
    pub fn audible(reach_octaves: f64) -> Axis {
        Axis { position: (0..40).map(|i| f64::from(i) / 4.0).collect(), reach_octaves }
    }
}

/// The difference that the engine's simultaneous interval excludes from zero with probability `power` in any one column,
/// when each of two sides has `n_units` units that scatter with a standard deviation of 1.
///
/// Sessions are simulated and judged by [`curve`], the engine that judges the recorded ones: the half-width of an interval
/// less the error of its estimate is what a difference must exceed, and the answer is that quantile of it. `None` with fewer
/// than two units, with which nothing is known.
///
/// # Source
/// Own simulation; for one column it must give what the t distribution does (NIST/SEMATECH e-Handbook of Statistical
/// Methods, 7.2.2.2).
pub fn detectable(n_units: u32, axis: &Axis, power: f64, seed: u64) -> Option<f64> {
    if n_units < 2 {
        return None;
    }
    let (n, m) = (n_units as usize, axis.position.len());
    let mut together = Matrix::zeros(m, m);
    for (i, a) in axis.position.iter().enumerate() {
        for (j, b) in axis.position.iter().enumerate() {
            together.set(i, j, (-0.5 * ((a - b) / axis.reach_octaves).powi(2)).exp());
        }
    }
    // A trace of errors of each column's own keeps the matrix definite.
    (0..m).for_each(|i| together.set(i, i, 1.0 + 1e-6));
    let mut needed = Vec::with_capacity(m * N_SESSIONS as usize);
    for session in 0..N_SESSIONS {
        let session_seed = seed.wrapping_mul(1_000_003).wrapping_add(session);
        let errors = Draws::new(&together, 2 * n, session_seed);
        let side = |side: usize| {
            let mut rows = Matrix::zeros(n, m);
            for k in 0..n {
                let errors = errors.row(side * n + k);
                rows.row_mut(k).iter_mut().zip(errors).for_each(|(to, e)| *to = f64::from(*e));
            }
            Stratum { rows, n_effective: n as f64, weight: if side == 0 { -1.0 } else { 1.0 }, side }
        };
        let fit = fit_strata(&[side(0), side(1)]);
        let settings = CurveSettings { confidence: 0.95, n_draws: N_DRAWS, seed: session_seed };
        let found = curve(&fit, &axis.position, &vec![1.0; m], &settings)?;
        needed.extend(found.simultaneous_half.iter().zip(&found.estimate).map(|(half, error)| half - error));
    }
    needed.sort_by(f64::total_cmp);
    needed.get(((needed.len() as f64 * power) as usize).min(needed.len() - 1)).copied()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::student::t_quantile;

    #[test]
    fn one_column_needs_what_the_t_distribution_says() {
        // Many columns that have nothing to do with each other stand in for many sessions with one.
        // The engine is a little wider than t where freedom is scarce (1 + 0.35/df); at 22 degrees that is 1.6 %.
        for n in [12u32, 24] {
            let df = 2.0 * (f64::from(n) - 1.0);
            // NIST/SEMATECH 7.2.2.2, two-sided 5 %, power 80 %.
            let wanted = (2.0 / f64::from(n)).sqrt() * (t_quantile(0.975, df) + t_quantile(0.8, df));
            let one = Axis { position: vec![0.0], reach_octaves: 0.5 };
            let found: Vec<f64> =
                (0..30).map(|seed| detectable(n, &one, 0.8, seed).expect("two units and more")).collect();
            let mean = found.iter().sum::<f64>() / found.len() as f64;
            // 1200 sessions give the 80 % quantile to about 4 %.
            assert!((mean / wanted - 1.0).abs() < 0.07, "{n} units: {mean}, by the t distribution {wanted}");
        }
    }

    #[test]
    fn a_whole_axis_needs_more_than_one_column_and_less_the_more_units_there_are() {
        let axis = Axis::audible(0.5);
        let found: Vec<f64> =
            [2u32, 3, 4, 8, 16].iter().map(|n| detectable(*n, &axis, 0.8, 1).expect("known")).collect();
        assert!(found.windows(2).all(|w| w[1] < w[0]), "{found:?}");
        let one = Axis { position: vec![0.0], reach_octaves: 0.5 };
        assert!(found[3] > detectable(8, &one, 0.8, 1).expect("known"));
        assert_eq!(detectable(1, &axis, 0.8, 1), None);
        // The same seed, the same answer.
        assert_eq!(detectable(4, &axis, 0.8, 1), Some(found[2]));
    }

    #[test]
    fn a_difference_of_that_size_is_found_as_often_as_promised() {
        // Fresh sessions: each of 60 has a true difference of the promised size in one column, and is judged.
        let axis = Axis::audible(0.5);
        let n = 4u32;
        let truth = detectable(n, &axis, 0.8, 1).expect("known");
        // What is needed at other power: the share of columns that need less than the truth.
        let below = |power: f64| detectable(n, &axis, power, 77).expect("known") <= truth;
        assert!(below(0.7) && !below(0.9), "the promise of 80 % holds on other sessions within 10 points");
    }
}
