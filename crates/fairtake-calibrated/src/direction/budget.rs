//! Budgets of what is derived from many readings: every input is moved by its standard uncertainty, and what the result does
//! is its share (GUM 5.1.4: numerical derivatives).

use super::Turning;
use crate::band_level::{BandLevel, DB_PER_NEPER};
use crate::proximity::speed_of_sound_m_s;
use crate::{Contribution, Quantity};

/// A reading of one band.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Point {
    /// Angle in degrees, signed.
    pub angle_deg: f64,
    /// Its level.
    pub level: BandLevel,
    /// It may be what walls reflect: the microphone's own is anything from nothing to this.
    pub at_most: bool,
}

/// Where a level may be anything down to nothing, the lowest that is tried, in dB re itself: a thousandth of its power.
const NOTHING_DB: f64 = -30.0;

/// Angle in degrees and level in dB, as a derived figure takes them.
pub(super) type Moved = (f64, f64);

/// Standard uncertainties of the turning.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Doubts {
    /// Of each angle by itself, in degrees.
    pub angle_deg: f64,
    /// Of all angles together, in degrees.
    pub zero_deg: f64,
    /// Of the acoustic centre off the axis, as a level in dB towards and away from the loudspeaker.
    pub centre_db: f64,
    /// Distance in m: what a pressure gradient reads more of than pressure before a near source.
    pub distance_m: f64,
    /// Speed of sound in m/s.
    pub speed_m_s: f64,
}

impl Doubts {
    /// Rectangles, as entered.
    pub fn of(turning: &Turning) -> Doubts {
        let standard = |half: f64| Contribution::within("", half).standard;
        Doubts {
            angle_deg: standard(turning.angle_deg),
            zero_deg: standard(turning.zero_deg),
            // 20 lg(1 + e/d).
            centre_db: 2.0 * DB_PER_NEPER * standard(turning.centre_mm) / turning.distance_mm,
            distance_m: turning.distance_mm / 1000.0,
            speed_m_s: speed_of_sound_m_s(turning.temperature_c),
        }
    }
}

/// A figure derived from all points with its budget; `None` where the figure itself is.
pub(super) fn derived(
    points: &[Point],
    doubts: &Doubts,
    figure: impl Fn(&[Moved]) -> Option<f64>,
) -> Option<Quantity> {
    let mut moved: Vec<Moved> = points.iter().map(|p| (p.angle_deg, p.level.level_db)).collect();
    let value = figure(&moved)?;
    let mut shares = Shares { value, all_known: true };
    let (mut squares, mut fourths) = (0.0, 0.0);
    for (k, point) in points.iter().enumerate() {
        let Some(standard) = point.level.standard_db else {
            return Some(Quantity::of_unknown_uncertainty(value));
        };
        let share = shares.of(standard, |by| {
            moved[k].1 += by;
            let out = figure(&moved);
            moved[k].1 = point.level.level_db;
            out
        });
        squares += share * share;
        fourths += point.level.degrees_of_freedom.map_or(0.0, |df| share.powi(4) / df);
    }
    let mut angles = 0.0;
    for (k, point) in points.iter().enumerate() {
        let share = shares.of(doubts.angle_deg, |by| {
            moved[k].0 += by;
            let out = figure(&moved);
            moved[k].0 = point.angle_deg;
            out
        });
        angles += share * share;
    }
    let all = |shift: &dyn Fn(&Point) -> Moved| figure(&points.iter().map(shift).collect::<Vec<_>>());
    let zero = shares.of(doubts.zero_deg, |by| all(&|p| (p.angle_deg + by, p.level.level_db)));
    let centre = shares.of(doubts.centre_db, |by| {
        all(&|p| (p.angle_deg, p.level.level_db + by * p.angle_deg.to_radians().cos()))
    });
    if !shares.all_known {
        return Some(Quantity::of_unknown_uncertainty(value));
    }
    // What may be reflected is there, or not, or anything between: the whole of it moves the figure at once.
    let without = points
        .iter()
        .any(|p| p.at_most)
        .then(|| all(&|p| (p.angle_deg, p.level.level_db + if p.at_most { NOTHING_DB } else { 0.0 })));
    let reflected = match without {
        None => None,
        Some(Some(figure)) => {
            Some(Contribution::within("levels that may be reflected", (figure - value).abs()))
        }
        Some(None) => return Some(Quantity::of_unknown_uncertainty(value)),
    };
    let plain =
        |from: &str, standard: f64| Contribution { from: from.into(), standard, degrees_of_freedom: None };
    let readings = Contribution {
        degrees_of_freedom: (fourths > 0.0).then(|| squares * squares / fourths),
        ..plain("readings", squares.sqrt())
    };
    let mut budget = vec![
        readings,
        plain("angles", angles.sqrt()),
        plain("zero of the angles", zero.abs()),
        plain("acoustic centre off the axis", centre.abs()),
    ];
    budget.extend(reflected);
    Some(Quantity::new(value, budget))
}

struct Shares {
    value: f64,
    all_known: bool,
}

impl Shares {
    /// Half of the difference between moved up and moved down; one of the two where the other has no figure.
    fn of(&mut self, standard: f64, mut figure: impl FnMut(f64) -> Option<f64>) -> f64 {
        if standard == 0.0 {
            return 0.0;
        }
        match (figure(standard), figure(-standard)) {
            (Some(up), Some(down)) => (up - down) / 2.0,
            (Some(up), None) => up - self.value,
            (None, Some(down)) => self.value - down,
            (None, None) => {
                self.all_known = false;
                0.0
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sum_has_the_budget_of_a_sum() {
        let level = |level_db, standard_db, df| BandLevel {
            centre_hz: 1000.0,
            level_db,
            standard_db: Some(standard_db),
            degrees_of_freedom: df,
        };
        let points = [
            Point { angle_deg: 0.0, level: level(0.0, 0.3, Some(5.0)), at_most: false },
            Point { angle_deg: 180.0, level: level(-9.0, 0.4, None), at_most: false },
        ];
        let turning = Turning {
            angle_deg: 0.0,
            zero_deg: 0.0,
            distance_mm: 1000.0,
            centre_mm: 10.0,
            reflected_db: None,
            temperature_c: 20.0,
        };
        let found =
            derived(&points, &Doubts::of(&turning), |p| Some(p[1].1 - p[0].1)).expect("always a figure");
        // Exact: √(0.3² + 0.4²), df 0.5⁴/(0.3⁴/5); the centre goes ±10/√3 mm towards and away: 2·8.686·0.01/√3.
        assert!((found.value + 9.0).abs() < 1e-12);
        let of = |from: &str| found.budget.iter().find(|c| c.from == from).expect("in the budget").clone();
        assert!((of("readings").standard - 0.5).abs() < 1e-12);
        assert!(
            (of("readings").degrees_of_freedom.expect("known") - 0.5f64.powi(4) / (0.3f64.powi(4) / 5.0))
                .abs()
                < 1e-9
        );
        let centre = 2.0 * 20.0 / 10f64.ln() * 0.01 / 3f64.sqrt();
        assert!((of("acoustic centre off the axis").standard - centre).abs() < 1e-12);
    }
}
