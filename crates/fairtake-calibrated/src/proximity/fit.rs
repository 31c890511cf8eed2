//! The fit: acoustic centre and gradient share from all bands and distances at once.
//!
//! Unknown are a level for each band, the sum of the acoustic centres' offsets, the square of the gradient share, and, where
//! distances are not exact, the error of every distance, held by what is known of it. So the errors that all bands of a take share
//! are not taken for so many independent ones. Least squares by Gauss and Newton, damped after Levenberg and Marquardt.

use super::model::Source;
use fairtake_stats::matrix::Matrix;

/// Steps of the search at most.
const N_STEPS: usize = 80;
/// A step that gains less than this share ends the search.
const SETTLED: f64 = 1e-10;
/// The acoustic centres are never nearer than this, in m.
const NEAREST_M: f64 = 1e-3;
/// Where searches begin: offsets in m, and the square of the gradient share.
const STARTS: [(f64, f64); 4] = [(0.0, 0.25), (0.03, 0.25), (-0.01, 0.5), (0.01, 0.02)];

/// What is fitted.
#[derive(Debug, Clone)]
pub(super) struct Problem<'a> {
    /// Logged distances in m.
    pub distances_m: &'a [f64],
    /// Middles of the bands in Hz.
    pub bands_hz: &'a [f64],
    /// Per distance and band: level and its standard uncertainty in dB.
    pub levels: &'a [Vec<(f64, f64)>],
    /// Standard uncertainty of one distance in m; 0: exact.
    pub distance_standard_m: f64,
    /// Source and air.
    pub source: Source,
}

/// What was found.
#[derive(Debug, Clone)]
pub(super) struct Fit {
    /// Sum of the offsets in m: acoustic distance less logged distance.
    pub centre_m: f64,
    /// Square of the gradient share.
    pub square: f64,
    /// Errors of the distances in m.
    pub errors_m: Vec<f64>,
    /// What is left of every level, in dB.
    pub left_db: Vec<Vec<f64>>,
    /// Weighted sum of squares over its degrees of freedom: 1 where readings and distances explain what is left.
    pub excess: f64,
    /// Those degrees of freedom.
    pub df: f64,
    /// Variances of centre and square and their covariance, by the readings.
    pub by_readings: [f64; 3],
    /// The same by the distances.
    pub by_distances: [f64; 3],
}

impl Problem<'_> {
    fn n_errors(&self) -> usize {
        if self.distance_standard_m > 0.0 { self.distances_m.len() } else { 0 }
    }

    /// The best of several searches.
    pub fn solve(&self) -> Option<Fit> {
        let best = STARTS
            .iter()
            .filter_map(|(centre_m, square)| self.search(*centre_m, *square))
            .min_by(|a, b| a.1.total_cmp(&b.1))?;
        self.finished(best.0, best.1)
    }

    /// Centre, square, levels of bands, errors of distances.
    fn start(&self, centre_m: f64, square: f64) -> Vec<f64> {
        let mut x = vec![centre_m, square];
        let n = self.distances_m.len() as f64;
        for (b, hz) in self.bands_hz.iter().enumerate() {
            let off = self.distances_m.iter().zip(self.levels).map(|(d, levels)| {
                levels[b].0 - self.source.level_db((d + centre_m).max(NEAREST_M), *hz, square)
            });
            x.push(off.sum::<f64>() / n);
        }
        x.resize(x.len() + self.n_errors(), 0.0);
        x
    }

    fn distance_m(&self, x: &[f64], i: usize) -> f64 {
        let error = if self.n_errors() > 0 { x[2 + self.bands_hz.len() + i] } else { 0.0 };
        self.distances_m[i] + x[0] + error
    }

    fn cost(&self, x: &[f64]) -> f64 {
        let mut sum = 0.0;
        for (i, levels) in self.levels.iter().enumerate() {
            let d = self.distance_m(x, i);
            if d < NEAREST_M || x[1] < -0.5 || x[1] > 4.0 {
                return f64::INFINITY;
            }
            for (b, (level, standard)) in levels.iter().enumerate() {
                let model = x[2 + b] + self.source.level_db(d, self.bands_hz[b], x[1]);
                sum += ((level - model) / standard).powi(2);
            }
        }
        sum + x[2 + self.bands_hz.len()..].iter().map(|e| (e / self.distance_standard_m).powi(2)).sum::<f64>()
    }

    /// Matrix of the normal equations by the readings alone, and their right side with the distances' share.
    fn equations(&self, x: &[f64]) -> (Matrix, Vec<f64>) {
        let (n, m) = (x.len(), self.bands_hz.len());
        let (mut normal, mut right) = (Matrix::zeros(n, n), vec![0.0; n]);
        for (i, levels) in self.levels.iter().enumerate() {
            let d = self.distance_m(x, i);
            for (b, (level, standard)) in levels.iter().enumerate() {
                let at = |d: f64, square: f64| self.source.level_db(d, self.bands_hz[b], square);
                let (h, s) = (1e-4 * d, 1e-4);
                let by_distance = (at(d + h, x[1]) - at(d - h, x[1])) / (2.0 * h);
                let by_square = (at(d, x[1] + s) - at(d, x[1] - s)) / (2.0 * s);
                let mut row = vec![(0, by_distance), (1, by_square), (2 + b, 1.0)];
                if self.n_errors() > 0 {
                    row.push((2 + m + i, by_distance));
                }
                let left = level - x[2 + b] - at(d, x[1]);
                let weight = 1.0 / (standard * standard);
                for (p, vp) in &row {
                    right[*p] += weight * vp * left;
                    row.iter().for_each(|(q, vq)| normal.set(*p, *q, normal.at(*p, *q) + weight * vp * vq));
                }
            }
        }
        let held = 1.0 / self.distance_standard_m.powi(2);
        (2 + m..n).for_each(|k| right[k] -= held * x[k]);
        (normal, right)
    }

    fn with_distances(&self, mut normal: Matrix) -> Matrix {
        for k in 2 + self.bands_hz.len()..normal.n_rows() {
            normal.set(k, k, normal.at(k, k) + 1.0 / self.distance_standard_m.powi(2));
        }
        normal
    }

    fn search(&self, centre_m: f64, square: f64) -> Option<(Vec<f64>, f64)> {
        let mut x = self.start(centre_m, square);
        let mut cost = self.cost(&x);
        let mut damping = 1e-3;
        for _ in 0..N_STEPS {
            let (normal, right) = self.equations(&x);
            let mut damped = self.with_distances(normal);
            (0..x.len()).for_each(|k| damped.set(k, k, damped.at(k, k) * (1.0 + damping)));
            let step = Solver::new(&damped).solve(&right);
            let next: Vec<f64> = x.iter().zip(&step).map(|(x, s)| x + s).collect();
            let next_cost = self.cost(&next);
            if next_cost <= cost {
                let settled = cost - next_cost <= SETTLED * (1.0 + cost);
                (x, cost, damping) = (next, next_cost, damping / 10.0);
                if settled {
                    break;
                }
            } else {
                damping = (damping * 10.0).max(1e-6);
                if damping > 1e8 {
                    break;
                }
            }
        }
        cost.is_finite().then_some((x, cost))
    }

    fn finished(&self, x: Vec<f64>, cost: f64) -> Option<Fit> {
        let m = self.bands_hz.len();
        let (readings, _) = self.equations(&x);
        let solver = Solver::new(&self.with_distances(readings.clone()));
        // Rows of the inverse that belong to centre and square.
        let rows = [0, 1].map(|k| {
            let mut unit = vec![0.0; x.len()];
            unit[k] = 1.0;
            solver.solve(&unit)
        });
        let n_levels = self.levels.len() * m;
        let df = n_levels as f64 - m as f64 - 2.0;
        let by_readings = through(&rows, |a, b| {
            (0..x.len()).map(|i| a[i] * (0..x.len()).map(|j| readings.at(i, j) * b[j]).sum::<f64>()).sum()
        });
        let held = if self.n_errors() > 0 { 1.0 / self.distance_standard_m.powi(2) } else { 0.0 };
        let by_distances = through(&rows, |a, b| (2 + m..x.len()).map(|k| held * a[k] * b[k]).sum());
        let left_db = self
            .levels
            .iter()
            .enumerate()
            .map(|(i, levels)| {
                let d = self.distance_m(&x, i);
                let left = |(b, (level, _)): (usize, &(f64, f64))| {
                    level - x[2 + b] - self.source.level_db(d, self.bands_hz[b], x[1])
                };
                levels.iter().enumerate().map(left).collect()
            })
            .collect();
        (df > 0.0 && x.iter().all(|v| v.is_finite())).then(|| Fit {
            centre_m: x[0],
            square: x[1],
            errors_m: x[2 + m..].to_vec(),
            left_db,
            excess: cost / df,
            df,
            by_readings,
            by_distances,
        })
    }
}

/// Variances and covariance of two rows of an inverse.
fn through(rows: &[Vec<f64>; 2], product: impl Fn(&[f64], &[f64]) -> f64) -> [f64; 3] {
    [product(&rows[0], &rows[0]), product(&rows[1], &rows[1]), product(&rows[0], &rows[1])]
}

/// Solves with a symmetric positive matrix, brought to a unit diagonal first.
struct Solver {
    scale: Vec<f64>,
    lower: Matrix,
}

impl Solver {
    fn new(matrix: &Matrix) -> Solver {
        let n = matrix.n_rows();
        let scale: Vec<f64> = (0..n).map(|k| matrix.at(k, k).max(1e-300).sqrt().recip()).collect();
        let mut unit = Matrix::zeros(n, n);
        (0..n).for_each(|i| (0..n).for_each(|j| unit.set(i, j, matrix.at(i, j) * scale[i] * scale[j])));
        Solver { scale, lower: unit.cholesky() }
    }

    fn solve(&self, right: &[f64]) -> Vec<f64> {
        let n = right.len();
        let mut y: Vec<f64> = right.iter().zip(&self.scale).map(|(r, s)| r * s).collect();
        for i in 0..n {
            let sum: f64 = (0..i).map(|j| self.lower.at(i, j) * y[j]).sum();
            y[i] = (y[i] - sum) / self.lower.at(i, i);
        }
        for i in (0..n).rev() {
            let sum: f64 = (i + 1..n).map(|j| self.lower.at(j, i) * y[j]).sum();
            y[i] = (y[i] - sum) / self.lower.at(i, i);
        }
        y.iter().zip(&self.scale).map(|(y, s)| y * s).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_system_of_uneven_sizes_is_solved() {
        let m = Matrix::from_rows(3, 3, vec![4e6, 2e3, 0.6, 2e3, 5.0, 1e-3, 0.6, 1e-3, 3e-6]);
        let x = [1e-3, 2.0, -500.0];
        let right: Vec<f64> = (0..3).map(|i| (0..3).map(|j| m.at(i, j) * x[j]).sum()).collect();
        // Rounding of a few operations.
        for (found, x) in Solver::new(&m).solve(&right).iter().zip(x) {
            assert!((found / x - 1.0).abs() < 1e-9, "{found} {x}");
        }
    }
}
