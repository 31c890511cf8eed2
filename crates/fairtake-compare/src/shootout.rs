//! A shootout as logged: microphones, sources, chains. `fairtake-files` parses `shootout.toml` into these.

use crate::Plan;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Everything that the log says, apart from the takes' audio.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Shootout {
    /// Title of the session.
    pub title: String,
    /// Temperature in °C where logged; 20 °C is assumed otherwise.
    pub temperature_c: Option<f64>,
    /// Differences smaller than this do not matter to the user, in dB; `None`: not stated.
    pub margin_db: Option<f64>,
    /// Microphones by key.
    pub mics: BTreeMap<String, Mic>,
    /// Sources by key.
    pub sources: BTreeMap<String, Source>,
    /// What is planned, by key of the source. Nothing is computed from it.
    pub plans: BTreeMap<String, Plan>,
    /// The user's own words beside findings. Nothing is computed from them.
    pub own_words: Vec<OwnWords>,
}

/// What the user wrote beside the findings of one pair.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct OwnWords {
    /// Key of the source.
    pub source: String,
    /// Key of the reference.
    pub reference: String,
    /// Key of the other microphone.
    pub against: String,
    /// The words.
    pub text: String,
}

impl Shootout {
    /// Speed of sound in m/s at the logged temperature, else at 20 °C.
    ///
    /// # Source
    /// ISO 9613-1:1993, Formula (A.5): 343.2 m/s at 20 °C, and with the root of the absolute temperature.
    pub fn speed_of_sound_m_s(&self) -> f64 {
        343.2 * ((self.temperature_c.unwrap_or(20.0) + 273.15) / 293.15).sqrt()
    }

    /// How a source is played: what the user states holds, then what the log says.
    pub(crate) fn playing(&self, source: &str, stated: Playing) -> Playing {
        match (stated, self.sources.get(source)) {
            (Playing::Auto, Some(logged)) => logged.playing,
            _ => stated,
        }
    }
}

/// One physical microphone.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Mic {
    /// Name shown to people.
    pub name: String,
    /// Year of make.
    pub year: Option<i32>,
    /// Serial number.
    pub serial: Option<String>,
    /// Principle of the transducer.
    pub kind: Option<MicKind>,
    /// Polar pattern used.
    pub pattern: Option<PolarPattern>,
    /// Depth of the acoustic centre behind the grille in mm, if known.
    pub centre_offset_mm: Option<f64>,
}

impl Mic {
    /// Depth of the acoustic centre behind the grille in mm; 15 where it is not logged (assumption of the method).
    pub fn centre_behind_grille_mm(&self) -> f64 {
        self.centre_offset_mm.unwrap_or(15.0)
    }
}

/// Principle of the transducer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum MicKind {
    /// Moving coil.
    Dynamic,
    /// Capacitor.
    Condenser,
    /// Ribbon.
    Ribbon,
    /// Anything else.
    Other,
}

/// First-order polar patterns, sensitivity ∝ `a + (1 − a)·cos θ`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum PolarPattern {
    /// Pressure only.
    Omni,
    /// a = 0.7.
    Subcardioid,
    /// a = 0.5.
    Cardioid,
    /// a = 0.366 (greatest front-to-back ratio).
    Supercardioid,
    /// a = 0.25 (greatest directivity index).
    Hypercardioid,
    /// Pressure gradient only.
    Bidirectional,
}

impl PolarPattern {
    /// Gradient share `B = 1 − a` of the pattern, 0..=1.
    ///
    /// # Source
    /// Handbook table of first-order patterns; see `reference/05_polar_patterns.csv`.
    pub fn gradient_share(self) -> f64 {
        match self {
            PolarPattern::Omni => 0.0,
            PolarPattern::Subcardioid => 0.3,
            PolarPattern::Cardioid => 0.5,
            PolarPattern::Supercardioid => 0.634,
            PolarPattern::Hypercardioid => 0.75,
            PolarPattern::Bidirectional => 1.0,
        }
    }
}

/// What is recorded.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Source {
    /// Name shown to people.
    pub name: String,
    /// How it is played.
    pub playing: Playing,
    /// Distance from the grille to the source in mm.
    pub distance_mm: Option<f64>,
    /// Radius of what radiates in mm; 0 = a point; `None` = unknown.
    pub radius_mm: Option<f64>,
    /// Angle off the axis in degrees.
    pub angle_deg: Option<f64>,
    /// One fixed recording is played back for every take of this source.
    pub replayed: bool,
}

/// How a source is played, which decides what an event is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Playing {
    /// Single hits: an event is one hit.
    Percussive,
    /// Continuous sound: an event is one block.
    Sustained,
    /// Let Fairtake choose, and say which.
    #[default]
    Auto,
}

/// What a take is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Role {
    /// By a microphone under comparison.
    #[default]
    Compared,
    /// By the microphone that nobody moves.
    Witness,
    /// Noise of the room and the chain alone.
    RoomTone,
    /// What leaks in from other sources.
    Bleed,
}

/// The chain behind a microphone, as logged.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ChainEntry {
    /// Gain as set on the preamp, in dB.
    pub gain_db: Option<f64>,
    /// Attenuator in dB (positive number = that much quieter).
    pub pad_db: Option<f64>,
    /// Corner of the high-pass filter in Hz, if one was on.
    pub filter_hz: Option<f64>,
    /// Preamp.
    pub preamp: Option<String>,
    /// Converter.
    pub converter: Option<String>,
    /// Cable.
    pub cable: Option<String>,
}
