//! Takes of a sound calibrator's tone, sound ones and faulty ones.

use crate::field::{between, normal};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;
use std::f64::consts::TAU;

/// What a take of the tone is made of.
#[derive(Debug, Clone, PartialEq)]
pub struct ToneTake {
    /// Level in dB re a sine that just reaches full scale.
    pub level_dbfs: f64,
    /// Frequency in Hz.
    pub frequency_hz: f64,
    /// Length in s.
    pub seconds: f64,
    /// Sampling rate in Hz.
    pub rate_hz: u32,
    /// The level falls by so many dB from begin to end.
    pub falls_db: f64,
    /// Second and third harmonic, as shares of the tone.
    pub overtones: [f64; 2],
    /// Another tone: frequency in Hz, and share.
    pub other: Option<(f64, f64)>,
    /// White noise: RMS in dB re a full-scale sine's.
    pub noise_dbfs: f64,
    /// Amplitude at which the converter stops.
    pub stop: f64,
    /// Half a second of silence and rumble before and after, as when the calibrator is put on and taken off.
    pub handled: Handled,
}

/// Whether the take holds the calibrator's being put on and taken off.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Handled {
    /// It does.
    WithinTheTake,
    /// It was cut off.
    CutOff,
}

impl ToneTake {
    /// Ten seconds of a good tone at this level.
    pub fn good(level_dbfs: f64) -> ToneTake {
        ToneTake {
            level_dbfs,
            frequency_hz: 1000.0,
            seconds: 10.0,
            rate_hz: 48_000,
            falls_db: 0.0,
            overtones: [0.003, 0.002],
            other: None,
            noise_dbfs: level_dbfs - 60.0,
            stop: 1.0,
            handled: Handled::CutOff,
        }
    }

    /// The take.
    pub fn samples(&self, seed: u64) -> Vec<f32> {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let rate = f64::from(self.rate_hz);
        let n = (self.seconds * rate) as usize;
        let level = 10f64.powf(self.level_dbfs / 20.0);
        let noise = 10f64.powf(self.noise_dbfs / 20.0) * std::f64::consts::FRAC_1_SQRT_2;
        let phase = TAU * normal(&mut rng);
        let tone = (0..n).map(|i| {
            let t = i as f64 / rate;
            let w = TAU * self.frequency_hz * t + phase;
            let mut x = w.sin() + self.overtones[0] * (2.0 * w).sin() + self.overtones[1] * (3.0 * w).cos();
            if let Some((hz, share)) = self.other {
                x += share * (TAU * hz * t).sin();
            }
            level * 10f64.powf(-self.falls_db * i as f64 / n as f64 / 20.0) * x
        });
        let around = if self.handled == Handled::WithinTheTake { (0.5 * rate) as usize } else { 0 };
        let rumble =
            |i: usize| 0.3 * level * (TAU * 17.0 * i as f64 / rate).sin() * (i as f64 / around as f64);
        let before = (0..around).map(rumble);
        let after = (0..around).rev().map(rumble);
        let sound = before.chain(tone).chain(after);
        sound.map(|x| (x + noise * normal(&mut rng)).clamp(-self.stop, self.stop) as f32).collect()
    }
}

/// A calibration whose true answer is known.
#[derive(Debug, Clone, PartialEq)]
pub struct CalibrationCase {
    /// True free-field sensitivity of microphone and chain, in dBFS/Pa.
    pub true_dbfs_per_pa: f64,
    /// Levels in the file of the tone, one for each seating, in dB re a full-scale sine.
    pub levels_dbfs: Vec<f64>,
}

/// What is drawn anew for every calibration: standard deviations in dB.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CalibrationSpread {
    /// Of the calibrator's level around what its certificate says.
    pub calibrator_db: f64,
    /// Of what adaptor and volume do around the manual's figure.
    pub adaptor_db: f64,
    /// Of the free-field correction around the manual's figure.
    pub free_field_db: f64,
    /// Of one seating.
    pub seating_db: f64,
}

impl CalibrationCase {
    /// A calibration with a calibrator of `stated_db` dB SPL, drawn.
    pub fn drawn(
        true_dbfs_per_pa: f64,
        stated_db: f64,
        n_seatings: usize,
        spread: &CalibrationSpread,
        seed: u64,
    ) -> CalibrationCase {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        // The pressure response is what the calibrator sees; the free-field one is asked for.
        let pressure = true_dbfs_per_pa - spread.free_field_db * normal(&mut rng);
        let made_db =
            stated_db + spread.calibrator_db * normal(&mut rng) + spread.adaptor_db * normal(&mut rng);
        let one_pascal_db = 20.0 * (1.0f64 / 20e-6).log10();
        let level = pressure + made_db - one_pascal_db;
        let levels_dbfs = (0..n_seatings).map(|_| level + spread.seating_db * normal(&mut rng)).collect();
        CalibrationCase { true_dbfs_per_pa, levels_dbfs }
    }
}

/// Two microphones exchanged in one sound field, with the answer known.
#[derive(Debug, Clone, PartialEq)]
pub struct SubstitutionCase {
    /// Levels of the reference in dB re a full-scale sine, one for each setting-up.
    pub reference_dbfs: Vec<f64>,
    /// Levels of the other microphone.
    pub own_dbfs: Vec<f64>,
}

/// What is drawn anew for every exchange.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SubstitutionSpread {
    /// Distance from the loudspeaker in mm.
    pub distance_mm: f64,
    /// The microphones' places differ by up to this, in mm either way.
    pub position_mm: f64,
    /// Reflections do up to this, in dB either way.
    pub reflections_db: f64,
    /// Standard deviation of one setting-up in dB.
    pub repeat_db: f64,
}

impl SubstitutionCase {
    /// Levels in a sound of 80 dB SPL or so, for true sensitivities in dBFS/Pa.
    pub fn drawn(
        reference_dbfs_per_pa: f64,
        own_dbfs_per_pa: f64,
        n_repeats: usize,
        spread: &SubstitutionSpread,
        seed: u64,
    ) -> SubstitutionCase {
        let mut rng = ChaCha8Rng::seed_from_u64(seed ^ 0x5b57);
        let sound_db = -14.0 + normal(&mut rng);
        let moved = between(&mut rng, -spread.position_mm, spread.position_mm) / spread.distance_mm;
        let at_own_db = sound_db - 20.0 * (1.0 + moved).log10()
            + between(&mut rng, -spread.reflections_db, spread.reflections_db);
        let mut repeats =
            |level: f64| (0..n_repeats).map(|_| level + spread.repeat_db * normal(&mut rng)).collect();
        SubstitutionCase {
            reference_dbfs: repeats(reference_dbfs_per_pa + sound_db),
            own_dbfs: repeats(own_dbfs_per_pa + at_own_db),
        }
    }
}

/// A figure that is stated as `value`, with what it truly is drawn within ± `half`.
pub fn drawn_within(value: f64, half: f64, seed: u64) -> f64 {
    let mut rng = ChaCha8Rng::seed_from_u64(seed ^ 0xd12a);
    value + between(&mut rng, -half, half)
}
