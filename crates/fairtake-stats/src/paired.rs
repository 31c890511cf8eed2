//! Paired preference: worths of several items from which of two was preferred (Bradley and Terry's model).

use crate::matrix::Matrix;
use crate::student::t_factor;

/// The same pair judged so many times in the same order.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Judged {
    /// Item presented first, or at home.
    pub first: usize,
    /// Item presented second.
    pub second: usize,
    /// How often the first one was preferred.
    pub n_first: u64,
    /// How often the second one was.
    pub n_second: u64,
}

/// Whether the place of presentation may count.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Order {
    /// It is taken not to.
    Ignored,
    /// A constant advantage of the first one is estimated with the worths.
    Estimated,
}

/// Why no worths can be had.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum NoWorths {
    /// Nothing was judged, or an item that there is not.
    Nothing,
    /// These items, on one side, were always preferred to all others that they met, or never met them: their distance has
    /// no upper bound.
    Apart(Vec<usize>),
}

/// Worths of items.
#[derive(Debug, Clone, PartialEq)]
pub struct Worths {
    /// Natural logarithm of each worth; they sum to zero.
    pub log_worth: Vec<f64>,
    /// Advantage of the first place in log odds, and its standard error.
    pub order_effect: Option<(f64, f64)>,
    /// Covariance of the log worths.
    covariance: Matrix,
    /// Degrees of freedom of that covariance.
    df: f64,
}

impl Worths {
    /// Worths that sum to one: the chance of being preferred, were each alone with the choice among all.
    pub fn shares(&self) -> Vec<f64> {
        let sum: f64 = self.log_worth.iter().map(|l| l.exp()).sum();
        self.log_worth.iter().map(|l| l.exp() / sum).collect()
    }

    /// Log odds of preferring one item to another, and its standard error.
    pub fn log_odds(&self, item: usize, other: usize) -> (f64, f64) {
        let c = |i: usize, j: usize| self.covariance.at(i, j);
        let variance = c(item, item) + c(other, other) - 2.0 * c(item, other);
        (self.log_worth[item] - self.log_worth[other], variance.max(0.0).sqrt())
    }

    /// Chance of preferring one item to another with its interval: estimate, low, high.
    pub fn chance(&self, item: usize, other: usize, confidence: f64) -> [f64; 3] {
        let (log_odds, error) = self.log_odds(item, other);
        let half = t_factor(confidence, self.df) * error;
        [log_odds, log_odds - half, log_odds + half].map(logistic)
    }

    /// Interval of a log worth, which is relative to the mean of all.
    pub fn interval(&self, item: usize, confidence: f64) -> (f64, f64) {
        let half = t_factor(confidence, self.df) * self.covariance.at(item, item).max(0.0).sqrt();
        (self.log_worth[item] - half, self.log_worth[item] + half)
    }
}

/// Worths of `n_items` items by maximum likelihood, all judgements independent.
///
/// # Errors
/// When the worths have no finite estimate.
///
/// # Source
/// Bradley and Terry (1952), Biometrika 39; minorisation–maximisation by Hunter (2004), Annals of Statistics 32; standard
/// errors by the observed information. Checked against the example of Agresti, Categorical Data Analysis, 2nd ed.,
/// section 10.6, in `reference/10_bradley_terry.toml`.
pub fn worths(n_items: usize, judged: &[Judged], order: Order) -> Result<Worths, NoWorths> {
    let fit = Fit::of(n_items, judged, order)?;
    Ok(fit.worths(&fit.inverse, f64::INFINITY))
}

/// The same where judgements of one listener hang together: one entry of `listeners` each.
///
/// The variance is the greater of that by the model and that between listeners, with one degree of freedom fewer than
/// listeners; of one listener alone it is the model's, and says nothing about others.
///
/// # Errors
/// As [`worths`].
///
/// # Source
/// Variance between clusters by linearisation: Liang and Zeger (1986), Biometrika 73. Coverage by simulation:
/// docs/methods/listening.md.
pub fn worths_of_listeners(
    n_items: usize,
    listeners: &[Vec<Judged>],
    order: Order,
) -> Result<Worths, NoWorths> {
    let all: Vec<Judged> = listeners.iter().flatten().copied().collect();
    let fit = Fit::of(n_items, &all, order)?;
    let scores: Vec<Vec<f64>> = listeners.iter().filter(|l| !l.is_empty()).map(|l| fit.score(l)).collect();
    let k = scores.len() as f64;
    if scores.len() < 2 {
        return Ok(fit.worths(&fit.inverse, f64::INFINITY));
    }
    let m = fit.inverse.n_rows();
    let between = |i: usize, j: usize| scores.iter().map(|s| s[i] * s[j]).sum::<f64>() * k / (k - 1.0);
    let mut meat = Matrix::zeros(m, m);
    (0..m).for_each(|i| (0..m).for_each(|j| meat.set(i, j, between(i, j))));
    let robust = product(&product(&fit.inverse, &meat), &fit.inverse);
    // As whole matrices, so that the covariance stays one: scaled up until no item's variance is below the model's.
    let raised = (0..n_items)
        .map(|i| fit.inverse.at(i, i) / robust.at(i, i).max(f64::MIN_POSITIVE))
        .fold(1.0, f64::max);
    let covariance =
        if raised.is_finite() && raised < 1e6 { scaled(&robust, raised) } else { fit.inverse.clone() };
    Ok(fit.worths(&covariance, k - 1.0))
}

/// A maximum of the likelihood.
struct Fit {
    n_items: usize,
    log_worth: Vec<f64>,
    log_order: Option<f64>,
    /// Covariance by the model: of the log worths with sum zero and, last, the order effect.
    inverse: Matrix,
}

/// Steps at most, and the change of a log worth at which the estimate stands: a thousandth of the printed digits of any
/// table.
const MOST_STEPS: usize = 100_000;
const STANDS_AT: f64 = 1e-13;

impl Fit {
    fn of(n_items: usize, judged: &[Judged], order: Order) -> Result<Fit, NoWorths> {
        let n_judged: u64 = judged.iter().map(|j| j.n_first + j.n_second).sum();
        if n_judged == 0 || judged.iter().any(|j| j.first.max(j.second) >= n_items || j.first == j.second) {
            return Err(NoWorths::Nothing);
        }
        if let Some(apart) = apart(n_items, judged) {
            return Err(NoWorths::Apart(apart));
        }
        let mut fit = Fit {
            n_items,
            log_worth: vec![0.0; n_items],
            log_order: (order == Order::Estimated).then_some(0.0),
            inverse: Matrix::zeros(0, 0),
        };
        for _ in 0..MOST_STEPS {
            if fit.step(judged) < STANDS_AT {
                break;
            }
        }
        fit.inverse = inverse(fit.information(judged));
        // Takes the fixed shift out again: (information + 11ᵀ)⁻¹ holds 11ᵀ/n² beside the covariance.
        let shift = 1.0 / (n_items * n_items) as f64;
        let held = fit.inverse.clone();
        (0..n_items).for_each(|i| (0..n_items).for_each(|j| fit.inverse.set(i, j, held.at(i, j) - shift)));
        Ok(fit)
    }

    /// One step of minorisation and maximisation; returns the greatest change.
    fn step(&mut self, judged: &[Judged]) -> f64 {
        let worth: Vec<f64> = self.log_worth.iter().map(|l| l.exp()).collect();
        let ahead = self.log_order.unwrap_or(0.0).exp();
        let (mut wins, mut weight) = (vec![0.0; self.n_items], vec![0.0; self.n_items]);
        let (mut wins_first, mut weight_first) = (0.0, 0.0);
        for j in judged {
            let (n_first, n_second) = (j.n_first as f64, j.n_second as f64);
            let each = (n_first + n_second) / (ahead * worth[j.first] + worth[j.second]);
            wins[j.first] += n_first;
            wins[j.second] += n_second;
            weight[j.first] += ahead * each;
            weight[j.second] += each;
            wins_first += n_first;
            weight_first += worth[j.first] * each;
        }
        let mut next: Vec<f64> = (0..self.n_items).map(|i| (wins[i] / weight[i]).ln()).collect();
        let mean = next.iter().sum::<f64>() / self.n_items as f64;
        next.iter_mut().for_each(|l| *l -= mean);
        let mut change = next.iter().zip(&self.log_worth).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
        self.log_worth = next;
        if let Some(log_order) = &mut self.log_order {
            let next = (wins_first / weight_first).ln();
            change = f64::max(change, (next - *log_order).abs());
            *log_order = next;
        }
        change
    }

    fn chance_first(&self, j: &Judged) -> f64 {
        logistic(self.log_worth[j.first] - self.log_worth[j.second] + self.log_order.unwrap_or(0.0))
    }

    fn n_unknown(&self) -> usize {
        self.n_items + usize::from(self.log_order.is_some())
    }

    /// Direction of a judgement in the unknowns.
    fn direction(&self, j: &Judged) -> Vec<f64> {
        let mut x = vec![0.0; self.n_unknown()];
        x[j.first] = 1.0;
        x[j.second] = -1.0;
        if self.log_order.is_some() {
            x[self.n_items] = 1.0;
        }
        x
    }

    /// Information of the unknowns; a constant shift of all log worths, which is none, is taken as fixed by one unit.
    fn information(&self, judged: &[Judged]) -> Matrix {
        let m = self.n_unknown();
        let mut out = Matrix::zeros(m, m);
        for j in judged {
            let p = self.chance_first(j);
            let v = (j.n_first + j.n_second) as f64 * p * (1.0 - p);
            let x = self.direction(j);
            (0..m).for_each(|a| (0..m).for_each(|b| out.set(a, b, out.at(a, b) + v * x[a] * x[b])));
        }
        let n = self.n_items;
        (0..n).for_each(|a| (0..n).for_each(|b| out.set(a, b, out.at(a, b) + 1.0)));
        out
    }

    /// Slope of one listener's log likelihood.
    fn score(&self, judged: &[Judged]) -> Vec<f64> {
        let mut out = vec![0.0; self.n_unknown()];
        for j in judged {
            let over = j.n_first as f64 - (j.n_first + j.n_second) as f64 * self.chance_first(j);
            out.iter_mut().zip(self.direction(j)).for_each(|(o, x)| *o += over * x);
        }
        out
    }

    fn worths(&self, covariance: &Matrix, df: f64) -> Worths {
        let n = self.n_items;
        let mut of_items = Matrix::zeros(n, n);
        (0..n).for_each(|i| (0..n).for_each(|j| of_items.set(i, j, covariance.at(i, j))));
        let order_effect = self.log_order.map(|log| (log, covariance.at(n, n).max(0.0).sqrt()));
        Worths { log_worth: self.log_worth.clone(), order_effect, covariance: of_items, df }
    }
}

/// Items from which not every other can be reached by "was preferred at least once": those reached, with the start.
fn apart(n_items: usize, judged: &[Judged]) -> Option<Vec<usize>> {
    (0..n_items).find_map(|start| {
        let mut reached = vec![false; n_items];
        reached[start] = true;
        let mut grown = true;
        while grown {
            grown = false;
            for j in judged {
                for (winner, loser, n) in [(j.first, j.second, j.n_first), (j.second, j.first, j.n_second)] {
                    if n > 0 && reached[loser] && !reached[winner] {
                        reached[winner] = true;
                        grown = true;
                    }
                }
            }
        }
        let held: Vec<usize> = (0..n_items).filter(|i| reached[*i]).collect();
        (held.len() < n_items).then_some(held)
    })
}

fn logistic(x: f64) -> f64 {
    1.0 / (1.0 + (-x).exp())
}

fn scaled(a: &Matrix, by: f64) -> Matrix {
    let data = (0..a.n_rows()).flat_map(|i| a.row(i).iter().map(move |x| x * by)).collect();
    Matrix::from_rows(a.n_rows(), a.n_cols(), data)
}

fn product(a: &Matrix, b: &Matrix) -> Matrix {
    let mut out = Matrix::zeros(a.n_rows(), b.n_cols());
    for i in 0..a.n_rows() {
        for j in 0..b.n_cols() {
            out.set(i, j, (0..a.n_cols()).map(|k| a.at(i, k) * b.at(k, j)).sum());
        }
    }
    out
}

/// Inverse of a symmetric positive definite matrix, by Gauss and Jordan.
fn inverse(mut a: Matrix) -> Matrix {
    let n = a.n_rows();
    let mut out = Matrix::zeros(n, n);
    (0..n).for_each(|i| out.set(i, i, 1.0));
    for col in 0..n {
        let pivot = a.at(col, col);
        for k in 0..n {
            a.set(col, k, a.at(col, k) / pivot);
            out.set(col, k, out.at(col, k) / pivot);
        }
        for row in (0..n).filter(|row| *row != col) {
            let factor = a.at(row, col);
            for k in 0..n {
                a.set(row, k, a.at(row, k) - factor * a.at(col, k));
                out.set(row, k, out.at(row, k) - factor * out.at(col, k));
            }
        }
    }
    out
}

#[cfg(test)]
mod tests;
