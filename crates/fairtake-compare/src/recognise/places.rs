//! Where a take is loud and where it is quiet, by its envelope.

use crate::{ReadError, Take};
use fairtake_signal::onsets::{Envelope, HOP_S};
use fairtake_signal::units::db_to_power;

/// Length of one stretch in seconds.
pub(super) const STRETCH_S: f64 = 0.25;
/// Loud stretches looked for, one in each part of the take. Reason: a drift wants a straight line tested.
const N_PARTS: usize = 12;
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
    /// Of a take with this envelope.
    pub(super) fn of(envelope: &Envelope) -> Places {
        let n_hops = (STRETCH_S / HOP_S).round() as usize;
        let part = envelope.plain.len() / N_PARTS;
        let (mut loud, mut all) = (Vec::new(), Vec::new());
        for k in 0..N_PARTS {
            let mut best: Option<Place> = None;
            for (i, stretch) in envelope.plain[k * part..(k + 1) * part].chunks_exact(n_hops).enumerate() {
                let e: f64 = stretch.iter().map(|v| f64::from(*v)).sum();
                if e > 0.0 {
                    let place = (e, ((k * part + i * n_hops) * envelope.hop_frames) as u64);
                    all.push(place);
                    best = best.filter(|(most, _)| *most >= e).or(Some(place));
                }
            }
            loud.extend(best.map(|(_, start)| start));
        }
        Places { loud, quiet: quiet(all) }
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
