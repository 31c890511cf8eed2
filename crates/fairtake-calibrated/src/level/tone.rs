//! The take of a calibrator's tone: is it one, and how strong is it?

use super::{LevelCaution, LevelError};
use crate::quantity::mean_and_variance;
use fairtake_signal::fir::to_frequency;
use fairtake_signal::units::{amplitude_db, power_db_at_least};
use fairtake_transform::Complex;
use std::f64::consts::TAU;

/// Levels are read in blocks of so many seconds: as a sound level meter's time weighting F, roughly.
const BLOCK_S: f64 = 0.25;
/// Seconds of steady tone that are needed.
const NEEDED_S: f64 = 3.0;
/// A block belongs to the tone where it reaches the median of the louder half, less this.
const TONE_DB: f64 = 6.0;
/// The longest stretch that one spectrum looks at.
const LONGEST_TRANSFORM: usize = 1 << 17;
/// Half of the width of a line in bins, with the Hann window's skirts.
const LINE_BINS: usize = 6;
/// Overtones that count.
const N_HARMONICS: usize = 10;
/// Lowest frequency looked at in Hz: below lies what moves the diaphragm when somebody breathes.
const LOWEST_HZ: f64 = 20.0;
/// Samples this near to the highest are at the stop of the converter.
const STOP: f64 = 1e-5;
/// Of this many in a row.
const STOP_FRAMES: usize = 3;

// Limits: what is usual (beyond it a caution), and what is allowed (beyond it no result).

/// Deviation of the frequency, as a share. IEC 60942 allows 1 to 2 % by class (from memory).
const FREQUENCY_SHARE: f64 = 0.02;
/// Range of the blocks' levels in dB. IEC 60942 allows 0.05 to 0.2 dB by class for short-term fluctuation (from memory).
const UNSTEADY_DB: (f64, f64) = (0.2, 1.0);
/// Overtones in per cent. IEC 60942 allows 2.5 to 4 % by class (from memory).
const DISTORTED_PERCENT: (f64, f64) = (3.0, 10.0);
/// Power of all the rest in dB re the tone. The level is read at the tone's frequency alone; at −20 dB steady sound of the
/// same frequency could still move it by 0.9 dB. Common practice, no source.
const REST_DB: (f64, f64) = (-40.0, -20.0);
/// A second tone in dB re the tone: the same reason.
const SECOND_DB: f64 = -26.0;

/// A tone that was found to be one.
#[derive(Debug, Clone, PartialEq)]
pub struct Tone {
    /// Level in dB re a sine that just reaches full scale.
    pub level_dbfs: f64,
    /// Its frequency in Hz.
    pub frequency_hz: f64,
    /// Standard uncertainty of the level by the blocks' spread, in dB.
    pub standard_db: f64,
    /// Number of blocks.
    pub n_blocks: usize,
    /// Seconds used.
    pub seconds: f64,
    /// Highest less lowest block in dB.
    pub range_db: f64,
    /// Overtones in per cent of it.
    pub distortion_percent: f64,
    /// Everything else in dB re the tone.
    pub rest_db: f64,
    /// What is unusual.
    pub cautions: Vec<LevelCaution>,
}

/// Looks for a steady tone of `stated_hz` in samples of full scale 1, and reads its level.
///
/// # Errors
/// Where there is no such tone: too short, clipped, another frequency, noise, two tones, distorted, unsteady.
pub fn tone(samples: &[f32], rate_hz: u32, stated_hz: f64) -> Result<Tone, LevelError> {
    if samples.iter().any(|x| !x.is_finite()) {
        return Err(LevelError::NotFinite);
    }
    if samples.iter().all(|x| *x == 0.0) {
        return Err(LevelError::DigitalSilence);
    }
    let rate = f64::from(rate_hz);
    let block = (BLOCK_S * rate) as usize;
    let sound = sounding(samples, block);
    let seconds = sound.len() as f64 / rate;
    if seconds < NEEDED_S {
        return Err(LevelError::TooShort { found_s: seconds, needed_s: NEEDED_S });
    }
    let n_stretches = at_the_stop(sound);
    if n_stretches > 0 {
        return Err(LevelError::Clipped { n_stretches });
    }
    let seen = Spectrum::of(sound, rate);
    let frequency_hz = seen.strongest_hz;
    let rest_db = power_db_at_least(seen.rest / seen.tone, -150.0);
    let as_stated = (frequency_hz / stated_hz - 1.0).abs() <= FREQUENCY_SHARE;
    if rest_db > REST_DB.1 && seen.second_db <= SECOND_DB {
        return Err(LevelError::NotATone { rest_db, limit_db: REST_DB.1 });
    }
    if seen.second_db > SECOND_DB {
        return Err(LevelError::TwoTones {
            other_hz: seen.second_hz,
            other_db: seen.second_db,
            limit_db: SECOND_DB,
        });
    }
    if !as_stated {
        return Err(LevelError::WrongFrequency { found_hz: frequency_hz, stated_hz });
    }
    let distortion_percent = 100.0 * (seen.overtones / seen.tone).sqrt();
    if distortion_percent > DISTORTED_PERCENT.1 {
        return Err(LevelError::Distorted {
            found_percent: distortion_percent,
            limit_percent: DISTORTED_PERCENT.1,
        });
    }
    let levels: Vec<f64> = sound
        .chunks_exact(block)
        .filter_map(|piece| amplitude_db(amplitude(piece, frequency_hz / rate)))
        .collect();
    let n = levels.len() as f64;
    let (mean, variance) =
        mean_and_variance(&levels).ok_or(LevelError::TooShort { found_s: seconds, needed_s: NEEDED_S })?;
    let extreme = |pick: fn(f64, f64) -> f64| levels.iter().copied().reduce(pick).unwrap_or(mean);
    let range_db = extreme(f64::max) - extreme(f64::min);
    if range_db > UNSTEADY_DB.1 {
        return Err(LevelError::Unsteady { range_db, limit_db: UNSTEADY_DB.1 });
    }
    let mut cautions = Vec::new();
    if range_db > UNSTEADY_DB.0 {
        cautions.push(LevelCaution::ToneUnsteady { figure: range_db, limit: UNSTEADY_DB.0 });
    }
    if distortion_percent > DISTORTED_PERCENT.0 {
        cautions.push(LevelCaution::ToneDistorted { figure: distortion_percent, limit: DISTORTED_PERCENT.0 });
    }
    if rest_db > REST_DB.0 {
        cautions.push(LevelCaution::ToneNotAlone { figure: rest_db, limit: REST_DB.0 });
    }
    Ok(Tone {
        level_dbfs: mean,
        frequency_hz,
        standard_db: (variance / n).sqrt(),
        n_blocks: levels.len(),
        seconds,
        range_db,
        distortion_percent,
        rest_db,
        cautions,
    })
}

/// From the first to the last block that sounds, without these two: there the calibrator is put on and taken off.
fn sounding(samples: &[f32], block: usize) -> &[f32] {
    let powers: Vec<f64> =
        samples.chunks_exact(block).map(|b| fairtake_signal::levels::energy(b) / block as f64).collect();
    let mut sorted = powers.clone();
    sorted.sort_by(f64::total_cmp);
    let Some(typical) = sorted.get(sorted.len() * 3 / 4) else { return &[] };
    let least = typical * fairtake_signal::units::db_to_power(-TONE_DB);
    let sounds = |p: &f64| *p >= least;
    match (powers.iter().position(sounds), powers.iter().rposition(sounds)) {
        (Some(first), Some(last)) if last > first + 1 => &samples[(first + 1) * block..last * block],
        _ => &[],
    }
}

/// Stretches of samples at one and the same extreme near full scale.
fn at_the_stop(samples: &[f32]) -> usize {
    let highest = fairtake_signal::levels::sample_peak(samples);
    if highest < 0.99 {
        return 0;
    }
    let least = (highest - STOP) as f32;
    let (mut n_stretches, mut run) = (0, 0);
    for x in samples {
        run = if x.abs() >= least { run + 1 } else { 0 };
        n_stretches += usize::from(run == STOP_FRAMES);
    }
    n_stretches
}

/// Amplitude of the sine of `turns` per sample that fits best, by least squares.
fn amplitude(samples: &[f32], turns: f64) -> f64 {
    let (mut cc, mut ss, mut cs, mut xc, mut xs) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for (i, x) in samples.iter().enumerate() {
        let (s, c) = (TAU * turns * i as f64).sin_cos();
        cc += c * c;
        ss += s * s;
        cs += c * s;
        xc += f64::from(*x) * c;
        xs += f64::from(*x) * s;
    }
    let det = cc * ss - cs * cs;
    let (a, b) = ((xc * ss - xs * cs) / det, (xs * cc - xc * cs) / det);
    a.hypot(b)
}

/// What the spectrum of the whole take shows.
struct Spectrum {
    strongest_hz: f64,
    tone: f64,
    overtones: f64,
    rest: f64,
    second_hz: f64,
    second_db: f64,
}

impl Spectrum {
    fn of(samples: &[f32], rate: f64) -> Spectrum {
        let n = LONGEST_TRANSFORM.min(1 << samples.len().ilog2());
        let mut powers = vec![0.0; n / 2 + 1];
        // Half-overlapping pieces, so that all of the take is seen.
        for start in (0..=samples.len() - n).step_by(n / 2) {
            let windowed = samples[start..start + n]
                .iter()
                .enumerate()
                .map(|(i, x)| f64::from(*x) * (0.5 - 0.5 * (TAU * i as f64 / n as f64).cos()));
            let bins = to_frequency(windowed, n);
            powers.iter_mut().zip(&bins).for_each(|(p, b): (&mut f64, &Complex<f64>)| *p += b.norm_sqr());
        }
        let bin_hz = rate / n as f64;
        let lowest = (LOWEST_HZ / bin_hz).ceil() as usize;
        let peak = |powers: &[f64]| {
            (lowest..powers.len() - 1).max_by(|a, b| powers[*a].total_cmp(&powers[*b])).unwrap_or(lowest)
        };
        let top = peak(&powers);
        let strongest_hz = (top as f64 + offset(&powers, top)) * bin_hz;
        let mut left = powers.clone();
        let mut take = |hz: f64| {
            let middle = (hz / bin_hz).round() as usize;
            let (from, to) = (middle.saturating_sub(LINE_BINS), (middle + LINE_BINS + 1).min(left.len()));
            if from >= to {
                return 0.0;
            }
            let sum = left[from..to].iter().sum::<f64>();
            left[from..to].fill(0.0);
            sum
        };
        let tone = take(strongest_hz);
        let overtones = (2..=N_HARMONICS).map(|k| take(strongest_hz * k as f64)).sum();
        let rest = left[lowest..].iter().sum();
        let second = peak(&left);
        // A line's own bins against as many beside it: noise has peaks, but no lines.
        let own: f64 = left[second.saturating_sub(2)..(second + 3).min(left.len())].iter().sum();
        let around: f64 =
            left[second.saturating_sub(15)..(second + 16).min(left.len())].iter().sum::<f64>() - own;
        let is_line = own > 3.0 * around;
        Spectrum {
            strongest_hz,
            tone,
            overtones,
            rest,
            second_hz: second as f64 * bin_hz,
            second_db: if is_line { power_db_at_least(own / tone, -150.0) } else { f64::NEG_INFINITY },
        }
    }
}

/// Where between bins the line lies: the parabola through the logarithms of three bins, good to a hundredth of a bin or
/// two with the Hann window.
fn offset(powers: &[f64], top: usize) -> f64 {
    if top == 0 || top + 1 >= powers.len() {
        return 0.0;
    }
    let [a, b, c] = [top - 1, top, top + 1].map(|k| powers[k].max(1e-300).ln());
    let curve = a - 2.0 * b + c;
    if curve < 0.0 { 0.5 * (a - c) / curve } else { 0.0 }
}

#[cfg(test)]
#[path = "tone_tests.rs"]
mod tests;
