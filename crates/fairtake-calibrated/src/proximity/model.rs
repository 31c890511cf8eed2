//! The level of a first-order receiver on the axis of a source.

use crate::band_level::DB_PER_NEPER;
use std::f64::consts::TAU;

/// The piston's formula is used up to this product of wave number and radius: above it beams, and no real cone is one.
pub(super) const PISTON_UP_TO_KA: f64 = 2.0;
/// Least power, so that every trial of a fit has a level.
const LEAST: f64 = 1e-12;

/// Speed of sound in air in m/s.
///
/// # Source
/// ISO 9613-1:1993, Formula (A.5); held against `reference/06_speed_of_sound.csv`.
pub fn speed_of_sound_m_s(temperature_c: f64) -> f64 {
    343.2 * ((temperature_c + 273.15) / 293.15).sqrt()
}

/// Source and air.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Source {
    /// Radius in m; 0 for a point.
    pub radius_m: f64,
    /// Speed of sound in m/s.
    pub speed_m_s: f64,
}

impl Source {
    /// Wave number in 1/m.
    pub fn wave_number(&self, frequency_hz: f64) -> f64 {
        TAU * frequency_hz / self.speed_m_s
    }

    /// Level in dB at `distance_m` from the source's acoustic centre to the receiver's, up to a constant of the frequency. `square`
    /// is the square of the gradient share B: near a point it enters as such, |1 + B/(jkr)|² = 1 + B²/(kr)², so that
    /// a pressure receiver is no corner of the fit; below 0 the same line goes on.
    pub fn level_db(&self, distance_m: f64, frequency_hz: f64, square: f64) -> f64 {
        let k = self.wave_number(frequency_hz);
        let power = if self.radius_m == 0.0 {
            (1.0 + square / (k * distance_m).powi(2)) / (distance_m * distance_m)
        } else {
            // Baffled piston on its axis: p ∝ e^(−jkz) − e^(−jkR), ρcu ∝ e^(−jkz) − (z/R)·e^(−jkR), R² = z² + a².
            let far = distance_m.hypot(self.radius_m);
            let (sin, cos) = (k * (far - distance_m)).sin_cos();
            let (p, u) = ((1.0 - cos, sin), (1.0 - distance_m / far * cos, distance_m / far * sin));
            let d = (u.0 - p.0, u.1 - p.1);
            let scale = 1.0 / (k * self.radius_m).powi(2);
            let cross = 2.0 * square.max(0.0).sqrt() * (p.0 * d.0 + p.1 * d.1);
            scale * (p.0 * p.0 + p.1 * p.1 + cross + square * (d.0 * d.0 + d.1 * d.1))
        };
        DB_PER_NEPER * power.max(LEAST).ln()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const POINT: Source = Source { radius_m: 0.0, speed_m_s: 343.2 };

    #[test]
    fn the_rise_near_a_point_is_that_of_the_table() {
        let text = include_str!("../../../../reference/06_proximity.csv");
        let rows: Vec<Vec<f64>> = text
            .lines()
            .filter(|line| !line.starts_with('#') && !line.starts_with("pattern"))
            .map(|line| line.split(',').skip(1).map(|cell| cell.parse().expect("a number")).collect())
            .collect();
        assert_eq!(rows.len(), 100);
        for row in rows {
            let [b, r_mm, hz, _, boost_db] = row[..] else { panic!("five numbers") };
            let at = |square: f64| POINT.level_db(r_mm / 1000.0, hz, square);
            // Half of the table's last digit.
            assert!((at(b * b) - at(0.0) - boost_db).abs() < 6e-5, "{row:?}");
        }
    }

    #[test]
    fn a_small_piston_is_a_point_and_a_large_one_is_flatter() {
        let small = Source { radius_m: 0.001, ..POINT };
        for (mm, hz, square) in [(100.0, 50.0, 0.25), (300.0, 1000.0, 0.0), (1000.0, 200.0, 1.0)] {
            let change =
                |s: &Source| s.level_db(mm / 1000.0, hz, square) - s.level_db(2.0 * mm / 1000.0, hz, square);
            // A piston's relative error is (a/2z)²: 2.5e-5 at 100 mm, 2e-4 dB.
            assert!((change(&small) - change(&POINT)).abs() < 5e-4, "{mm} {hz}");
        }
        // METHOD of placement allowance, worked figure: 25 to 28 mm, 50 Hz, B = 0.5, piston of 165 mm: −0.18 dB (c = 343).
        let piston = Source { radius_m: 0.165, speed_m_s: 343.0 };
        let change = piston.level_db(0.028, 50.0, 0.25) - piston.level_db(0.025, 50.0, 0.25);
        assert!((change + 0.18).abs() < 0.005, "{change}");
        let compared = fairtake_compare::distance_change_db(25.0, 28.0, 50.0, 0.5, 165.0, 343.0);
        assert!((change - compared).abs() < 1e-9, "the same formula as in the placement allowance");
    }

    #[test]
    fn sound_is_as_fast_as_the_table_has_it() {
        let text = include_str!("../../../../reference/06_speed_of_sound.csv");
        let mut n = 0;
        for line in text.lines().filter(|line| !line.starts_with('#') && !line.starts_with("temp")) {
            let cells: Vec<f64> = line.split(',').map(|cell| cell.parse().expect("a number")).collect();
            assert!((speed_of_sound_m_s(cells[0]) - cells[1]).abs() < 6e-5, "{line}");
            n += 1;
        }
        assert!(n >= 10);
    }
}
