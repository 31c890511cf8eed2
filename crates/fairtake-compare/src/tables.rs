//! What is judged: event × band tables in dB, one per take, for one pair of microphones on one source.
//!
//! The curve tier of the ground truth draws these from a statistical model; the audio path fills them
//! from [`crate::TakeMeasure`]. Both go through the same judging code.

use crate::{Design, MatchBy, Playing};

/// Everything that the judging stage needs of one comparison.
#[derive(Debug, Clone, PartialEq)]
pub struct PairTables {
    /// How the takes were made.
    pub design: Design,
    /// `Percussive` or `Sustained`.
    pub playing: Playing,
    /// Bands, low to high, already joined where events are too short for them.
    pub bands: Vec<BandSpan>,
    /// Which bands can be judged (signal-to-noise, resolution), same length as `bands`.
    pub supported: Vec<bool>,
    /// Takes of the reference microphone.
    pub reference: Vec<Table>,
    /// Takes of the other microphone.
    pub against: Vec<Table>,
    /// Takes of the witness, one per performance; empty without a witness.
    pub witness: Vec<Table>,
    /// Standard uncertainty left by the noise subtraction in dB, per band, for the difference.
    pub noise_subtraction_sd_db: Vec<f64>,
}

/// Edges of one band.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BandSpan {
    /// Lower edge in Hz.
    pub from_hz: f64,
    /// Upper edge in Hz.
    pub to_hz: f64,
}

impl BandSpan {
    /// Geometric centre in Hz.
    pub fn centre_hz(self) -> f64 {
        (self.from_hz * self.to_hz).sqrt()
    }
}

/// One take as rows of dB.
#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    /// Placement, from 1.
    pub placement: u32,
    /// Performance, from 1. In `Together` and with a witness, row *k* of all tables of one performance is
    /// the same event.
    pub performance: u32,
    /// Named spot.
    pub position: Option<String>,
    /// Order in which takes were made.
    pub order: Option<u32>,
    /// Event-major `n_events × bands.len()`: noise-subtracted band levels in dB.
    pub band_db: Vec<f64>,
    /// Per event: event loudness, LUFS.
    pub loudness_db: Vec<f64>,
    /// Per event: energy 300 Hz–3 kHz, dB.
    pub midrange_db: Vec<f64>,
    /// Per event: sample peak, dBFS.
    pub sample_peak_db: Vec<f64>,
    /// Per event: true peak, dBTP.
    pub true_peak_db: Vec<f64>,
    /// Per event: RMS, dBFS.
    pub rms_db: Vec<f64>,
}

impl Table {
    /// Number of events.
    pub fn n_events(&self) -> usize {
        self.loudness_db.len()
    }

    /// The column by which levels are matched; `None` when they are not.
    pub fn match_column(&self, by: MatchBy) -> Option<&[f64]> {
        match by {
            MatchBy::Loudness => Some(&self.loudness_db),
            MatchBy::Midrange => Some(&self.midrange_db),
            MatchBy::Peak => Some(&self.sample_peak_db),
            MatchBy::None => None,
        }
    }
}
