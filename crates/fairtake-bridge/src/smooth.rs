//! The smoothest curve that the measured difference does not contradict.

use crate::seen::{Seen, mean};

/// Uncertainties are not taken for smaller than this, in dB: no measured curve is exact.
const LEAST_SD_DB: f64 = 0.02;
/// Bands further apart than this many octaves are not neighbours: a curve does not reach over.
const GAP_OCTAVES: f64 = 0.4;
/// Halvings of the search for the smoothness: 2⁻⁶⁰ of the range of 40 powers of ten is far below rounding.
const STEPS: usize = 60;

/// The smoothest correction in dB per band: the least bent curve whose mean squared distance to the difference, in standard
/// uncertainties, is 1; all zero where zero is no further away than that. No value above `most_db`.
///
/// # Source
/// C. Reinsch, "Smoothing by spline functions", Numerische Mathematik 10 (1967) 177–183: the least bent curve at a given
/// distance; second divided differences take the place of the second derivative. Paper from memory.
pub(crate) fn smoothest(seen: &[Seen], most_db: f64) -> Vec<f64> {
    let distance =
        |curve: &[f64]| mean(seen, |i, s| ((s.difference_db - curve[i]) / s.sd_db.max(LEAST_SD_DB)).powi(2));
    let nothing = vec![0.0; seen.len()];
    if distance(&nothing) <= 1.0 {
        return nothing;
    }
    // Powers of ten between which the stiffness lies: from no smoothing at all to a straight line.
    let (mut low, mut high) = (-20.0f64, 20.0);
    for _ in 0..STEPS {
        let middle = 0.5 * (low + high);
        if distance(&at(seen, 10f64.powf(middle))) <= 1.0 { low = middle } else { high = middle }
    }
    let mut curve = at(seen, 10f64.powf(low));
    curve.iter_mut().for_each(|c| *c = c.min(most_db));
    curve
}

/// The curve of a stiffness, every run of neighbours by itself.
fn at(seen: &[Seen], stiffness: f64) -> Vec<f64> {
    let mut out = Vec::with_capacity(seen.len());
    let apart = |pair: &[Seen]| (pair[1].band.from_hz / pair[0].band.to_hz).log2() > GAP_OCTAVES;
    let mut rest = seen;
    while !rest.is_empty() {
        let n = rest.windows(2).position(apart).map_or(rest.len(), |i| i + 1);
        out.extend(run(&rest[..n], stiffness));
        rest = &rest[n..];
    }
    out
}

/// Weighted least squares with a penalty on second divided differences, over one run.
fn run(seen: &[Seen], stiffness: f64) -> Vec<f64> {
    let n = seen.len();
    // Diagonal and the two beside it, of a symmetric matrix.
    let mut matrix = vec![[0.0f64; 3]; n];
    let mut right = vec![0.0; n];
    for (i, s) in seen.iter().enumerate() {
        let weight = s.octaves() / s.sd_db.max(LEAST_SD_DB).powi(2);
        matrix[i][0] += weight;
        right[i] = weight * s.difference_db;
    }
    for i in 1..n.saturating_sub(1) {
        let before = seen[i].position() - seen[i - 1].position();
        let after = seen[i + 1].position() - seen[i].position();
        let over = 0.5 * (before + after);
        // Bend, of unit octave, and the stretch of the axis for which it stands.
        let bend = [1.0 / (before * over), -(1.0 / before + 1.0 / after) / over, 1.0 / (after * over)];
        for a in 0..3 {
            for b in a..3 {
                matrix[i - 1 + a][b - a] += stiffness * over * bend[a] * bend[b];
            }
        }
    }
    solve(matrix, right)
}

/// Solves a symmetric positive definite system with two diagonals beside the main one, by Cholesky's L·D·Lᵀ.
fn solve(mut m: Vec<[f64; 3]>, mut x: Vec<f64>) -> Vec<f64> {
    let n = x.len();
    for i in 0..n {
        for k in 1..3.min(n - i) {
            let factor = m[i][k] / m[i][0];
            for l in k..3.min(n - i) {
                m[i + k][l - k] -= factor * m[i][l];
            }
            x[i + k] -= factor * x[i];
        }
    }
    for i in (0..n).rev() {
        let known: f64 = (1..3.min(n - i)).map(|k| m[i][k] * x[i + k]).sum();
        x[i] = (x[i] - known) / m[i][0];
    }
    x
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::bands;

    #[test]
    fn a_straight_line_stays_and_noise_is_smoothed() {
        let line = |hz: f64| 1.5 * (hz / 1000.0).log2();
        let wiggly: Vec<Seen> = bands(0.5, |i, hz| line(hz) + if i % 2 == 0 { 0.5 } else { -0.5 });
        let curve = smoothest(&wiggly, 12.0);
        for (c, s) in curve.iter().zip(&wiggly) {
            // Noise of one standard uncertainty is all taken off: what is left bends by less than a tenth of it.
            assert!((c - line(s.band.centre_hz()).min(12.0)).abs() < 0.05, "{c}");
        }
    }

    #[test]
    fn what_is_certain_is_followed_and_what_is_not_is_left_alone() {
        let hump = |hz: f64| 4.0 * (-(hz / 3000.0).log2().powi(2)).exp();
        let sure = bands(0.05, |_, hz| hump(hz));
        for (c, s) in smoothest(&sure, 12.0).iter().zip(&sure) {
            assert!((c - s.difference_db).abs() < 0.2, "{c} {}", s.difference_db);
        }
        let unsure = bands(4.5, |_, hz| hump(hz));
        assert!(smoothest(&unsure, 12.0).iter().all(|c| *c == 0.0));
        assert!(smoothest(&sure, 2.5).iter().all(|c| *c <= 2.5));
    }

    #[test]
    fn the_narrow_system_is_solved_as_the_full_one() {
        let m = vec![[4.0, 1.0, 0.5], [5.0, -1.0, 0.25], [6.0, 2.0, 0.0], [3.0, 0.0, 0.0]];
        let wanted = [1.0, -2.0, 0.5, 3.0];
        let full = |i: usize, j: usize| {
            let (i, j) = (i.min(j), i.max(j));
            if j - i < 3 { m[i][j - i] } else { 0.0 }
        };
        let right: Vec<f64> = (0..4).map(|i| (0..4).map(|j| full(i, j) * wanted[j]).sum()).collect();
        for (x, w) in solve(m.clone(), right).iter().zip(wanted) {
            assert!((x - w).abs() < 1e-12, "{x} {w}");
        }
    }
}
