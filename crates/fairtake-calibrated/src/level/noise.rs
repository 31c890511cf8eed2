//! Equivalent noise levels: what sound would give the noise that the microphone makes by itself.

use super::segments::{OVERLAP_SHARE, Segments, layout, mean_and_spread, spectrum, within};
use super::silence::{self, HUM_TO_HZ};
use super::{LevelCaution, LevelError, Sensitivity, bs468_filter, bs468_weighted};
use crate::{Contribution, Quantity};
use fairtake_signal::bands::BandSet;
use fairtake_signal::weighting::a_power;
use fairtake_transform::Complex;
use serde::{Deserialize, Serialize};

/// Seconds that are needed, and that are wanted.
const NEEDED_S: f64 = 5.0;
const WANTED_S: f64 = 30.0;
/// Share of another noise in the A-weighted power that is allowed. A tenth raises a level by 0.46 dB.
const OTHER_SHARE: f64 = 0.1;
/// An estimated share counts from so many of its standard errors on.
const SURE: f64 = 3.0;
/// Sound level that signal-to-noise ratios refer to, in dB SPL.
const SIGNAL_SPL_DB: f64 = 94.0;
/// 10/ln 10: a small relative change of a power in dB.
const DB_PER_NEPER: f64 = 10.0 / std::f64::consts::LN_10;

/// A second microphone that was recorded beside the first at the same time: what both hear is the room's.
#[derive(Debug, Clone, Copy)]
pub struct Beside<'a> {
    /// As long as the take.
    pub samples: &'a [f32],
    /// Its sensitivity in dBFS/Pa.
    pub dbfs_per_pa: f64,
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

/// Whether a noise level is the microphone's own.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Standing {
    /// Other noise was looked for, and is small.
    Own,
    /// Other noise is in it, or nobody can tell: the microphone's own is at most this.
    AtMost,
}

/// A level and whose it is.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct NoiseLevel {
    /// In dB SPL.
    pub spl_db: Quantity,
    /// Whose it is.
    pub standing: Standing,
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
    /// Share of sound of the room in its power; `None`: not known.
    pub ambient_share: Option<f64>,
    /// Share of the chain in its power; `None`: not known.
    pub chain_share: Option<f64>,
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
    /// Signal-to-noise ratio re 94 dB SPL, A-weighted, in dB.
    pub signal_to_noise_db: Quantity,
    /// From the equivalent noise level, A-weighted, up to full scale of the chain as set, in dB.
    pub dynamic_range_db: Quantity,
    /// Third octaves.
    pub thirds: Vec<BandNoise>,
    /// Lines at harmonics of the mains.
    pub hum: Vec<HumLine>,
    /// Share of sound of the room in the A-weighted power; `None`: not known.
    pub ambient_share: Option<f64>,
    /// Share of the chain in the A-weighted power; `None`: not known.
    pub chain_share: Option<f64>,
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
    let ambient = take.beside.map(|beside| shared(samples, &beside, sensitivity, rate_hz, &segments));
    let chain = take.chain_alone.map(|alone| Others::of_chain(alone, rate_hz, &segments));
    let readings = silence::readings(&bs468_weighted(samples, &bs468_filter(rate_hz)), rate_hz);

    let known = sensitivity.dbfs_per_pa.budget.clone();
    let with = |mut budget: Vec<Contribution>, relative: f64, df: f64, shares: &[Option<f64>]| {
        budget.push(Contribution {
            from: "spread over the take".into(),
            standard: DB_PER_NEPER * relative,
            degrees_of_freedom: Some(df),
        });
        // Small shares of other noise are left in the level: it may be too high by that much.
        for share in shares.iter().flatten().filter(|s| **s > 0.0 && **s <= OTHER_SHARE) {
            budget.push(Contribution::within("other noise", -DB_PER_NEPER * (1.0 - share).ln()));
        }
        budget
    };
    let level = |powers: &[f64], shared: f64, shares: [Option<f64>; 2]| {
        let (mean, relative, df) = mean_and_spread(powers, shared)?;
        let spl_db = Quantity::new(sensitivity.spl_db(mean)?, with(known.clone(), relative, df, &shares));
        Some(NoiseLevel { spl_db, standing: standing(shares) })
    };
    let overall = [ambient.as_ref().map(|o| o.a_share), chain.as_ref().map(|o| o.a_share)];
    let a_weighted = level(&segments.a_powers, OVERLAP_SHARE, overall).ok_or(LevelError::DigitalSilence)?;
    // The meter reads the RMS of a sine: its square stands for a power. Twice the relative spread of the reading.
    let squares: Vec<f64> = readings.means.iter().map(|r| r * r).collect();
    let bs468 = level(&squares, silence::READING_SHARE, overall).ok_or(LevelError::DigitalSilence)?;

    let of_band = |b: usize| {
        let powers: Vec<f64> = segments.band_powers.iter().map(|p| p[b]).collect();
        let shares = [&ambient, &chain].map(|o| o.as_ref().map(|o| o.band_shares[b]));
        let (from_hz, to_hz) = segments.bands_hz[b];
        BandNoise {
            from_hz,
            to_hz,
            level: level(&powers, OVERLAP_SHARE, shares),
            ambient_share: shares[0],
            chain_share: shares[1],
        }
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
    match overall[0] {
        None => cautions.push(LevelCaution::AmbientUnknown { figure: 0.0, limit: 1.0 }),
        Some(figure) if figure > OTHER_SHARE => {
            cautions.push(LevelCaution::AmbientHides { figure, limit: OTHER_SHARE });
        }
        _ => {}
    }
    if let Some(figure) = overall[1].filter(|share| *share > OTHER_SHARE) {
        cautions.push(LevelCaution::ChainHides { figure, limit: OTHER_SHARE });
    }
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
        ambient_share: overall[0],
        chain_share: overall[1],
        seconds,
        cautions,
    })
}

fn standing(shares: [Option<f64>; 2]) -> Standing {
    match shares[0] {
        Some(ambient) if ambient <= OTHER_SHARE && shares[1].is_none_or(|chain| chain <= OTHER_SHARE) => {
            Standing::Own
        }
        _ => Standing::AtMost,
    }
}

/// Between full scale of the chain and its noise the sensitivity falls out, and with it its uncertainty.
fn dynamic_range(sensitivity: &Sensitivity, a_weighted: &NoiseLevel) -> Quantity {
    let (full, noise) = (&sensitivity.full_scale_spl_db, &a_weighted.spl_db);
    let own = noise.budget[sensitivity.dbfs_per_pa.budget.len()..].to_vec();
    Quantity::new(full.value - noise.value, own)
}

/// Shares of another noise.
struct Others {
    a_share: f64,
    band_shares: Vec<f64>,
}

impl Others {
    fn of_chain(alone: &[f32], rate_hz: u32, own: &Segments) -> Others {
        let chain = Segments::of(alone, rate_hz, 0.0);
        let mean = |powers: &[f64]| powers.iter().sum::<f64>() / powers.len() as f64;
        let band = |s: &Segments, b: usize| {
            s.band_powers.iter().map(|p| p[b]).sum::<f64>() / s.band_powers.len() as f64
        };
        let share = |part: f64, whole: f64| if whole > 0.0 { (part / whole).min(1.0) } else { 0.0 };
        Others {
            a_share: share(mean(&chain.a_powers), mean(&own.a_powers)),
            band_shares: (0..own.bands_hz.len()).map(|b| share(band(&chain, b), band(own, b))).collect(),
        }
    }
}

/// What a microphone beside it hears too: the cross-spectrum holds the room and neither microphone's own noise. Where sound
/// comes from all sides, the two agree only below the frequency at which their distance is half a wave, so that this
/// finds at least a part of it.
fn shared(
    samples: &[f32],
    beside: &Beside,
    sensitivity: &Sensitivity,
    rate_hz: u32,
    own: &Segments,
) -> Others {
    let (n, starts) = layout(samples.len().min(beside.samples.len()), rate_hz);
    let mut cross = vec![Complex::new(0.0, 0.0); n / 2 + 1];
    let mut both = [vec![0.0; n / 2 + 1], vec![0.0; n / 2 + 1]];
    for start in &starts {
        let (a, b) = (spectrum(&samples[*start..start + n]), spectrum(&beside.samples[*start..start + n]));
        for (k, cross) in cross.iter_mut().enumerate() {
            *cross += a[k] * b[k].conj();
            both[0][k] += a[k].norm_sqr();
            both[1][k] += b[k].norm_sqr();
        }
    }
    // Half-overlapping Hann windows: one in eighteen of them is worth nothing.
    let n_worth = starts.len() as f64 / (1.0 + 2.0 / 36.0);
    // |G12| is the room's power times the ratio of the sensitivities, the squares of chance taken off.
    let ratio_db = sensitivity.dbfs_per_pa.value - beside.dbfs_per_pa;
    let ratio = fairtake_signal::units::db_to_power(ratio_db).sqrt();
    let squares: Vec<f64> =
        (0..=n / 2).map(|k| cross[k].norm_sqr() - both[0][k] * both[1][k] / n_worth).collect();
    let chance: Vec<f64> = (0..=n / 2).map(|k| (both[0][k] * both[1][k] / n_worth).powi(2)).collect();
    let per_segment = 1.0 / starts.len() as f64;
    let room = |band: (f64, f64)| {
        let n_bins = within(&vec![1.0; n / 2 + 1], band, own.bin_hz).max(1e-9);
        let sum = within(&squares, band, own.bin_hz);
        // The window couples neighbouring bins: their number counts for less.
        let error = (within(&chance, band, own.bin_hz) * own.noise_bins).sqrt();
        if sum > SURE * error { (sum / n_bins).sqrt() * n_bins * ratio * per_segment } else { 0.0 }
    };
    let powers: Vec<f64> = own.bands_hz.iter().map(|band| room(*band)).collect();
    let whole: Vec<f64> = own.bands_hz.iter().map(|band| within(&own.mean_bins, *band, own.bin_hz)).collect();
    // Overall by octaves, which hold more bins and find smaller shares.
    let octaves = BandSet::new(1, f64::from(rate_hz) / 2.0).spans_hz();
    let weight = |(from, to): (f64, f64)| a_power((from * to).sqrt());
    let a_room: f64 = octaves.iter().map(|o| room(*o) * weight(*o)).sum();
    let a_whole: f64 = octaves.iter().map(|o| within(&own.mean_bins, *o, own.bin_hz) * weight(*o)).sum();
    let share = |part: f64, whole: f64| if whole > 0.0 { (part / whole).min(1.0) } else { 0.0 };
    Others {
        a_share: share(a_room, a_whole),
        band_shares: powers.iter().zip(&whole).map(|(part, whole)| share(*part, *whole)).collect(),
    }
}

#[cfg(test)]
#[path = "noise_tests.rs"]
mod tests;
