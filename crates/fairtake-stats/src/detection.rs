//! Detection theory: what share of right answers a sensitivity d′ gives, and back.

use crate::student::normal_cdf;
use crate::trials::bisect;

/// No sensitivity beyond this is told apart: all answers are right.
const MOST_D: f64 = 20.0;

/// How a listener is taken to decide.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Task {
    /// Two alternatives, one of which holds what is looked for.
    TwoAlternatives,
    /// An unknown against two known ones, by the difference to each (the ABX method): the usual case when listeners
    /// switch back and forth between excerpts of many kinds.
    MatchDifferencing,
    /// An unknown against two known ones, by a criterion kept in mind: possible where the excerpts hardly change.
    MatchIndependent,
    /// One of three differs from the other two.
    Triangle,
}

impl Task {
    /// Share of right answers by guessing.
    pub fn guess(self) -> f64 {
        if self == Task::Triangle { 1.0 / 3.0 } else { 0.5 }
    }

    /// Share of right answers of an unbiased listener of sensitivity `d`, 0 or more.
    ///
    /// # Source
    /// Macmillan and Creelman, Detection Theory: A User's Guide, chapters on two-alternative and matching-to-sample
    /// designs; the triangle by Ennis (1993) (integral from memory, confirmed by simulation in the tests). Checked against
    /// `reference/10_dprime.csv`.
    pub fn share_right(self, d: f64) -> f64 {
        let both =
            |a: f64, b: f64| normal_cdf(d / a) * normal_cdf(d / b) + normal_cdf(-d / a) * normal_cdf(-d / b);
        match self {
            Task::TwoAlternatives => normal_cdf(d / 2f64.sqrt()),
            Task::MatchDifferencing => both(2f64.sqrt(), 6f64.sqrt()),
            Task::MatchIndependent => both(2f64.sqrt(), 2.0),
            Task::Triangle => triangle(d),
        }
    }

    /// Sensitivity that gives this share of right answers: 0 at or below guessing, `None` where all are right or the share
    /// is no number: no finite sensitivity gives that.
    pub fn sensitivity(self, share_right: f64) -> Option<f64> {
        if share_right.is_nan() || share_right >= self.share_right(MOST_D) {
            return None;
        }
        if share_right <= self.guess() {
            return Some(0.0);
        }
        Some(bisect(0.0, MOST_D, |d| self.share_right(d) >= share_right))
    }
}

/// 2·∫₀^∞ [Φ(−x√3 + d√(2/3)) + Φ(−x√3 − d√(2/3))]·φ(x) dx, by Simpson's rule with two step widths, whose errors are taken out
/// of each other (Richardson).
fn triangle(d: f64) -> f64 {
    /// A multiple of four; the density is negligible beyond 9.
    const N_STEPS: usize = 800;
    const TO: f64 = 9.0;
    let shift = d * (2.0f64 / 3.0).sqrt();
    let f = |x: f64| {
        let density = (-0.5 * x * x).exp() / std::f64::consts::TAU.sqrt();
        let away = -x * 3f64.sqrt();
        2.0 * (normal_cdf(away + shift) + normal_cdf(away - shift)) * density
    };
    let at: Vec<f64> = (0..=N_STEPS).map(|i| f(i as f64 * TO / N_STEPS as f64)).collect();
    let simpson = |step: usize| {
        let n = N_STEPS / step;
        let inner: f64 = (1..n).map(|i| if i % 2 == 1 { 4.0 } else { 2.0 } * at[i * step]).sum();
        (at[0] + inner + at[N_STEPS]) * TO / n as f64 / 3.0
    };
    // Rounding may leave it a little above one.
    ((16.0 * simpson(1) - simpson(2)) / 15.0).min(1.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand_chacha::ChaCha8Rng;
    use rand_chacha::rand_core::SeedableRng;
    use rand_distr::{Distribution, StandardNormal};

    const TASKS: [Task; 4] =
        [Task::TwoAlternatives, Task::MatchDifferencing, Task::MatchIndependent, Task::Triangle];

    #[test]
    fn without_sensitivity_there_is_guessing_and_back() {
        for task in TASKS {
            // The integral is exact to about 1e-13.
            assert!((task.share_right(0.0) - task.guess()).abs() < 1e-10, "{task:?}");
            for d in [0.3, 1.0, 2.5] {
                let found = task.sensitivity(task.share_right(d)).expect("finite");
                assert!((found - d).abs() < 1e-6, "{task:?} at {d}: {found}");
            }
            assert_eq!((task.sensitivity(0.2), task.sensitivity(1.0)), (Some(0.0), None));
            assert_eq!(task.sensitivity(f64::NAN), None);
        }
    }

    /// One right answer or not, by what the listener is taken to do.
    fn answers_right(task: Task, d: f64, rng: &mut ChaCha8Rng) -> bool {
        let mut draw =
            |mean: f64| -> f64 { mean + <StandardNormal as Distribution<f64>>::sample(&StandardNormal, rng) };
        match task {
            Task::TwoAlternatives => draw(d) > draw(0.0),
            // The unknown is the second of two: nearer to it.
            Task::MatchDifferencing => {
                let (a, b, x) = (draw(0.0), draw(d), draw(d));
                (x - b).abs() < (x - a).abs()
            }
            // Which is which, and what the unknown is, each by its own criterion.
            Task::MatchIndependent => {
                let (a, b, x) = (draw(0.0), draw(d), draw(d));
                (b > a) == (x > d / 2.0)
            }
            // The odd one lies farthest from the other two: those two lie nearest together.
            Task::Triangle => {
                let (odd, one, two) = (draw(d), draw(0.0), draw(0.0));
                let apart = (one - two).abs();
                apart < (odd - one).abs() && apart < (odd - two).abs()
            }
        }
    }

    #[test]
    fn made_listeners_are_right_as_often_as_said() {
        let mut rng = ChaCha8Rng::seed_from_u64(11);
        const N: u32 = 40_000;
        for task in TASKS {
            for d in [0.8, 2.0] {
                let n_right = (0..N).filter(|_| answers_right(task, d, &mut rng)).count();
                let (found, said) = (n_right as f64 / f64::from(N), task.share_right(d));
                // Four standard errors of a share.
                assert!(
                    (found - said).abs() < 4.0 * 0.5 / f64::from(N).sqrt(),
                    "{task:?} at {d}: {found}, {said}"
                );
            }
        }
    }
}
