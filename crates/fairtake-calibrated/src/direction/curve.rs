//! Power over the cosine of the angle: put between measured angles, and summed over all directions.
//!
//! A first-order pattern's power is a parabola in cos θ, so that parabolas through three neighbouring angles follow it
//! exactly whatever the steps; between two angles the two parabolas that hold both are averaged. Integrals over the sphere are
//! integrals over cos θ from −1 to 1.

/// Widest step across which anything is put between angles, in degrees.
pub(super) const WIDEST_DEG: f64 = 45.5;
/// Fewest angles of a side for that.
pub(super) const FEWEST_ANGLES: usize = 5;
/// The back has to be measured up to this, in degrees.
const BACK_DEG: f64 = 178.0;

/// One side: angles 0 to 180 in ascending order, and powers re the front.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Side {
    /// cos θ, descending.
    x: Vec<f64>,
    power: Vec<f64>,
}

impl Side {
    /// Of points `(angle in degrees, power)`; angles count without their sign.
    pub fn new(points: &[(f64, f64)]) -> Side {
        let mut points: Vec<(f64, f64)> = points.iter().map(|(a, p)| (folded(*a), *p)).collect();
        points.sort_by(|a, b| a.0.total_cmp(&b.0));
        Side {
            x: points.iter().map(|(a, _)| a.to_radians().cos()).collect(),
            power: points.iter().map(|(_, p)| *p).collect(),
        }
    }

    /// Power at an angle in degrees: as measured there, or between; `None` outside, or where it would be negative.
    pub fn at(&self, angle_deg: f64) -> Option<f64> {
        let x = folded(angle_deg).to_radians().cos();
        let k = (0..self.x.len().checked_sub(1)?).find(|k| self.x[*k] >= x && x >= self.x[k + 1])?;
        Some(self.between(k, x)).filter(|p| *p > 0.0)
    }

    /// What all but one interior point say of it.
    pub fn left_out(&self, k: usize) -> Option<f64> {
        let without = |v: &[f64]| v.iter().enumerate().filter(|(i, _)| *i != k).map(|(_, v)| *v).collect();
        let rest = Side { x: without(&self.x), power: without(&self.power) };
        (k > 0 && k + 1 < self.x.len()).then(|| rest.between(k - 1, self.x[k]))
    }

    /// Number of points.
    pub fn len(&self) -> usize {
        self.x.len()
    }

    /// Power of a point.
    pub fn power(&self, k: usize) -> f64 {
        self.power[k]
    }

    /// The same with every second interior point left out.
    pub fn halved(&self) -> Side {
        let last = self.x.len().saturating_sub(1);
        let keep = |v: &[f64]| {
            v.iter().enumerate().filter(|(i, _)| i % 2 == 0 || *i == last).map(|(_, v)| *v).collect()
        };
        Side { x: keep(&self.x), power: keep(&self.power) }
    }

    /// ½ ∫ power dx between two cosines; the first and the last parabola go on as far as the poles.
    pub fn mean_over(&self, from_x: f64, to_x: f64) -> f64 {
        let last = self.x.len() - 2;
        (0..=last)
            .map(|k| {
                let high = if k == 0 { 1.0 } else { self.x[k] }.min(to_x);
                let low = if k == last { -1.0 } else { self.x[k + 1] }.max(from_x);
                if high <= low {
                    return 0.0;
                }
                // Gauss and Legendre, two points: exact up to cubics.
                let (middle, half) = ((high + low) / 2.0, (high - low) / 2.0);
                let away = half / 3.0f64.sqrt();
                0.5 * half * (self.between(k, middle - away) + self.between(k, middle + away))
            })
            .sum()
    }

    /// Between points `k` and `k + 1`: mean of the parabolas that begin one point before, and end one after.
    fn between(&self, k: usize, x: f64) -> f64 {
        let n = self.x.len();
        if n < 3 {
            // A straight line.
            let t = (x - self.x[k]) / (self.x[k + 1] - self.x[k]);
            return self.power[k] + t * (self.power[k + 1] - self.power[k]);
        }
        let starts = [k.checked_sub(1), (k + 2 < n).then_some(k)];
        let values: Vec<f64> = starts.iter().flatten().map(|start| self.parabola(*start, x)).collect();
        values.iter().sum::<f64>() / values.len() as f64
    }

    /// Lagrange's parabola through three points.
    fn parabola(&self, start: usize, x: f64) -> f64 {
        let (a, b, c) = (self.x[start], self.x[start + 1], self.x[start + 2]);
        let p = &self.power[start..start + 3];
        p[0] * (x - b) * (x - c) / ((a - b) * (a - c))
            + p[1] * (x - a) * (x - c) / ((b - a) * (b - c))
            + p[2] * (x - a) * (x - b) / ((c - a) * (c - b))
    }
}

/// An angle counted from the front without its sign, back within 0 to 180 degrees.
fn folded(angle_deg: f64) -> f64 {
    let a = angle_deg.abs() % 360.0;
    if a > 180.0 { 360.0 - a } else { a }
}

/// Whether steps allow anything between them: widest step and greatest angle of the angles of one side, in degrees.
pub(super) fn steps(angles_deg: &[f64]) -> (f64, f64) {
    let mut angles: Vec<f64> = angles_deg.iter().map(|a| folded(*a)).collect();
    angles.sort_by(f64::total_cmp);
    let widest = angles.windows(2).map(|w| w[1] - w[0]).fold(0.0, f64::max);
    (widest, angles.last().copied().unwrap_or(0.0))
}

/// Whether a side is measured densely and far enough for an integral over all directions.
pub(super) fn all_around(angles_deg: &[f64]) -> bool {
    let (widest, greatest) = steps(angles_deg);
    angles_deg.len() >= FEWEST_ANGLES && widest <= WIDEST_DEG && greatest >= BACK_DEG
}

#[cfg(test)]
mod tests {
    use super::*;

    fn first_order(b: f64, angles: &[f64]) -> Side {
        let points: Vec<(f64, f64)> =
            angles.iter().map(|a| (*a, (1.0 - b + b * a.to_radians().cos()).powi(2))).collect();
        Side::new(&points)
    }

    #[test]
    fn first_order_patterns_are_followed_exactly_whatever_the_steps() {
        for angles in [
            vec![0.0, 45.0, 90.0, 135.0, 180.0],
            vec![0.0, 10.0, 45.0, 50.0, 90.0, 121.0, 180.0],
            (0..=36).map(|k| 5.0 * f64::from(k)).collect(),
        ] {
            for b in [0.0, 0.3, 0.5, 0.63, 0.75, 1.0] {
                let side = first_order(b, &angles);
                // Exact: A² + B²/3 over the sphere; half of the front's A² + AB + B²/3. Rounding only.
                let a = 1.0 - b;
                assert!((side.mean_over(-1.0, 1.0) - (a * a + b * b / 3.0)).abs() < 1e-12);
                assert!((side.mean_over(0.0, 1.0) - 0.5 * (a * a + a * b + b * b / 3.0)).abs() < 1e-12);
                let exact = (a + b * 70f64.to_radians().cos()).powi(2);
                assert!((side.at(-70.0).expect("between") - exact).abs() < 1e-12);
                for k in 1..angles.len() - 1 {
                    assert!((side.left_out(k).expect("interior") - side.power(k)).abs() < 1e-12);
                }
            }
        }
    }

    #[test]
    fn nothing_is_said_outside_of_what_was_measured() {
        let side = first_order(0.5, &[0.0, 30.0, 60.0, 90.0, 120.0]);
        assert_eq!(side.at(150.0), None);
        assert!(!all_around(&[0.0, 30.0, 60.0, 90.0, 120.0]) && !all_around(&[0.0, 90.0, 180.0]));
        assert!(all_around(&[0.0, 45.0, 90.0, 135.0, 180.0]));
    }
}
