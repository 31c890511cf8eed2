//! Where a take is loud and where it is quiet: a few short stretches, not the whole file.

use crate::parallel::in_parallel;
use crate::{ReadError, Take};
use fairtake_signal::levels::energy;
use fairtake_signal::units::db_to_power;

/// Length of one stretch in seconds.
pub(super) const STRETCH_S: f64 = 0.25;
/// Loud stretches looked for, one in each part of the take. Reason: a drift wants a straight line tested.
const N_PARTS: u64 = 12;
/// No more than this many places are looked at in each part, spread evenly. Reason: a stretch is wanted in which
/// something plays, not the loudest of all; a long file need not be read whole for that.
const MOST_PLACES: u64 = 20;
/// Quiet stretches used at most.
const MOST_QUIET: usize = 24;
/// The quiet lies this far below the loudest place, in dB; less may be quiet music.
const BELOW_LOUD_DB: f64 = 30.0;
/// Quiet stretches are alike within this factor of energy (2 dB). Reason: the end of a hit that still rings is shared by
/// replays too; it has to be kept out.
pub(super) const STEADY: f64 = 1.58;

/// Energy and start of a stretch, in frames.
type Place = (f64, u64);

/// Starts of stretches, in frames.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Places {
    pub loud: Vec<u64>,
    pub quiet: Vec<u64>,
}

impl Places {
    /// Reads at most 240 stretches.
    pub(super) fn of(take: &Take) -> Result<Places, ReadError> {
        let length = (STRETCH_S * f64::from(take.samples.rate_hz())) as usize;
        let part = take.samples.frames() / N_PARTS;
        let parts: Vec<u64> = (0..N_PARTS).collect();
        let found = in_parallel(&parts, |k| {
            let (mut best, mut all): (Option<Place>, Vec<Place>) = (None, Vec::new());
            let mut samples = vec![0f32; length];
            let step = part.div_ceil(MOST_PLACES).max(length as u64);
            let mut start = k * part;
            while start + length as u64 <= (k + 1) * part {
                let n = take.samples.read(start, &mut samples)?;
                let e = energy(&samples[..n]);
                if e > 0.0 {
                    all.push((e, start));
                    if best.is_none_or(|(most, _)| e > most) {
                        best = Some((e, start));
                    }
                }
                start += step;
            }
            Ok((best, all))
        })?;
        let loud = found.iter().filter_map(|(best, _)| Some(best.as_ref()?.1)).collect();
        Ok(Places { loud, quiet: quiet(found.into_iter().flat_map(|(_, all)| all).collect()) })
    }
}

/// The steady ones among the quiet, spread over the take.
fn quiet(mut all: Vec<Place>) -> Vec<u64> {
    let most = all.iter().map(|(e, _)| *e).fold(0.0, f64::max);
    all.retain(|(e, _)| *e <= most * db_to_power(-BELOW_LOUD_DB));
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    // From the first tenth of the quiet up, so that one stretch that is quieter by chance or fault does not set the mark.
    let Some((mark, _)) = all.get(all.len() / 10).copied() else { return Vec::new() };
    all.retain(|(e, _)| *e <= mark * STEADY);
    all.sort_by_key(|(_, start)| *start);
    let step = all.len().div_ceil(MOST_QUIET).max(1);
    all.into_iter().step_by(step).map(|(_, start)| start).collect()
}

/// Samples from a frame on, which may lie before the start; what is not there is silence.
pub(super) fn read_at(take: &Take, start: i64, length: usize) -> Result<Vec<f32>, ReadError> {
    let mut out = vec![0f32; length];
    let before = (-start).clamp(0, length as i64) as usize;
    let n = take.samples.read(start.max(0) as u64, &mut out[before..])?;
    out[before + n..].fill(0.0);
    Ok(out)
}
