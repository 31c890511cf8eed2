//! The one pass over every sample of a take.

use super::Stretch;
use crate::{ReadError, Take};
use fairtake_signal::defects::{Defects, Scan};
use fairtake_signal::levels::{energy, sample_peak, sum};
use fairtake_signal::loudness::KWeighting;
use fairtake_signal::onsets::Envelope;

/// Envelope stretches that are read and looked at together, so that they stay in the cache.
const PART_HOPS: usize = 256;
/// So many parts are filtered together: the filter starts several times in a chunk, and each time a little early.
const CHUNK_PARTS: usize = 8;

/// What the pass leaves behind; grows with minutes only by a few bytes per 2.5 ms.
#[derive(Debug, Clone)]
pub(crate) struct Streamed {
    pub envelope: Envelope,
    pub peak: f64,
    pub k_tenths: Vec<f64>,
    pub defects: Defects,
    /// K-weighted energy (sum of squares) up to the start of every stretch.
    k_up_to: Vec<f64>,
    sum: f64,
    squares: f64,
    frames: u64,
}

impl Streamed {
    pub(crate) fn mean_square(&self) -> f64 {
        self.squares / self.frames.max(1) as f64
    }

    pub(crate) fn dc(&self) -> f64 {
        self.sum / self.frames.max(1) as f64
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
        peak: 0.0,
        k_tenths: Vec::new(),
        defects: Defects::default(),
        k_up_to: vec![0.0],
        sum: 0.0,
        squares: 0.0,
        frames: 0,
    };
    let mut chunk = vec![0f32; hop * PART_HOPS * CHUNK_PARTS];
    let mut k_sum = 0.0;
    while out.frames < take.samples.frames() {
        let mut n_chunk = 0;
        for part in chunk.chunks_mut(hop * PART_HOPS) {
            let n = take.samples.read(out.frames, part)?;
            let samples = &part[..n];
            out.peak = out.peak.max(sample_peak(samples));
            out.squares += energy(samples);
            out.sum += sum(samples);
            envelope.push(samples);
            scan.push(samples);
            out.frames += n as u64;
            n_chunk += n;
            if n < part.len() {
                break;
            }
        }
        if n_chunk == 0 {
            break;
        }
        for energy in k.energies(&chunk[..n_chunk], hop) {
            k_sum += energy;
            out.k_up_to.push(k_sum);
        }
    }
    // 40 stretches of 2.5 ms are 100 ms.
    let per_tenth = (f64::from(rate_hz) / 10.0 / hop as f64).round() as usize;
    let tenth_frames = (per_tenth * hop) as f64;
    out.k_tenths = (0..out.k_up_to.len().saturating_sub(1) / per_tenth)
        .map(|i| (out.k_up_to[(i + 1) * per_tenth] - out.k_up_to[i * per_tenth]) / tenth_frames)
        .collect();
    out.envelope = envelope;
    out.defects = scan.finish();
    Ok(out)
}
