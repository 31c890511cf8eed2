//! The pattern A + B·cos θ that fits measured levels best.
//!
//! Levels tell no sign: behind its null a pattern is of the other polarity. For every place where the null may lie the signs are
//! known and the fit to amplitudes is a line in cos θ; the fit to their squares begins at each of these lines, and the one that leaves
//! least is taken, so that nothing depends on where a search began. Squares need no sign, and a null that noise or the near field fills is no kink.

/// A fit; amplitudes are re the front's reading, and before a source far away.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Fit {
    /// Constant part.
    pub a: f64,
    /// Part that goes with the cosine.
    pub b: f64,
    /// Weighted sum of squares of what is left.
    pub left: f64,
    /// Standard uncertainty of B/(A + B) by the weights.
    pub share_standard: f64,
}

/// A point: angle in degrees, square of the amplitude, standard uncertainty of that.
pub(super) type Square = (f64, f64, f64);

/// So many steps of Gauss and Newton reach the least squares from the line's.
const STEPS: usize = 12;

impl Fit {
    /// B where A + B = 1.
    pub fn gradient_share(&self) -> f64 {
        self.b / (self.a + self.b)
    }

    /// Square of the amplitude at an angle before a point source, 2π times whose distance over the wavelength is `kr`: a gradient
    /// reads 1 − j/(kr) times as much as pressure there (a sphere's wave).
    pub fn squared(&self, angle_deg: f64, kr: f64) -> f64 {
        let x = angle_deg.to_radians().cos();
        (self.a + self.b * x).powi(2) + (self.b * x / kr).powi(2)
    }

    /// The least squares that are reached from here; `None` where none are.
    pub fn refined(mut self, points: &[Square], kr: f64) -> Option<Fit> {
        for _ in 0..STEPS {
            let (mut aa, mut ab, mut bb, mut ar, mut br, mut rr) = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0);
            for (angle, squared, standard) in points {
                let x = angle.to_radians().cos();
                let (weight, rest) = (1.0 / (standard * standard), squared - self.squared(*angle, kr));
                let by_a = 2.0 * (self.a + self.b * x);
                let by_b = by_a * x + 2.0 * self.b * (x / kr).powi(2);
                aa += weight * by_a * by_a;
                ab += weight * by_a * by_b;
                bb += weight * by_b * by_b;
                ar += weight * by_a * rest;
                br += weight * by_b * rest;
                rr += weight * rest * rest;
            }
            let det = aa * bb - ab * ab;
            self.a += (ar * bb - br * ab) / det;
            self.b += (br * aa - ar * ab) / det;
            // Gradient of b/(a + b) by a and b, and the covariance of both.
            let sum = self.a + self.b;
            let (by_a, by_b) = (-self.b / (sum * sum), self.a / (sum * sum));
            let variance = (by_a * by_a * bb - 2.0 * by_a * by_b * ab + by_b * by_b * aa) / det;
            (self.left, self.share_standard) = (rr, variance.max(0.0).sqrt());
        }
        let sounds = self.a + self.b > 0.0 && self.left.is_finite() && self.share_standard.is_finite();
        sounds.then_some(self)
    }
}

/// The best fit to points; `None` for fewer than three, or where none has a front that sounds.
pub(super) fn fit(points: &[Square], kr: f64) -> Option<Fit> {
    if points.len() < 3 {
        return None;
    }
    let mut order: Vec<usize> = (0..points.len()).collect();
    let cosine = |k: &usize| points[*k].0.to_radians().cos();
    order.sort_by(|p, q| cosine(q).total_cmp(&cosine(p)));
    let mut signs = vec![-1.0; points.len()];
    let mut best: Option<Fit> = None;
    // The front is never behind a null; one more point after the other is before it.
    for k in order {
        signs[k] = 1.0;
        let begun = line(points, &signs);
        let sounds = begun.a + begun.b > 0.0 && begun.left.is_finite();
        let Some(fit) = begun.refined(points, kr).filter(|_| sounds) else { continue };
        if best.is_none_or(|have| fit.left < have.left) {
            best = Some(fit);
        }
    }
    best
}

/// A line in the cosine through amplitudes of these signs.
fn line(points: &[Square], signs: &[f64]) -> Fit {
    let (mut w, mut wx, mut wxx, mut wy, mut wxy, mut wyy) = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0);
    for ((angle, squared, _), sign) in points.iter().zip(signs) {
        let (x, y) = (angle.to_radians().cos(), sign * squared.sqrt());
        w += 1.0;
        wx += x;
        wxx += x * x;
        wy += y;
        wxy += x * y;
        wyy += y * y;
    }
    let det = w * wxx - wx * wx;
    let (a, b) = ((wy * wxx - wxy * wx) / det, (wxy * w - wy * wx) / det);
    Fit { a, b, left: wyy - a * wy - b * wxy, share_standard: f64::NAN }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn points(b: f64, kr: f64) -> Vec<Square> {
        let pattern = Fit { a: 1.0 - b, b, left: 0.0, share_standard: 0.0 };
        let front = pattern.squared(0.0, kr);
        (0..13)
            .map(|k| 15.0 * f64::from(k))
            .map(|angle| (angle, pattern.squared(angle, kr) / front))
            .map(|(angle, squared)| (angle, squared, 0.02 * squared.sqrt().max(0.01)))
            .collect()
    }

    #[test]
    fn every_first_order_pattern_is_found_from_levels_alone() {
        for kr in [1.5, 9.0, 1e9] {
            for k in 0..=20 {
                let b = f64::from(k) / 20.0;
                let found = fit(&points(b, kr), kr).expect("thirteen points");
                // Exact: rounding only.
                assert!(
                    (found.gradient_share() - b).abs() < 1e-9 && found.left < 1e-9,
                    "{b} {kr}: {found:?}"
                );
            }
        }
    }

    #[test]
    fn its_standard_uncertainty_is_that_of_repeated_noise() {
        use fairtake_stats::matrix::Matrix;
        use fairtake_stats::random::Draws;
        let (kr, n) = (9.0, 2000);
        let clean = points(0.63, kr);
        let mut unit = Matrix::zeros(clean.len(), clean.len());
        (0..clean.len()).for_each(|i| unit.set(i, i, 1.0));
        let draws = Draws::new(&unit, n, 5);
        let shares: Vec<f64> = (0..n)
            .map(|k| {
                let noisy: Vec<Square> = clean
                    .iter()
                    .zip(draws.row(k))
                    .map(|((a, r, sd), z)| (*a, (r + sd * f64::from(*z)).max(0.0), *sd))
                    .collect();
                fit(&noisy, kr).expect("thirteen points").gradient_share()
            })
            .collect();
        let mean = shares.iter().sum::<f64>() / n as f64;
        let spread = (shares.iter().map(|s| (s - mean).powi(2)).sum::<f64>() / (n as f64 - 1.0)).sqrt();
        let stated = fit(&clean, kr).expect("thirteen points").share_standard;
        // A standard deviation from 2000 draws is good to 1.6 %; three of these.
        assert!((spread / stated - 1.0).abs() < 0.05, "{spread} {stated}");
    }
}
