//! A stretch of a take as it is played: turned down, faded at both ends.

use crate::{AuditionError, Stretch};
use fairtake_compare::{ReadError, Take};
use fairtake_signal::units::db_to_power;

/// Length of the fades in seconds: long enough that a cut is not heard as a click. Common practice, no source.
const FADE_S: f64 = 0.005;
/// No clip is longer than this, in seconds.
const LONGEST_S: u64 = 60;

/// Sound to be played.
#[derive(Debug, Clone, PartialEq)]
pub struct Clip {
    /// Sampling rate in Hz.
    pub rate_hz: u32,
    /// Samples of one channel, full scale ±1.
    pub samples: Vec<f32>,
    /// By how much the samples were turned down, in dB, 0 or less.
    pub gain_db: f64,
}

/// The frames `stretch` of a take at a gain of `gain_db`, with raised-cosine fades of 5 ms at both ends, or of half its
/// length where it is shorter. Silence where the stretch reaches beyond the take, with the fades at the take's ends.
///
/// # Errors
/// When the take cannot be read, the stretch is empty or longer than a minute, or the gain is above 0 dB or no number.
pub fn clip(take: &Take, stretch: Stretch, gain_db: f64) -> Result<Clip, AuditionError> {
    let rate_hz = take.samples.rate_hz();
    let n = checked(take, stretch, gain_db)?;
    let gain = gain_factor(gain_db);
    let mut samples = vec![0f32; n];
    let there = read(take, stretch.start, &mut samples)?;
    samples[there.clone()].iter_mut().for_each(|x| *x = (f64::from(*x) * gain) as f32);
    fade(&mut samples[there], rate_hz);
    Ok(Clip { rate_hz, samples, gain_db })
}

/// Number of frames, where the stretch and its gain can be played.
pub(crate) fn checked(take: &Take, stretch: Stretch, gain_db: f64) -> Result<usize, AuditionError> {
    let most = LONGEST_S * u64::from(take.samples.rate_hz());
    if stretch.frames == 0 || stretch.frames > most {
        return Err(AuditionError::BadLength { take: take.id.clone(), frames: stretch.frames, most });
    }
    // Said this way round, so that what is no number is refused too.
    if !(gain_db <= 0.0 && gain_db.is_finite()) {
        return Err(AuditionError::BadGain { take: take.id.clone(), gain_db });
    }
    Ok(stretch.frames as usize)
}

/// Amplitude factor of a gain in dB.
pub(crate) fn gain_factor(gain_db: f64) -> f64 {
    db_to_power(gain_db).sqrt()
}

/// Fills `out`, which holds zeros, from frame `start` on with what there is of the take, and returns where that lies.
pub(crate) fn read(take: &Take, start: i64, out: &mut [f32]) -> Result<std::ops::Range<usize>, ReadError> {
    let n = out.len();
    let before = usize::try_from(start.min(0).unsigned_abs()).unwrap_or(n).min(n);
    let first = start.max(0) as u64;
    if before == n || first >= take.samples.frames() {
        return Ok(n..n);
    }
    let n_read = take.samples.read(first, &mut out[before..])?;
    let end = (before + n_read).min(n);
    // Whatever was left there beyond what was read is none of the take.
    out[end..].fill(0.0);
    Ok(before..end)
}

/// Fades both ends, from and to zero.
pub(crate) fn fade(samples: &mut [f32], rate_hz: u32) {
    fade_over(samples, rate_hz, FADE_S);
}

/// The same over another time, in seconds.
pub(crate) fn fade_over(samples: &mut [f32], rate_hz: u32, fade_s: f64) {
    let n = samples.len();
    let over = ((fade_s * f64::from(rate_hz)).round() as usize).min(n.div_ceil(2));
    for i in 0..over {
        let w = (0.5 - 0.5 * (std::f64::consts::PI * i as f64 / over as f64).cos()) as f32;
        samples[i] *= w;
        samples[n - 1 - i] *= w;
    }
}

#[cfg(test)]
mod tests;
