//! Direction: how a microphone hears sound from aside and from behind. Method and limits: docs/methods/direction.md.
//!
//! Modules in reading order. [`direction`] takes levels at logged angles and gives polar diagrams and what is derived from
//! them, each with its budget.

mod angles;
mod budget;
mod caution;
mod curve;
mod first_order;
mod layout;
mod pattern;
mod polar;
mod symmetry;

mod measure;
mod results;

pub use caution::{DirectionCaution, DirectionError};
pub use measure::direction;
pub use results::{
    Apart, BandDirection, Direction, DirectionConditions, FirstOrder, FrontToRandom, LevelThere, Null,
    NullAngle, NullBy, PolarPoint, Sides, Symmetry,
};

use crate::band_level::BandLevel;
use serde::{Deserialize, Serialize};

/// A take at one angle.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct AngleTake {
    /// Logged angle between the microphone's front and the loudspeaker in degrees; one side positive, the other negative (or
    /// up to 360).
    pub angle_deg: f64,
    /// Levels in third octaves.
    pub thirds: Vec<BandLevel>,
}

/// How the microphone was turned.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Turning {
    /// How far each logged angle may be off by itself, in degrees either way.
    pub angle_deg: f64,
    /// How far the front may be off zero, in degrees either way: the same for all angles.
    pub zero_deg: f64,
    /// Distance from the loudspeaker to the axis of turning, in mm.
    pub distance_mm: f64,
    /// How far the microphone's acoustic centre may lie off that axis, in mm either way: it then comes nearer and goes away
    /// while it turns.
    pub centre_mm: f64,
    /// The loudest sound that any take holds behind the gate, in dB re the direct sound from the front; `None`: nothing is. Where the
    /// direct sound drowns, the gate is laid on a reflection instead, and that is no louder than this.
    pub reflected_db: Option<f64>,
    /// Temperature of the air in °C, which tells the speed of sound.
    pub temperature_c: f64,
}
