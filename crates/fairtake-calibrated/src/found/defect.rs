//! What is wrong with a recording that can still be measured.

use super::Span;
use fairtake_signal::defects::{HISTORY, Scan};
use serde::{Deserialize, Serialize};
use std::fmt;

/// A fault, with where it was found.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Defect {
    /// Samples stand still at the greatest value.
    Clipped {
        /// How many times.
        count: usize,
        /// First time, in seconds.
        first_s: f64,
        /// The greatest value in dBFS.
        at_dbfs: f64,
    },
    /// Stretches of zeros within sound.
    Dropout {
        /// How many.
        count: usize,
        /// First one, in seconds.
        first_s: f64,
    },
    /// Within a sweep something sounds that is neither it nor its harmonics nor the noise before it.
    Break {
        /// How many times.
        count: usize,
        /// First time, in seconds.
        first_s: f64,
        /// By how much it stands out, in dB.
        by_db: f64,
    },
    /// Little above the noise.
    Noisy {
        /// Level of the loudest pass above the noise, in dB.
        snr_db: f64,
    },
}

/// Samples at the greatest value in a row that count as clipped. Sounds, unless clipped, have their greatest value once or twice.
const CLIPPED_FRAMES: usize = 4;
/// Such rows make a clipped recording.
const CLIPPED_ROWS: usize = 3;
/// Below this, in dB, the loudest pass is called noisy: a sweep of ten seconds is then still 50 dB above it at most frequencies,
/// but its distortion is not. Common practice, no source.
const NOISY_DB: f64 = 30.0;

impl Defect {
    /// What to do about it.
    pub fn hint(self) -> &'static str {
        match self {
            Defect::Clipped { .. } => "turn the gain down and record again",
            Defect::Dropout { .. } => "record again with a larger buffer, and nothing else running",
            Defect::Break { .. } => "listen there: an edit, a lost buffer, a knock or a voice; record again",
            Defect::Noisy { .. } => "play louder or nearer, or longer; silence what hums and blows",
        }
    }

    pub(super) fn of_snr(snr_db: Option<f64>) -> Option<Defect> {
        snr_db.filter(|db| *db < NOISY_DB).map(|snr_db| Defect::Noisy { snr_db })
    }
}

impl fmt::Display for Defect {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Defect::Clipped { count, first_s, at_dbfs } => {
                write!(f, "clipped at {at_dbfs:.1} dBFS, {count} times, first at {first_s:.2} s")
            }
            Defect::Dropout { count, first_s } => {
                write!(f, "{count} stretches of zeros within sound, the first at {first_s:.2} s")
            }
            Defect::Break { count, first_s, by_db } => {
                write!(
                    f,
                    "broken {count} times, first at {first_s:.2} s, where {by_db:.0} dB too much sounds"
                )
            }
            Defect::Noisy { snr_db } => write!(f, "only {snr_db:.1} dB above the noise"),
        }
    }
}

/// Faults that the samples show by themselves.
pub(super) fn of_samples(recording: &[f32], rate_hz: u32, span: &Span) -> Vec<Defect> {
    let samples = &recording[span.from..span.to];
    let seconds = |frame: usize| (span.from + frame) as f64 / f64::from(rate_hz);
    let mut defects = Vec::new();
    let most = samples.iter().fold(0.0f32, |most, x| most.max(x.abs()));
    let (mut count, mut first, mut row) = (0, None, 0);
    for (i, x) in samples.iter().enumerate() {
        row = if x.abs() == most && most > 0.0 { row + 1 } else { 0 };
        if row == CLIPPED_FRAMES {
            count += 1;
            first.get_or_insert(i + 1 - CLIPPED_FRAMES);
        }
    }
    if let Some(first) = first.filter(|_| count >= CLIPPED_ROWS) {
        let at_dbfs = fairtake_signal::units::amplitude_db(f64::from(most)).unwrap_or(0.0);
        defects.push(Defect::Clipped { count, first_s: seconds(first), at_dbfs });
    }
    let found = {
        let mut scan = Scan::new(rate_hz);
        let hop = 1 << 18;
        let (mut start, mut shown) = (0, 0);
        while shown < samples.len() {
            start = shown.saturating_sub(HISTORY) / 32 * 32;
            shown = (shown + hop).min(samples.len());
            scan.look(&samples[start..shown], start as u64);
        }
        scan.finish(&samples[start..], start as u64)
    };
    if let Some(first) = found.dropouts.first_frame {
        defects.push(Defect::Dropout { count: found.dropouts.count, first_s: seconds(first as usize) });
    }
    defects
}
