//! Dense row-major matrices, only as much as the curve engine needs.

/// A dense matrix of `n_rows × n_cols`, row-major.
#[derive(Debug, Clone, PartialEq)]
pub struct Matrix {
    n_rows: usize,
    n_cols: usize,
    data: Vec<f64>,
}

impl Matrix {
    /// A matrix of zeros.
    pub fn zeros(n_rows: usize, n_cols: usize) -> Matrix {
        Matrix { n_rows, n_cols, data: vec![0.0; n_rows * n_cols] }
    }

    /// A matrix from row-major data.
    ///
    /// # Panics
    /// If `data` does not hold `n_rows × n_cols` values.
    pub fn from_rows(n_rows: usize, n_cols: usize, data: Vec<f64>) -> Matrix {
        assert_eq!(data.len(), n_rows * n_cols, "row-major data must fill the matrix");
        Matrix { n_rows, n_cols, data }
    }

    /// Number of rows.
    pub fn n_rows(&self) -> usize {
        self.n_rows
    }

    /// Number of columns.
    pub fn n_cols(&self) -> usize {
        self.n_cols
    }

    /// One row.
    pub fn row(&self, row: usize) -> &[f64] {
        &self.data[row * self.n_cols..(row + 1) * self.n_cols]
    }

    /// One row, to be written.
    pub fn row_mut(&mut self, row: usize) -> &mut [f64] {
        &mut self.data[row * self.n_cols..(row + 1) * self.n_cols]
    }

    /// One element.
    pub fn at(&self, row: usize, col: usize) -> f64 {
        self.data[row * self.n_cols + col]
    }

    /// Sets one element.
    pub fn set(&mut self, row: usize, col: usize, value: f64) {
        self.data[row * self.n_cols + col] = value;
    }

    /// Appends a row.
    ///
    /// # Panics
    /// If the row has another length than the matrix has columns.
    pub fn push_row(&mut self, row: &[f64]) {
        assert_eq!(row.len(), self.n_cols, "a row has one value per column");
        self.data.extend_from_slice(row);
        self.n_rows += 1;
    }

    /// Mean of every column; zeros for a matrix without rows.
    pub fn column_means(&self) -> Vec<f64> {
        let mut mean = vec![0.0; self.n_cols];
        for row in 0..self.n_rows {
            for (m, v) in mean.iter_mut().zip(self.row(row)) {
                *m += v;
            }
        }
        mean.iter_mut().for_each(|m| *m /= self.n_rows.max(1) as f64);
        mean
    }

    /// Only the columns for which `keep` is true.
    pub fn keep_columns(&self, keep: &[bool]) -> Matrix {
        let n_cols = keep.iter().filter(|k| **k).count();
        let mut out = Matrix::zeros(0, n_cols);
        for row in 0..self.n_rows {
            let kept: Vec<f64> =
                self.row(row).iter().zip(keep).filter(|(_, k)| **k).map(|(v, _)| *v).collect();
            out.push_row(&kept);
        }
        out
    }

    /// Lower Cholesky factor of a symmetric matrix. One of low rank, as a smooth correlation is, has its diagonal raised
    /// by a hundred-millionth of its greatest value first: divided by pivots that are nothing but rounding, the errors would
    /// grow from column to column without bound.
    ///
    /// # Panics
    /// If the matrix is not square.
    pub fn cholesky(&self) -> Matrix {
        assert_eq!(self.n_rows, self.n_cols, "only square matrices have a Cholesky factor");
        let greatest = (0..self.n_rows).map(|i| self.at(i, i)).fold(0.0, f64::max);
        match self.factor_raised(0.0) {
            (lower, least) if least >= LEAST_PIVOT * greatest => lower,
            _ => self.factor_raised(RAISED * greatest).0,
        }
    }

    /// The factor with so much added to the diagonal, and the least pivot met.
    fn factor_raised(&self, added: f64) -> (Matrix, f64) {
        let n = self.n_rows;
        let (mut lower, mut least) = (Matrix::zeros(n, n), f64::INFINITY);
        for i in 0..n {
            for j in 0..=i {
                let dot: f64 = lower.row(i)[..j].iter().zip(&lower.row(j)[..j]).map(|(a, b)| a * b).sum();
                let rest = self.at(i, j) - dot;
                let value = if i == j {
                    least = least.min(rest + added);
                    (rest + added).max(1e-300).sqrt()
                } else {
                    rest / lower.at(j, j)
                };
                lower.set(i, j, value);
            }
        }
        (lower, least)
    }
}

/// A pivot smaller than this share of the greatest diagonal element may be rounding.
const LEAST_PIVOT: f64 = 1e-10;

/// What the diagonal is raised by then, as a share of the same.
const RAISED: f64 = 1e-8;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_cholesky_factor_times_its_transpose_is_the_matrix() {
        let m = Matrix::from_rows(3, 3, vec![4.0, 2.0, 0.6, 2.0, 5.0, 1.0, 0.6, 1.0, 3.0]);
        let l = m.cholesky();
        for i in 0..3 {
            for j in 0..3 {
                let product: f64 = (0..3).map(|k| l.at(i, k) * l.at(j, k)).sum();
                // Exact: rounding of a few operations only.
                assert!((product - m.at(i, j)).abs() < 1e-14);
            }
        }
    }

    #[test]
    fn a_smooth_correlation_of_low_rank_is_factored_too() {
        // Bells of half an octave over ten octaves of twelfths: hardly thirty of 120 directions differ.
        let n = 120;
        let mut m = Matrix::zeros(n, n);
        for i in 0..n {
            for j in 0..n {
                let octaves = (i as f64 - j as f64) / 12.0 / 0.5;
                m.set(i, j, (-0.5 * octaves * octaves).exp());
            }
        }
        let l = m.cholesky();
        for i in 0..n {
            for j in 0..n {
                let product: f64 = (0..n).map(|k| l.at(i, k) * l.at(j, k)).sum();
                // The diagonal is raised by 1e-8; rounding grows by a factor of its inverse.
                assert!((product - m.at(i, j)).abs() < 1e-7, "{i} {j}: {product}");
            }
        }
    }
}
