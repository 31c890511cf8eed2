//! The one pass over every sample of a take.

use super::Stretch;
use crate::{ReadError, Take};
use fairtake_signal::defects::{Defects, HISTORY, Scan};
use fairtake_signal::levels::Levels;
use fairtake_signal::loudness::KWeighting;
use fairtake_signal::onsets::Envelope;

/// Envelope stretches that are read and looked at together, so that they stay in the cache.
const PART_HOPS: usize = 256;
/// So many parts are filtered together: the filter starts several times in a chunk, and each time a little early.
const CHUNK_PARTS: usize = 8;

/// What the pass leaves behind; grows with minutes only by a few bytes per 2.5 ms.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Streamed {
    pub envelope: Envelope,
    pub levels: Levels,
    pub k_tenths: Vec<f64>,
    pub defects: Defects,
    /// K-weighted energy (sum of squares) up to the start of every stretch.
    k_up_to: Vec<f64>,
    frames: u64,
}

impl Streamed {
    pub(crate) fn mean_square(&self) -> f64 {
        self.levels.squares / self.frames.max(1) as f64
    }

    pub(crate) fn dc(&self) -> f64 {
        self.levels.sum / self.frames.max(1) as f64
    }

    /// K-weighted sum of squares from one frame to another, to the nearest 2.5 ms.
    pub(crate) fn k_energy(&self, start: u64, end: u64) -> f64 {
        let hop = self.envelope.hop_frames as u64;
        let at = |frame: u64| {
            let i = ((frame + hop / 2) / hop) as usize;
            self.k_up_to[i.min(self.k_up_to.len() - 1)]
        };
        at(end) - at(start)
    }

    /// Attack (10 to 90 % of the envelope's amplitude) and decay (20 dB down from its peak), in seconds.
    pub(crate) fn shape(&self, stretch: &Stretch, rate: f64) -> (Option<f64>, Option<f64>) {
        let hop = self.envelope.hop_frames as u64;
        let from = ((stretch.start / hop) as usize).min(self.envelope.plain.len());
        let to = ((stretch.end / hop) as usize).min(self.envelope.plain.len());
        let values = &self.envelope.plain[from..to.max(from)];
        let Some(peak_idx) = (0..values.len()).max_by(|a, b| values[*a].total_cmp(&values[*b])) else {
            return (None, None);
        };
        let peak = values[peak_idx];
        let hop_s = hop as f64 / rate;
        let first = |share: f32| values[..=peak_idx].iter().position(|v| *v >= share * peak);
        let attack = first(0.9).zip(first(0.1)).map(|(high, low)| (high - low) as f64 * hop_s);
        let decay = values[peak_idx..].iter().position(|v| *v <= peak * 0.01).map(|n| n as f64 * hop_s);
        (attack, decay)
    }
}

/// Reads a take once, from its first frame to its last.
pub(crate) fn stream(take: &Take) -> Result<Streamed, ReadError> {
    let rate_hz = take.samples.rate_hz();
    let mut envelope = Envelope::new(rate_hz);
    let hop = envelope.hop_frames;
    let mut k = KWeighting::new(rate_hz);
    let mut scan = Scan::new(rate_hz);
    let mut out = Streamed {
        envelope: envelope.clone(),
        levels: Levels::default(),
        k_tenths: Vec::new(),
        defects: Defects::default(),
        k_up_to: vec![0.0],
        frames: 0,
    };
    let n_part = hop * PART_HOPS;
    // What the scan has to see again lies before the chunk; nothing does at the start of the take.
    let mut buffer = vec![0f32; HISTORY + n_part * CHUNK_PARTS];
    let mut n_before = 0;
    let mut k_sum = 0.0;
    let defects = loop {
        let (mut n_chunk, mut n_read) = (0, n_part);
        let window_from = HISTORY - n_before;
        let window_start = out.frames - n_before as u64;
        while n_chunk < n_part * CHUNK_PARTS && n_read == n_part {
            let part = HISTORY + n_chunk..HISTORY + n_chunk + n_part;
            n_read = take.samples.read(out.frames, &mut buffer[part.clone()])?;
            out.levels.join(&envelope.push(&buffer[part.start..part.start + n_read]));
            n_chunk += n_read;
            scan.look(&buffer[window_from..HISTORY + n_chunk], window_start);
            out.frames += n_read as u64;
        }
        for energy in k.energies(&buffer[HISTORY..HISTORY + n_chunk], hop) {
            k_sum += energy;
            out.k_up_to.push(k_sum);
        }
        if n_read < n_part {
            break scan.finish(&buffer[window_from..HISTORY + n_chunk], window_start);
        }
        buffer.copy_within(n_chunk.., 0);
        n_before = HISTORY;
    };
    // 40 stretches of 2.5 ms are 100 ms.
    let per_tenth = (f64::from(rate_hz) / 10.0 / hop as f64).round() as usize;
    let tenth_frames = (per_tenth * hop) as f64;
    out.k_tenths = (0..out.k_up_to.len().saturating_sub(1) / per_tenth)
        .map(|i| (out.k_up_to[(i + 1) * per_tenth] - out.k_up_to[i * per_tenth]) / tenth_frames)
        .collect();
    out.envelope = envelope;
    out.defects = defects;
    Ok(out)
}
