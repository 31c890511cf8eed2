//! A microphone on a turntable: levels at angles of a pattern that is a formula.

use crate::field::{between, normal};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;

/// A pattern that is the same all around.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Pattern {
    /// 1 − B + B·cos θ.
    FirstOrder(f64),
    /// The same before a point source near by: the gradient reads 1 − j/(kr) times as much, and the whole is re its front.
    FirstOrderAt {
        /// Gradient share B.
        share: f64,
        /// 2π times the distance over the wavelength.
        kr: f64,
    },
    /// A first-order pattern times the sine quotient of a width: sin(x)/x, x = `wave`·sin θ. Beyond π it has lobes.
    Lobed {
        /// Gradient share B.
        share: f64,
        /// π times the width over the wavelength.
        wave: f64,
    },
}

impl Pattern {
    /// Amplitude at an angle in radians, 1 from the front; negative behind a null.
    pub fn amplitude(&self, angle: f64) -> f64 {
        let first = |b: f64| 1.0 - b + b * angle.cos();
        match *self {
            Pattern::FirstOrder(b) => first(b),
            Pattern::FirstOrderAt { share, kr } => {
                let heard = first(share).hypot(share * angle.cos() / kr) / 1f64.hypot(share / kr);
                heard.copysign(first(share))
            }
            Pattern::Lobed { share, wave } => {
                let x = wave * angle.sin();
                first(share) * if x.abs() < 1e-9 { 1.0 } else { x.sin() / x }
            }
        }
    }

    /// Mean power over directions, between two angles in radians, as a share of all directions: thin rings.
    pub fn mean_power(&self, from: f64, to: f64) -> f64 {
        let n = 20_000;
        let step = (to - from) / f64::from(n);
        (0..n)
            .map(|i| {
                let angle = from + (f64::from(i) + 0.5) * step;
                0.5 * self.amplitude(angle).powi(2) * angle.sin() * step
            })
            .sum()
    }

    /// Directivity index in dB.
    pub fn directivity_index_db(&self) -> f64 {
        -10.0 * self.mean_power(0.0, std::f64::consts::PI).log10()
    }
}

/// How it is turned, and what comes with it. Rectangular errors are drawn within ± what is stated.
#[derive(Debug, Clone, PartialEq)]
pub struct TurntableRun {
    /// The pattern.
    pub pattern: Pattern,
    /// Angles that are logged, in degrees.
    pub angles_deg: Vec<f64>,
    /// Standard deviation of a level by itself, in dB.
    pub level_db: f64,
    /// Amplitude of what is not the pattern (noise, reflections), re the front.
    pub floor: f64,
    /// Of each angle, in degrees either way.
    pub angle_deg: f64,
    /// Of all angles together, in degrees either way.
    pub zero_deg: f64,
    /// Of the acoustic centre off the axis, towards the loudspeaker or away, over the distance, either way.
    pub centre_share: f64,
}

/// A level with the standard uncertainty that is known of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Level {
    /// Logged angle in degrees.
    pub angle_deg: f64,
    /// In dB.
    pub level_db: f64,
    /// In dB.
    pub standard_db: f64,
}

impl TurntableRun {
    /// Levels that are measured, with the level of the front being anything.
    pub fn levels(&self, seed: u64) -> Vec<Level> {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let zero = between(&mut rng, -self.zero_deg, self.zero_deg);
        let centre = between(&mut rng, -self.centre_share, self.centre_share);
        let gain_db = 10.0 * normal(&mut rng);
        self.angles_deg
            .iter()
            .map(|logged| {
                let angle = (logged + zero + between(&mut rng, -self.angle_deg, self.angle_deg)).to_radians();
                let clean = self.pattern.amplitude(angle) / (1.0 - centre * angle.cos());
                let floor = |rng: &mut ChaCha8Rng| self.floor * std::f64::consts::FRAC_1_SQRT_2 * normal(rng);
                let amplitude = (clean + floor(&mut rng)).hypot(floor(&mut rng)).max(1e-6);
                let level_db = gain_db + 20.0 * amplitude.log10() + self.level_db * normal(&mut rng);
                // Of the floor only what is in phase moves the level.
                let by_floor =
                    20.0 / std::f64::consts::LN_10 * self.floor * std::f64::consts::FRAC_1_SQRT_2 / amplitude;
                Level { angle_deg: *logged, level_db, standard_db: self.level_db.hypot(by_floor) }
            })
            .collect()
    }

    /// Angles of equal steps in degrees, on one side.
    pub fn one_side(step_deg: f64) -> Vec<f64> {
        (0..=(180.0 / step_deg).round() as usize).map(|k| k as f64 * step_deg).collect()
    }

    /// Angles of equal steps in degrees, on both sides.
    pub fn both_sides(step_deg: f64) -> Vec<f64> {
        let n = (360.0 / step_deg).round() as usize;
        (0..n).map(|k| k as f64 * step_deg).map(|a| if a > 180.0 { a - 360.0 } else { a }).collect()
    }
}
