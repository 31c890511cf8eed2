//! How loud a clip is, by what hearing and converters go by.

use crate::Clip;
use fairtake_signal::loudness::KWeighting;
use fairtake_signal::true_peak::TruePeak;
use fairtake_signal::units::power_db;

/// Stretches of K-weighted energy, a second of them.
const STEPS_PER_S: u32 = 10;
/// So many make the 0.4 s of BS.1770's gating block, by which the loudest place of a clip is found.
const STEPS_PER_BLOCK: usize = 4;

/// Powers by which one clip can be louder than another. All are re full scale.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Loud {
    /// Square of the true peak.
    peak_power: f64,
    /// K-weighted energy of the whole clip, · s: its event loudness.
    energy: f64,
    /// K-weighted energy of its loudest 0.4 s, · s.
    loudest: f64,
}

impl Loud {
    /// Of samples as they are.
    pub(crate) fn of(samples: &[f32], rate_hz: u32) -> Loud {
        let hop = (rate_hz / STEPS_PER_S).max(1) as usize;
        let steps: Vec<f64> = KWeighting::new(rate_hz).energies(samples, hop);
        let energy: f64 = steps.iter().sum();
        let blocks = steps.windows(STEPS_PER_BLOCK).map(|w| w.iter().sum());
        let loudest = if steps.len() < STEPS_PER_BLOCK { energy } else { blocks.fold(0.0, f64::max) };
        let rate = f64::from(rate_hz);
        Loud {
            peak_power: TruePeak::new().of(samples).powi(2),
            energy: energy / rate,
            loudest: loudest / rate,
        }
    }

    /// Of the clip as it was recorded, before it was turned down.
    pub(crate) fn of_original(clip: &Clip) -> Loud {
        let back = fairtake_signal::units::db_to_power(-clip.gain_db);
        let Loud { peak_power, energy, loudest } = Loud::of(&clip.samples, clip.rate_hz);
        Loud { peak_power: peak_power * back, energy: energy * back, loudest: loudest * back }
    }

    /// The greater of each.
    pub(crate) fn or(self, other: Loud) -> Loud {
        Loud {
            peak_power: self.peak_power.max(other.peak_power),
            energy: self.energy.max(other.energy),
            loudest: self.loudest.max(other.loudest),
        }
    }

    /// Gain in dB, 0 or less, that brings this to no more than `bound` in each respect.
    pub(crate) fn trim_db(self, bound: Loud) -> f64 {
        let over = |own: f64, bound: f64| power_db(own / bound.max(f64::MIN_POSITIVE)).unwrap_or(0.0);
        let most = over(self.peak_power, bound.peak_power)
            .max(over(self.energy, bound.energy))
            .max(over(self.loudest, bound.loudest));
        // Said this way round, since the negative of 0 is −0.
        0.0 - most.max(0.0)
    }
}

#[cfg(test)]
mod tests;
