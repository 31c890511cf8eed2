//! Levels, noise, the shape of events, and the level match.

use super::Estimate;
use serde::{Deserialize, Serialize};

/// The four level measures, before the match.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Levels {
    /// Highest sample per event.
    pub sample_peak_dbfs: LevelMeasure,
    /// Highest value between samples per event.
    pub true_peak_dbtp: LevelMeasure,
    /// RMS over the event.
    pub rms_dbfs: LevelMeasure,
    /// Event loudness.
    pub loudness_lufs: LevelMeasure,
    /// Loudness difference at equal gain, where both gains are logged; its interval holds the error of the gains.
    pub loudness_at_equal_gain_db: Option<Estimate>,
}

/// One level measure of both microphones and its difference.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LevelMeasure {
    /// Greatest event and mean over events.
    pub reference: LevelSummary,
    /// Greatest event and mean over events.
    pub against: LevelSummary,
    /// Against minus reference, of the event means.
    pub difference_db: Estimate,
}

/// Greatest and mean of one level over events.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct LevelSummary {
    /// Greatest over events.
    pub max: Option<f64>,
    /// Mean over events.
    pub event_mean: Option<f64>,
}

/// Noise, compared after the level match.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct NoiseFindings {
    /// Unweighted.
    pub plain_dbfs: NoiseMeasure,
    /// A-weighted.
    pub a_weighted_dbfs: NoiseMeasure,
    /// BS.468-weighted.
    pub bs468_dbfs: NoiseMeasure,
}

/// One noise figure of both microphones and its difference after the match.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct NoiseMeasure {
    /// As recorded, dBFS; `None` without a gap or room-tone take.
    pub reference: Option<f64>,
    /// As recorded, dBFS.
    pub against: Option<f64>,
    /// Against minus reference after the match.
    pub difference_db: Estimate,
}

/// Time shape of events: means over events and their difference.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct EventShape {
    /// 10–90 % of the energy envelope; `None` for sustained sound.
    pub attack_s: Option<ShapeMeasure>,
    /// Time to fall by 20 dB.
    pub decay_s: Option<ShapeMeasure>,
    /// Peak over RMS within an event.
    pub crest_db: Option<ShapeMeasure>,
}

/// One shape measure of both microphones.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ShapeMeasure {
    /// Mean over events.
    pub reference: Option<f64>,
    /// Mean over events.
    pub against: Option<f64>,
    /// Against minus reference.
    pub difference: Estimate,
}

/// The level match: the gain applied to *against*.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LevelMatch {
    /// By what.
    pub by: crate::MatchBy,
    /// Always `against`.
    pub applied_to: String,
    /// Gain in dB; positive when *against* is quieter. 0 when not matched.
    pub gain_db: Option<f64>,
    /// Lower 95 % bound.
    pub low: Option<f64>,
    /// Upper 95 % bound.
    pub high: Option<f64>,
}

/// Signal-to-bleed of both microphones, from takes marked as bleed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BleedFindings {
    /// By event loudness.
    pub loudness_db: BleedMeasure,
    /// Band by band, those of the comparison.
    pub bands: Vec<BleedBand>,
}

/// Signal over bleed of both microphones, and the difference.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BleedMeasure {
    /// Signal less bleed, dB; `None` where one is of hits and the other of sustained sound.
    pub reference: Option<f64>,
    /// The same of *against*.
    pub against: Option<f64>,
    /// Against minus reference: positive where *against* hears less bleed.
    pub difference_db: Estimate,
}

/// Signal over bleed in one band.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BleedBand {
    /// Lower edge in Hz.
    pub from_hz: f64,
    /// Upper edge in Hz.
    pub to_hz: f64,
    /// Signal less bleed, dB.
    pub reference_db: Option<f64>,
    /// The same of *against*.
    pub against_db: Option<f64>,
    /// Against minus reference; verdict by the intervals that hold for all bands at once.
    pub difference_db: Estimate,
}
