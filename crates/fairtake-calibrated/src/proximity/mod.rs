//! Proximity: what happens when a microphone comes near. Method and limits: docs/methods/proximity.md.
//!
//! Modules in reading order. [`proximity`] takes levels at logged distances from one small loudspeaker, and fits a first-order
//! receiver in the field of a point, or of a piston of known radius, with the acoustic centre and every distance's own error in
//! the fit.

mod caution;
mod fit;
mod measure;
mod model;
mod results;
mod takes;

pub use caution::{ProximityCaution, ProximityError};
pub use measure::proximity;
pub use model::speed_of_sound_m_s;
pub use results::{
    DistanceBand, DistanceLevels, FittedModel, Proximity, ProximityConditions, Reach, RiseDistance,
};

use crate::band_level::BandLevel;
use crate::level::Stated;
use serde::{Deserialize, Serialize};

/// A take at one distance, on the axes of microphone and loudspeaker.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DistanceTake {
    /// Logged distance between the marks that distances are measured from, in mm.
    pub distance_mm: f64,
    /// Levels in third octaves.
    pub thirds: Vec<BandLevel>,
}

/// A rise at a low frequency that somebody asks for.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct RiseAsked {
    /// Frequency in Hz.
    pub frequency_hz: f64,
    /// Rise over a plane wave in dB.
    pub rise_db: f64,
}

/// How distances were set, and what else is known.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Placing {
    /// How far each logged distance may be off by itself, in mm either way; 0: exact.
    pub distance_mm: f64,
    /// How far all of them may be off together (where the marks are), in mm either way.
    pub zero_mm: f64,
    /// Temperature of the air in °C.
    pub temperature_c: Stated,
    /// Radius of what radiates in mm; `None`: not known, and a point is taken.
    pub source_radius_mm: Option<f64>,
    /// At which distances these rises are reached.
    pub asked: Vec<RiseAsked>,
}
