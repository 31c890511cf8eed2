//! Damped least squares.

use fairtake_stats::matrix::Matrix;

/// The normal equations of a step, the same for every damping that is tried.
pub(crate) struct Normal {
    products: Matrix,
    towards: Vec<f64>,
}

impl Normal {
    /// From slopes by parameter, and what is off.
    pub fn of(slopes: &[Vec<f64>], off: &[f64]) -> Normal {
        let n = slopes.len();
        let product = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(x, y)| x * y).sum::<f64>();
        let mut products = Matrix::zeros(n, n);
        for i in 0..n {
            for j in 0..=i {
                let both = product(&slopes[i], &slopes[j]);
                products.set(i, j, both);
                products.set(j, i, both);
            }
        }
        Normal { products, towards: slopes.iter().map(|s| -product(s, off)).collect() }
    }

    /// The damped step towards less distance.
    pub fn step(&self, damping: f64) -> Vec<f64> {
        let n = self.towards.len();
        let mut normal = self.products.clone();
        for i in 0..n {
            let own = self.products.at(i, i);
            normal.set(i, i, own + damping * (own + 1e-9) + 1e-12);
        }
        let root = normal.cholesky();
        let mut x = self.towards.clone();
        for i in 0..n {
            let known: f64 = (0..i).map(|j| root.at(i, j) * x[j]).sum();
            x[i] = (x[i] - known) / root.at(i, i).max(1e-12);
        }
        for i in (0..n).rev() {
            let known: f64 = (i + 1..n).map(|j| root.at(j, i) * x[j]).sum();
            x[i] = (x[i] - known) / root.at(i, i).max(1e-12);
        }
        x
    }
}
