//! One take, measured: what the measuring stage hands on. No samples beyond this point.

use crate::Playing;
use fairtake_signal::defects::{Defects, Hum};
use serde::{Deserialize, Serialize};

/// Everything measured of one take. Energies are linear, so that bands can be joined later by adding.
#[derive(Debug, Clone, PartialEq)]
pub struct TakeMeasure {
    /// Id of the take.
    pub take: String,
    /// `Percussive` (events are hits) or `Sustained` (events are blocks), never `Auto`.
    pub playing: Playing,
    /// Sampling rate in Hz.
    pub rate_hz: u32,
    /// Levels of the whole file.
    pub file: FileLevels,
    /// Events in order of time.
    pub events: Vec<EventMeasure>,
    /// Event-major, `events.len() × n_bands`, not noise-subtracted: energy in full-scale² · s for hits,
    /// mean power in full-scale² for blocks. Bands are those of `BandSet::new(bands_per_octave)` below Nyquist.
    pub band_energy: Vec<f64>,
    /// Number of columns of `band_energy`.
    pub n_bands: usize,
    /// Noise between events or from a room-tone take; `None` when there is nothing to measure it on.
    pub noise: Option<NoiseMeasureOfTake>,
    /// Defects found.
    pub defects: TakeDefects,
}

/// Defects of one take.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TakeDefects {
    /// Dropouts, repeated buffers and clicks.
    pub in_samples: Defects,
    /// Hum in the noise between events; `None` where there is too little of it to tell.
    pub hum: Option<Hum>,
}

/// Levels of the whole file.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FileLevels {
    /// Highest absolute sample re full scale, 0..
    pub sample_peak: f64,
    /// Highest absolute value between samples re full scale.
    pub true_peak: f64,
    /// Mean square re full scale².
    pub mean_square: f64,
    /// Mean value.
    pub dc: f64,
    /// Gated programme loudness, LUFS.
    pub loudness_lufs: Option<f64>,
}

/// One event of one take.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EventMeasure {
    /// Start of the measured stretch in seconds from the start of the take.
    pub start_s: f64,
    /// Onset in seconds.
    pub onset_s: f64,
    /// End of the measured stretch in seconds.
    pub end_s: f64,
    /// Why the event was left out; `None` = used.
    pub left_out: Option<LeftOut>,
    /// Highest absolute sample, dBFS.
    pub sample_peak_db: f64,
    /// True peak, dBTP.
    pub true_peak_db: f64,
    /// RMS over the event, dBFS (mean over its stretch).
    pub rms_db: f64,
    /// Event loudness: −0.691 + 10·lg(K-weighted energy / 0.4 s) for hits; block loudness for blocks.
    pub loudness_db: f64,
    /// Energy between 300 Hz and 3 kHz, dB.
    pub midrange_db: f64,
    /// 10–90 % rise of the energy envelope in seconds.
    pub attack_s: Option<f64>,
    /// Time from the peak of the envelope until 20 dB below it, in seconds.
    pub decay_s: Option<f64>,
}

/// Why an event is not used.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LeftOut {
    /// Its stretch reaches beyond the start or end of the take.
    CutOff,
    /// Clipped.
    Clipped,
    /// Too quiet to be an event of this source.
    TooQuiet,
    /// Not found in every take of the performance.
    NotInAllTakes,
}

/// Noise of one take, as power per band.
#[derive(Debug, Clone, PartialEq)]
pub struct NoiseMeasureOfTake {
    /// Power per band in full-scale², hum lines kept out.
    pub band_power: Vec<f64>,
    /// Chi-square degrees of freedom of each of these estimates.
    pub band_dof: Vec<f64>,
    /// Whole-band mean square, full-scale².
    pub mean_square: f64,
    /// A-weighted mean square.
    pub mean_square_a: f64,
    /// BS.468-weighted mean square (RMS reading of the weighted noise, not quasi-peak).
    pub mean_square_bs468: f64,
    /// Mean squares of pieces of at most half a second: plain, A-weighted, BS.468-weighted.
    pub pieces: Vec<[f64; 3]>,
    /// Seconds of noise that were found.
    pub duration_s: f64,
    /// Where it was found.
    pub from: NoiseFrom,
}

/// Where noise was measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum NoiseFrom {
    /// Between the events of the take.
    Gaps,
    /// On a room-tone take by the same microphone.
    RoomTone,
}
