//! Two microphones of a make before one loudspeaker, set up again and again: levels at points over frequency whose answer is a formula.

use super::linear::{Chain, Filter};
use crate::field::{between, normal};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;
use std::array::from_fn;
use std::f64::consts::TAU;

/// Speed of sound in m/s at 20 °C (ISO 9613-1, A.5).
const SPEED_M_S: f64 = 343.2;
/// Middles of the smooth ripple that setting up makes, in Hz.
const RIPPLE_HZ: [f64; 8] = [300.0, 550.0, 1000.0, 1800.0, 3300.0, 6000.0, 9000.0, 14_000.0];
/// What the loudspeaker does, the same for both.
const LOUDSPEAKER_DB: f64 = 4.0;

/// How twins are measured. Rectangular errors are drawn within ± what is stated, all others are normal.
#[derive(Debug, Clone, PartialEq)]
pub struct TwinRun {
    /// Edges of each point's band in Hz.
    pub bands_hz: Vec<(f64, f64)>,
    /// What the second does otherwise than the first.
    pub differs: Chain,
    /// How often each is set up.
    pub n_repeats: [usize; 2],
    /// Standard deviation of the level of one setting-up, in dB.
    pub level_db: f64,
    /// Standard deviation of each rise or dip that a setting-up makes, in dB: of the lowest, growing evenly over their number to that of the
    /// highest.
    pub ripple_db: (f64, f64),
    /// Standard deviation of a point by noise, in dB.
    pub noise_db: f64,
    /// Distance from the loudspeaker in mm.
    pub distance_mm: f64,
    /// The second's acoustic centre lies up to this away from the first's, in mm either way.
    pub place_mm: f64,
    /// Share of the pressure gradient of both.
    pub gradient_share: f64,
    /// Gains as logged, in dB.
    pub gains_db: [f64; 2],
    /// Each is off by up to this, in dB either way; one knob that was not touched is off alike for both.
    pub gain_within_db: f64,
}

/// What is measured of twins.
#[derive(Debug, Clone, PartialEq)]
pub struct Twins {
    /// Level at each point of each setting-up in dB, first and second.
    pub levels_db: [Vec<Vec<f64>>; 2],
}

impl TwinRun {
    /// Second less first at each point, at one place and gain, in dB.
    pub fn truth_db(&self) -> Vec<f64> {
        self.bands_hz.iter().map(|(from, to)| self.differs.band_db(*from, *to)).collect()
    }

    /// What a setting-up does, smoothly over frequency.
    fn set_up(&self, rng: &mut ChaCha8Rng) -> Chain {
        let (low, high) = self.ripple_db;
        let filters: [Filter; RIPPLE_HZ.len()] = from_fn(|i| {
            let db = low + (high - low) * i as f64 / (RIPPLE_HZ.len() - 1) as f64;
            Filter::Peak { hz: RIPPLE_HZ[i], q: 1.0, db: db * normal(rng) }
        });
        Chain(filters.to_vec())
    }

    /// What is measured.
    pub fn measured(&self, seed: u64) -> Twins {
        let mut rng = ChaCha8Rng::seed_from_u64(seed ^ 0x7719);
        let moved_mm = between(&mut rng, -self.place_mm, self.place_mm);
        let off = |rng: &mut ChaCha8Rng| between(rng, -self.gain_within_db, self.gain_within_db);
        let knob = [off(&mut rng), off(&mut rng)];
        let touched = self.gains_db[0] != self.gains_db[1];
        let loudspeaker = Chain(vec![Filter::Peak { hz: 1400.0, q: 2.0, db: LOUDSPEAKER_DB }]);
        let truth = self.truth_db();
        let levels_db = [0, 1].map(|which| {
            let distance_m = (self.distance_mm + which as f64 * moved_mm) / 1000.0;
            let gain_db = self.gains_db[which] + knob[if touched { which } else { 0 }];
            (0..self.n_repeats[which])
                .map(|_| {
                    let level_db = self.level_db * normal(&mut rng);
                    let set_up = self.set_up(&mut rng);
                    self.bands_hz
                        .iter()
                        .zip(&truth)
                        .map(|((from, to), differs)| {
                            let hz = (from * to).sqrt();
                            let near = self.gradient_share * SPEED_M_S / (TAU * hz * distance_m);
                            let field_db = 10.0 * ((1.0 + near * near) / (distance_m * distance_m)).log10();
                            field_db
                                + loudspeaker.db(hz)
                                + which as f64 * differs
                                + gain_db
                                + level_db
                                + set_up.db(hz)
                                + self.noise_db * normal(&mut rng)
                        })
                        .collect()
                })
                .collect()
        });
        Twins { levels_db }
    }
}
