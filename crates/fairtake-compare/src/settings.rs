//! What the user can set about a comparison. Kept with the result.

use serde::{Deserialize, Serialize};

/// Settings of a comparison; every field is reported in the JSON under `settings`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Settings {
    /// Differences smaller than this do not matter, in dB. Common practice, no source: 1 dB.
    pub margin_db: f64,
    /// By what the levels are matched before curves are compared.
    #[serde(rename = "match")]
    pub match_by: MatchBy,
    /// Bands per octave: 1, 3, 6, 12 or 24.
    pub bands_per_octave: u32,
    /// Confidence of every interval, 0.95.
    pub confidence: f64,
    /// How many resamples the simultaneous band, features and regions use.
    pub resamples: u32,
    /// Seed of everything random.
    pub seed: u64,
    /// Placement allowance.
    pub allowance: Allowance,
    /// Design stated by the user instead of recognised.
    pub design_override: Option<Design>,
    /// Playing stated by the user; `Auto` chooses.
    #[serde(default)]
    pub playing: crate::Playing,
}

impl Settings {
    /// The settings used when nothing is asked for.
    pub fn standard() -> Settings {
        Settings {
            margin_db: 1.0,
            match_by: MatchBy::Loudness,
            bands_per_octave: 12,
            confidence: 0.95,
            resamples: 2000,
            seed: 1,
            allowance: Allowance::standard(),
            design_override: None,
            playing: crate::Playing::Auto,
        }
    }
}

/// By what the levels of two microphones are matched.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum MatchBy {
    /// Event loudness (K-weighted energy).
    Loudness,
    /// Energy between 300 Hz and 3 kHz.
    Midrange,
    /// Event peak.
    Peak,
    /// Not at all.
    None,
}

/// How the takes of a comparison were made (METHOD: what pairs).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Design {
    /// All microphones recorded the same performance at once.
    Together,
    /// One microphone after the other.
    InTurn,
    /// In turn, with one untouched microphone recording every take.
    InTurnWithWitness,
    /// One fixed recording played back for every microphone.
    Replayed,
}

/// What placing a microphone again may change by itself (type B; assumptions, editable).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Allowance {
    /// Distance error, half-width of a rectangular distribution in mm. Common practice, no source: 3 mm.
    pub distance_mm: f64,
    /// Standard deviation of the acoustic-centre offset in mm. Assumption: 10 mm.
    pub centre_offset_sd_mm: f64,
    /// Standard deviation of the smooth high-frequency allowance at 1 kHz, in dB. Assumption: 0.3 dB.
    pub at_1khz_db: f64,
    /// The same at 10 kHz, in dB. Assumption: 1 dB.
    pub at_10khz_db: f64,
    /// Its correlation length in octaves. Assumption: 0.5.
    pub correlation_octaves: f64,
    /// Gain setting error in dB when levels are compared at equal logged gain. Assumption: 0.5 dB.
    pub gain_db: f64,
}

impl Allowance {
    /// The assumptions of METHOD.
    pub fn standard() -> Allowance {
        Allowance {
            distance_mm: 3.0,
            centre_offset_sd_mm: 10.0,
            at_1khz_db: 0.3,
            at_10khz_db: 1.0,
            correlation_octaves: 0.5,
            gain_db: 0.5,
        }
    }
}
