//! Correlated normal draws, made once and used by everything that simulates.

use crate::matrix::Matrix;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;
use rand_distr::{Distribution, StandardNormal};

/// Rows of standard normal errors with a given correlation between columns.
#[derive(Debug, Clone, PartialEq)]
pub struct Draws {
    rows: Matrix,
}

impl Draws {
    /// `n_draws` rows with the given correlation; the same seed gives the same rows.
    pub fn new(correlation: &Matrix, n_draws: usize, seed: u64) -> Draws {
        let lower = correlation.cholesky();
        let m = correlation.n_cols();
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let mut rows = Matrix::zeros(n_draws, m);
        let mut white = vec![0.0; m];
        for draw in 0..n_draws {
            white.iter_mut().for_each(|w| *w = StandardNormal.sample(&mut rng));
            let out = rows.row_mut(draw);
            for (i, o) in out.iter_mut().enumerate() {
                *o = dot(&lower.row(i)[..=i], &white[..=i]);
            }
        }
        Draws { rows }
    }

    /// How many rows there are.
    pub fn len(&self) -> usize {
        self.rows.n_rows()
    }

    /// True without any row.
    pub fn is_empty(&self) -> bool {
        self.rows.n_rows() == 0
    }

    /// Row number `k`, counted on from the start again beyond the last.
    ///
    /// # Panics
    /// If there are no rows.
    pub fn row(&self, k: usize) -> &[f64] {
        self.rows.row(k % self.rows.n_rows())
    }
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
