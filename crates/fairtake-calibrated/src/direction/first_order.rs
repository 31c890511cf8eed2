//! The pattern A + B·cos θ that fits measured amplitudes best.
//!
//! Levels tell no sign: behind its null a pattern is of the other polarity. For every place where the null may lie the signs are
//! known and the fit is a line in cos θ; the place that leaves least is taken, so that nothing depends on where a search began.

/// A fit; amplitudes are re the front's reading.
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

impl Fit {
    /// B where A + B = 1.
    pub fn gradient_share(&self) -> f64 {
        self.b / (self.a + self.b)
    }

    /// Amplitude at an angle, re the fit's own front.
    pub fn amplitude(&self, angle_deg: f64) -> f64 {
        (self.a + self.b * angle_deg.to_radians().cos()).abs() / (self.a + self.b)
    }
}

/// A point: angle in degrees, amplitude, standard uncertainty of it.
pub(super) type Amplitude = (f64, f64, f64);

/// The best fit to points and the sign of each of them; `None` for fewer than three points, or where none has a front that
/// sounds.
pub(super) fn fit(points: &[Amplitude]) -> Option<(Fit, Vec<f64>)> {
    if points.len() < 3 {
        return None;
    }
    let mut order: Vec<usize> = (0..points.len()).collect();
    let cosine = |k: &usize| points[*k].0.to_radians().cos();
    order.sort_by(|p, q| cosine(q).total_cmp(&cosine(p)));
    let mut signs = vec![-1.0; points.len()];
    let mut best: Option<(Fit, Vec<f64>)> = None;
    // The front is never behind a null; one more point after the other is before it.
    for k in order {
        signs[k] = 1.0;
        let fit = fit_signed(points, &signs);
        let sounds = fit.a + fit.b > 0.0 && fit.left.is_finite();
        if sounds && best.as_ref().is_none_or(|(have, _)| fit.left < have.left) {
            best = Some((fit, signs.clone()));
        }
    }
    best
}

/// The fit with these signs: a line in the cosine, by weighted least squares.
pub(super) fn fit_signed(points: &[Amplitude], signs: &[f64]) -> Fit {
    let (mut w, mut wx, mut wxx, mut wy, mut wxy, mut wyy) = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0);
    for ((angle, r, sd), sign) in points.iter().zip(signs) {
        let (x, y, weight) = (angle.to_radians().cos(), sign * r, 1.0 / (sd * sd));
        w += weight;
        wx += weight * x;
        wxx += weight * x * x;
        wy += weight * y;
        wxy += weight * x * y;
        wyy += weight * y * y;
    }
    let det = w * wxx - wx * wx;
    let (a, b) = ((wy * wxx - wxy * wx) / det, (wxy * w - wy * wx) / det);
    // Gradient of b/(a + b) by a and b, and the covariance of a line.
    let sum = a + b;
    let (by_a, by_b) = (-b / (sum * sum), a / (sum * sum));
    let variance = (by_a * by_a * wxx - 2.0 * by_a * by_b * wx + by_b * by_b * w) / det;
    Fit { a, b, left: (wyy - a * wy - b * wxy).max(0.0), share_standard: variance.max(0.0).sqrt() }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn points(b: f64) -> Vec<(f64, f64, f64)> {
        (0..13)
            .map(|k| 15.0 * f64::from(k))
            .map(|angle| (angle, (1.0 - b + b * angle.to_radians().cos()).abs(), 0.01))
            .collect()
    }

    #[test]
    fn every_first_order_pattern_is_found_from_levels_alone() {
        for k in 0..=20 {
            let b = f64::from(k) / 20.0;
            let (found, _) = fit(&points(b)).expect("thirteen points");
            // Exact: rounding only.
            assert!((found.gradient_share() - b).abs() < 1e-9 && found.left < 1e-9, "{b}: {found:?}");
        }
    }

    #[test]
    fn its_standard_uncertainty_is_that_of_repeated_noise() {
        use fairtake_stats::matrix::Matrix;
        use fairtake_stats::random::Draws;
        let (clean, n) = (points(0.63), 2000);
        let mut unit = Matrix::zeros(clean.len(), clean.len());
        (0..clean.len()).for_each(|i| unit.set(i, i, 1.0));
        let draws = Draws::new(&unit, n, 5);
        let shares: Vec<f64> = (0..n)
            .map(|k| {
                let noisy: Vec<(f64, f64, f64)> =
                    clean.iter().zip(draws.row(k)).map(|((a, r, sd), z)| (*a, r + sd * z, *sd)).collect();
                fit(&noisy).expect("thirteen points").0.gradient_share()
            })
            .collect();
        let mean = shares.iter().sum::<f64>() / n as f64;
        let spread = (shares.iter().map(|s| (s - mean).powi(2)).sum::<f64>() / (n as f64 - 1.0)).sqrt();
        let stated = fit(&clean).expect("thirteen points").0.share_standard;
        // A standard deviation from 2000 draws is good to 1.6 %; three of these.
        assert!((spread / stated - 1.0).abs() < 0.05, "{spread} {stated}");
    }
}
