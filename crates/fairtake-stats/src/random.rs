//! Correlated normal draws, made once and used by everything that simulates. In single precision: what simulates counts
//! thousands of them, which tell a share to a hundredth, and half the memory is fetched from the system.

use crate::matrix::Matrix;
use fairtake_transform::{Work, widest};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;
use rand_distr::{Distribution, StandardNormal};

/// So many rows are made at once.
const AT_ONCE: usize = 16;

/// Rows of standard normal errors with a given correlation between columns.
#[derive(Debug, Clone, PartialEq)]
pub struct Draws {
    n_rows: usize,
    n_cols: usize,
    /// Row after row.
    rows: Vec<f32>,
}

impl Draws {
    /// `n_draws` rows with the given correlation; the same seed gives the same rows.
    pub fn new(correlation: &Matrix, n_draws: usize, seed: u64) -> Draws {
        let lower = correlation.cholesky();
        let m = correlation.n_cols();
        let lower: Vec<Vec<f32>> =
            (0..m).map(|i| lower.row(i)[..=i].iter().map(|v| *v as f32).collect()).collect();
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let mut rows = vec![0.0; n_draws * m];
        let mut white = vec![[0.0; AT_ONCE]; m];
        for first in (0..n_draws).step_by(AT_ONCE) {
            let n = AT_ONCE.min(n_draws - first);
            for draw in 0..n {
                white.iter_mut().for_each(|w| w[draw] = StandardNormal.sample(&mut rng));
            }
            let rows = &mut rows[first * m..(first + n) * m];
            widest(Correlated { lower: &lower, white: &white, rows });
        }
        Draws { n_rows: n_draws, n_cols: m, rows }
    }

    /// How many rows there are.
    pub fn len(&self) -> usize {
        self.n_rows
    }

    /// True without any row.
    pub fn is_empty(&self) -> bool {
        self.n_rows == 0
    }

    /// Row number `k`, counted on from the start again beyond the last.
    ///
    /// # Panics
    /// If there are no rows.
    pub fn row(&self, k: usize) -> &[f32] {
        let from = k % self.n_rows * self.n_cols;
        &self.rows[from..from + self.n_cols]
    }
}

/// Some rows out of uncorrelated ones that stand side by side.
struct Correlated<'a> {
    lower: &'a [Vec<f32>],
    white: &'a [[f32; AT_ONCE]],
    rows: &'a mut [f32],
}

impl Work for Correlated<'_> {
    type Out = ();

    #[inline(always)]
    fn done(self) {
        let m = self.white.len();
        for (i, weights) in self.lower.iter().enumerate() {
            let sums = weighted(weights, self.white);
            self.rows.chunks_exact_mut(m).zip(sums).for_each(|(row, sum)| row[i] = sum);
        }
    }
}

/// Weighted sums over columns, of rows that stand side by side.
#[inline(always)]
fn weighted(weights: &[f32], columns: &[[f32; AT_ONCE]]) -> [f32; AT_ONCE] {
    let mut sums = [0f32; AT_ONCE];
    for (weight, column) in weights.iter().zip(columns) {
        for k in 0..AT_ONCE {
            sums[k] += weight * column[k];
        }
    }
    sums
}

/// Sum of products, four sums at a time: no chain of additions.
pub(crate) fn dot(a: &[f64], b: &[f64]) -> f64 {
    let ((a, a_rest), (b, b_rest)) = (a.as_chunks::<4>(), b.as_chunks::<4>());
    let mut sums = [0.0; 4];
    for (a, b) in a.iter().zip(b) {
        (0..4).for_each(|k| sums[k] += a[k] * b[k]);
    }
    sums.iter().sum::<f64>() + a_rest.iter().zip(b_rest).map(|(x, y)| x * y).sum::<f64>()
}
