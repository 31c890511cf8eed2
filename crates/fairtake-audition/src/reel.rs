//! A reel: the same moments of one microphone after the other, level-matched, in one piece of sound with a list of what plays
//! when. For a video, a page or a talk.

use crate::clip::gain_factor;
use crate::{AuditionError, Moment, Part, PlaybackGain, clip};
use fairtake_compare::Take;
use fairtake_signal::loudness::{KWeighting, gated_loudness};
use fairtake_signal::true_peak::TruePeak;
use fairtake_signal::units::{amplitude_db, power_db};
use serde::Serialize;

/// True peaks stay below this, in dBTP: room for lossy codings (EBU R 128).
const CEILING_DBTP: f64 = -1.0;
/// The ceiling is kept by so much, in dB, so that a reader who interpolates otherwise finds it kept too: estimators of the
/// true peak may read 0.6 dB too little (ITU-R BS.1770, Annex 2, at four times the rate).
const KEPT_BY_DB: f64 = 0.6;
/// Tenths of a second, by which loudness is gated.
const STEPS_PER_S: u32 = 10;
/// No reel is longer, in seconds.
const LONGEST_S: f64 = 600.0;

/// What a reel is made of.
#[derive(Debug, Clone, PartialEq)]
pub struct Wanted {
    /// Silence between two pieces, in seconds, 0 or more.
    pub gap_s: f64,
    /// No more moments than this.
    pub most_moments: usize,
    /// No moment is begun beyond this length, in seconds.
    pub most_s: f64,
    /// Order in which the microphones of each moment play, as places among its parts, one list per moment, taken again
    /// from the first when there are more moments; empty: as they stand.
    pub orders: Vec<Vec<usize>>,
}

/// A piece of a reel.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Piece {
    /// Key of the microphone.
    pub mic: String,
    /// Place of the moment, counted from 0.
    pub moment: usize,
    /// First frame.
    pub from_frame: u64,
    /// The frame after the last.
    pub to_frame: u64,
}

/// A reel.
#[derive(Debug, Clone, PartialEq)]
pub struct Reel {
    /// Sampling rate in Hz.
    pub rate_hz: u32,
    /// Samples of one channel, full scale ±1.
    pub samples: Vec<f32>,
    /// What plays when, in order of time.
    pub pieces: Vec<Piece>,
    /// By how much everything was turned down beside the match, in dB, 0 or less.
    pub trim_db: f64,
    /// Loudness of the whole in LUFS (ITU-R BS.1770); `None`: too short or too quiet for it.
    pub loudness_lufs: Option<f64>,
    /// True peak in dBTP; `None` for silence.
    pub true_peak_dbtp: Option<f64>,
}

/// Makes a reel of these moments at these playback gains.
///
/// Every piece is a clip as it is heard on the page, faded at both ends, turned down to the match. Where a true peak would
/// come above −1.6 dBTP, all of it is turned down alike; nothing is ever turned up, so that no piece is louder than its
/// original.
///
/// # Errors
/// When there is nothing to play, it would be longer than ten minutes, sampling rates differ, an order does not name every
/// part of its moment once, or a take cannot be read.
///
/// # Source
/// ITU-R BS.1770 for loudness and true peak, EBU R 128 for the ceiling of −1 dBTP.
pub fn reel(
    takes: &[Take],
    moments: &[Moment],
    gains: &[PlaybackGain],
    wanted: &Wanted,
) -> Result<Reel, AuditionError> {
    let plan = planned(moments, wanted)?;
    let rate_hz = plan.rate_hz;
    let mut samples: Vec<f32> = Vec::with_capacity(plan.n_frames as usize);
    let mut pieces = Vec::new();
    for (m, part) in plan.order {
        let missing = || AuditionError::NoSamples { take: part.take.clone() };
        let take = takes.iter().find(|t| t.id == part.take).ok_or_else(missing)?;
        let gain_db = gains.iter().find(|g| g.mic == part.mic).map_or(0.0, |g| g.gain_db);
        if !samples.is_empty() {
            samples.resize(samples.len() + plan.gap_frames, 0.0);
        }
        let from_frame = samples.len() as u64;
        samples.extend(clip(take, part.stretch, gain_db)?.samples);
        let to_frame = samples.len() as u64;
        pieces.push(Piece { mic: part.mic.clone(), moment: m, from_frame, to_frame });
    }
    let peak_db = amplitude_db(TruePeak::new().of(&samples));
    let trim_db = peak_db.map_or(0.0, |db| (CEILING_DBTP - KEPT_BY_DB - db).min(0.0));
    let factor = gain_factor(trim_db);
    samples.iter_mut().for_each(|x| *x = (f64::from(*x) * factor) as f32);
    let hop = (rate_hz / STEPS_PER_S).max(1) as usize;
    let tenths: Vec<f64> =
        KWeighting::new(rate_hz).energies(&samples, hop).iter().map(|e| e / hop as f64).collect();
    Ok(Reel {
        rate_hz,
        pieces,
        trim_db,
        loudness_lufs: gated_loudness(&tenths),
        true_peak_dbtp: power_db(TruePeak::new().of(&samples).powi(2)),
        samples,
    })
}

/// How long a reel of these moments would be, in seconds, without reading any sound.
///
/// # Errors
/// As [`reel`], but for takes that cannot be read.
pub fn reel_length_s(moments: &[Moment], wanted: &Wanted) -> Result<f64, AuditionError> {
    let plan = planned(moments, wanted)?;
    Ok(plan.n_frames as f64 / f64::from(plan.rate_hz))
}

/// What plays after what.
struct Plan<'m> {
    rate_hz: u32,
    gap_frames: usize,
    /// Place of the moment, and which part of it.
    order: Vec<(usize, &'m Part)>,
    n_frames: u64,
}

fn planned<'m>(moments: &'m [Moment], wanted: &Wanted) -> Result<Plan<'m>, AuditionError> {
    let refused = |why: String| AuditionError::NoReel { why };
    let first = moments.first().and_then(|m| m.parts.first());
    let Some(first) = first else { return Err(refused("there is no moment to play".into())) };
    let rate_hz = first.rate_hz;
    if !(0.0..=60.0).contains(&wanted.gap_s) {
        return Err(refused(format!("the gap cannot last {} s", wanted.gap_s)));
    }
    let gap_frames = (wanted.gap_s * f64::from(rate_hz)).round() as usize;
    let mut plan = Plan { rate_hz, gap_frames, order: Vec::new(), n_frames: 0 };
    for (m, moment) in moments.iter().enumerate().take(wanted.most_moments) {
        let as_they_stand: Vec<usize> = (0..moment.parts.len()).collect();
        let order = match wanted.orders.len() {
            0 => &as_they_stand,
            n => &wanted.orders[m % n],
        };
        let mut named = order.clone();
        named.sort_unstable();
        if named != as_they_stand {
            let n = moment.parts.len();
            return Err(refused(format!("order {order:?} does not name {n} microphones once each")));
        }
        let seconds = plan.n_frames as f64 / f64::from(rate_hz) + moment.duration_s * order.len() as f64;
        if m > 0 && seconds > wanted.most_s {
            break;
        }
        if seconds > LONGEST_S {
            return Err(refused(format!("it would last {seconds:.0} s; {LONGEST_S:.0} s are the most")));
        }
        for part in order.iter().map(|i| &moment.parts[*i]) {
            if part.rate_hz != rate_hz {
                let why = format!("{} has {} Hz and the first take {rate_hz} Hz", part.take, part.rate_hz);
                return Err(refused(why));
            }
            if !plan.order.is_empty() {
                plan.n_frames += gap_frames as u64;
            }
            plan.n_frames += part.stretch.frames;
            plan.order.push((m, part));
        }
    }
    if plan.order.is_empty() {
        return Err(refused("no moment is asked for".into()));
    }
    Ok(plan)
}

#[cfg(test)]
mod tests;
