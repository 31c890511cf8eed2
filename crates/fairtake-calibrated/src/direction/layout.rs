//! Which points make which side of a polar diagram.

use super::budget::Moved;
use super::curve::{Side, all_around};
use fairtake_signal::units::db_to_power;

/// Which points make which side.
pub(super) struct Layout {
    /// The point from the front.
    pub front: usize,
    /// Points of a side in the order of their angles; 0° and 180° are in both.
    pub sides: Vec<Vec<usize>>,
    angles_deg: Vec<f64>,
}

impl Layout {
    /// By logged angles.
    pub fn of(angles_deg: &[f64]) -> Layout {
        let front = (0..angles_deg.len())
            .min_by(|a, b| angles_deg[*a].abs().total_cmp(&angles_deg[*b].abs()))
            .unwrap_or(0);
        let pole = |a: f64| a.abs() < 0.5 || a.abs() > 179.5;
        let side = |sign: f64| -> Vec<usize> {
            let mut side: Vec<usize> = (0..angles_deg.len())
                .filter(|k| pole(angles_deg[*k]) || angles_deg[*k] * sign > 0.0)
                .collect();
            side.sort_by(|a, b| angles_deg[*a].abs().total_cmp(&angles_deg[*b].abs()));
            side
        };
        let sides = [1.0, -1.0]
            .map(side)
            .into_iter()
            .filter(|side| side.iter().any(|k| !pole(angles_deg[*k])))
            .collect();
        Layout { front, sides, angles_deg: angles_deg.to_vec() }
    }

    /// Logged angles of a side.
    pub fn angles_of(&self, side: &[usize]) -> Vec<f64> {
        side.iter().map(|k| self.angles_deg[*k]).collect()
    }

    /// Powers re the front over a side.
    pub fn side(&self, side: &[usize], moved: &[Moved]) -> Side {
        let front_db = moved[self.front].1;
        Side::new(
            &side.iter().map(|k| (moved[*k].0, db_to_power(moved[*k].1 - front_db))).collect::<Vec<_>>(),
        )
    }

    /// Sides that may be integrated.
    pub fn around(&self) -> impl Iterator<Item = &Vec<usize>> {
        self.sides.iter().filter(|side| all_around(&self.angles_of(side)))
    }
}
