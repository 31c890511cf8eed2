//! Equivalent noise levels: what sound would give the noise that the microphone makes by itself.

use super::segments::{OVERLAP_SHARE, Segments, mean_and_spread};
use super::shares::{Others, Share, of_chain, of_room};
use super::silence::{self, HUM_TO_HZ};
use super::{LevelCaution, LevelError, Sensitivity, bs468_filter, bs468_weighted};
use crate::band_level::DB_PER_NEPER;
use crate::{Contribution, Quantity};
use serde::{Deserialize, Serialize};

/// Seconds that are needed, and that are wanted.
const NEEDED_S: f64 = 5.0;
const WANTED_S: f64 = 30.0;
/// Share of another noise in a power that is allowed. A tenth raises a level by 0.46 dB.
const OTHER_SHARE: f64 = 0.1;
/// Sound level that signal-to-noise ratios refer to, in dB SPL.
const SIGNAL_SPL_DB: f64 = 94.0;

/// A second microphone that was recorded beside the first at the same time: what both hear is the room's.
#[derive(Debug, Clone, Copy)]
pub struct Beside<'a> {
    /// As long as the take.
    pub samples: &'a [f32],
    /// Its sensitivity in dBFS/Pa.
    pub dbfs_per_pa: f64,
    /// It hears the room from all sides: what it reads is as much as there can be.
    pub is_omnidirectional: bool,
}

/// A recording of silence, and what helps to tell whose noise it is.
#[derive(Debug, Clone, Copy)]
pub struct NoiseTake<'a> {
    /// The microphone's, at the gain of its sensitivity; full scale is 1.
    pub samples: &'a [f32],
    /// Sampling rate.
    pub rate_hz: u32,
    /// The chain at the same gain with the microphone's source impedance in its place; `None`: not recorded.
    pub chain_alone: Option<&'a [f32]>,
    /// A microphone beside it; `None`: not recorded.
    pub beside: Option<Beside<'a>>,
}

/// Whether a level is the microphone's own.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Standing {
    /// Other sound was looked for, and is small.
    Own,
    /// Other sound is in it, or nobody can tell: the microphone's own is at most this.
    AtMost,
}

impl Standing {
    /// A bound, or the microphone's own.
    pub(crate) fn of(at_most: bool) -> Standing {
        if at_most { Standing::AtMost } else { Standing::Own }
    }
}

/// A level and whose it is.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct NoiseLevel {
    /// In dB SPL.
    pub spl_db: Quantity,
    /// Whose it is.
    pub standing: Standing,
    /// Share of sound of the room in this very power; `None`: not known.
    pub ambient: Option<Share>,
    /// Share of the chain in it; `None`: not known.
    pub chain_share: Option<f64>,
}

/// Noise in a third octave.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BandNoise {
    /// Lower edge in Hz.
    pub from_hz: f64,
    /// Upper edge in Hz.
    pub to_hz: f64,
    /// Level; `None` without any power.
    pub level: Option<NoiseLevel>,
}

/// A line of hum.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct HumLine {
    /// Frequency in Hz, to the nearest bin.
    pub at_hz: f64,
    /// Level in dB SPL, by the sensitivity at 1 kHz.
    pub spl_db: Quantity,
    /// Above the noise beside it, in dB.
    pub excess_db: f64,
}

/// Noise of a microphone. Levels refer to the sensitivity at 1 kHz, whatever the response at other frequencies.
///
/// # Source
/// IEC 60268-4: equivalent sound pressure level due to inherent noise; terms from memory.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Noise {
    /// Equivalent noise level, A-weighted, RMS.
    pub a_weighted: NoiseLevel,
    /// Equivalent noise level, BS.468, quasi-peak.
    pub bs468: NoiseLevel,
    /// Signal-to-noise ratio re 94 dB SPL, A-weighted, in dB; at least this where the level is at most what it is.
    pub signal_to_noise_db: Quantity,
    /// From the equivalent noise level, A-weighted, up to full scale of the chain as set, in dB; likewise.
    pub dynamic_range_db: Quantity,
    /// Third octaves.
    pub thirds: Vec<BandNoise>,
    /// Lines at harmonics of the mains.
    pub hum: Vec<HumLine>,
    /// Seconds of silence.
    pub seconds: f64,
    /// What is doubtful.
    pub cautions: Vec<LevelCaution>,
}

/// Equivalent noise levels of a microphone of this sensitivity.
///
/// # Errors
/// For takes that are too short, hold nothing but zeros, or something that is not a number.
pub fn self_noise(take: &NoiseTake, sensitivity: &Sensitivity) -> Result<Noise, LevelError> {
    let (samples, rate_hz) = (take.samples, take.rate_hz);
    let every = [Some(samples), take.chain_alone, take.beside.map(|b| b.samples)];
    if every.iter().flatten().any(|s| s.iter().any(|x| !x.is_finite())) {
        return Err(LevelError::NotFinite);
    }
    for one in every.iter().flatten() {
        let found_s = one.len() as f64 / f64::from(rate_hz);
        if found_s < NEEDED_S {
            return Err(LevelError::TooShort { found_s, needed_s: NEEDED_S });
        }
    }
    if samples.iter().all(|x| *x == 0.0) {
        return Err(LevelError::DigitalSilence);
    }
    let seconds = samples.len() as f64 / f64::from(rate_hz);
    let segments = Segments::of(samples, rate_hz, HUM_TO_HZ);
    let ambient = take.beside.map(|beside| of_room(samples, &beside, sensitivity, rate_hz, &segments));
    let chain = take.chain_alone.map(|alone| of_chain(alone, rate_hz, &segments));
    let readings = silence::readings(&bs468_weighted(samples, &bs468_filter(rate_hz)), rate_hz);

    let known = sensitivity.dbfs_per_pa.budget.clone();
    let with = |mut budget: Vec<Contribution>, relative: f64, df: f64, shares: &[f64]| {
        budget.push(Contribution {
            from: "spread over the take".into(),
            standard: DB_PER_NEPER * relative,
            degrees_of_freedom: Some(df),
        });
        // Small shares of other noise are left in the level: it may be too high by that much.
        for share in shares.iter().filter(|s| **s > 0.0) {
            budget.push(Contribution::within("other noise", -DB_PER_NEPER * (1.0 - share).ln()));
        }
        budget
    };
    // Each level is judged by the shares in its own band and weighting.
    let level = |powers: &[f64], shared: f64, of: &dyn Fn(&Others) -> Share| {
        let (ambient, chain) = (ambient.as_ref().map(of), chain.as_ref().map(|c| of(c).at_most));
        let small = [ambient.map(|s| s.at_most), chain].map(|s| s.filter(|s| *s <= OTHER_SHARE));
        let (standing, shares) = match small {
            [Some(room), Some(chain)] => (Standing::Own, vec![room, chain]),
            _ => (Standing::AtMost, Vec::new()),
        };
        let (mean, relative, df) = mean_and_spread(powers, shared)?;
        let spl_db = Quantity::new(sensitivity.spl_db(mean)?, with(known.clone(), relative, df, &shares));
        Some(NoiseLevel { spl_db, standing, ambient, chain_share: chain })
    };
    let a_weighted = level(&segments.a_powers, OVERLAP_SHARE, &|o| o.a_weighted);
    let a_weighted = a_weighted.ok_or(LevelError::DigitalSilence)?;
    // The meter reads the RMS of a sine: its square stands for a power. Twice the relative spread of the reading.
    let squares: Vec<f64> = readings.means.iter().map(|r| r * r).collect();
    let bs468 = level(&squares, silence::READING_SHARE, &|o| o.bs468).ok_or(LevelError::DigitalSilence)?;

    let of_band = |b: usize| {
        let powers: Vec<f64> = segments.band_powers.iter().map(|p| p[b]).collect();
        let (from_hz, to_hz) = segments.bands_hz[b];
        BandNoise { from_hz, to_hz, level: level(&powers, OVERLAP_SHARE, &|o| o.bands[b]) }
    };
    let lines = silence::hum_lines(samples, rate_hz, &segments);
    let hum: Vec<HumLine> = lines
        .iter()
        .filter_map(|line| {
            let budget = with(known.clone(), line.relative, line.df, &[]);
            let spl_db = Quantity::new(sensitivity.spl_db(line.power)?, budget);
            Some(HumLine { at_hz: line.at_hz, spl_db, excess_db: line.excess_db })
        })
        .collect();

    let mut cautions = sensitivity.cautions.clone();
    cautions.extend(silence::cautions(readings.n_events, silence::n_clicks(samples, rate_hz), &hum));
    let limit = OTHER_SHARE;
    cautions.extend(match a_weighted.ambient {
        None => Some(LevelCaution::AmbientUnknown { figure: 0.0, limit: 1.0 }),
        Some(s) if s.at_least > limit => Some(LevelCaution::AmbientHides { figure: s.at_least, limit }),
        Some(s) if s.at_most > limit => Some(LevelCaution::AmbientMayHide { figure: s.at_most, limit }),
        Some(_) => None,
    });
    cautions.extend(match a_weighted.chain_share {
        None => Some(LevelCaution::ChainUnknown { figure: 0.0, limit: 1.0 }),
        Some(figure) => (figure > limit).then_some(LevelCaution::ChainHides { figure, limit }),
    });
    if seconds < WANTED_S {
        cautions.push(LevelCaution::NoiseShort { figure: seconds, limit: WANTED_S });
    }
    let less = |db: f64| Quantity::new(db - a_weighted.spl_db.value, a_weighted.spl_db.budget.clone());
    Ok(Noise {
        signal_to_noise_db: less(SIGNAL_SPL_DB),
        dynamic_range_db: dynamic_range(sensitivity, &a_weighted),
        thirds: (0..segments.bands_hz.len()).map(of_band).collect(),
        a_weighted,
        bs468,
        hum,
        seconds,
        cautions,
    })
}

/// Between full scale of the chain and its noise the sensitivity falls out, and with it its uncertainty.
fn dynamic_range(sensitivity: &Sensitivity, a_weighted: &NoiseLevel) -> Quantity {
    let (full, noise) = (&sensitivity.full_scale_spl_db, &a_weighted.spl_db);
    let own = noise.budget[sensitivity.dbfs_per_pa.budget.len()..].to_vec();
    Quantity::new(full.value - noise.value, own)
}

#[cfg(test)]
#[path = "noise_tests.rs"]
mod tests;
