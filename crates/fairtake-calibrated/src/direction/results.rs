//! What is found of direction. Levels are in dB re the front.

use super::{DirectionCaution, Turning};
use crate::Quantity;
use crate::level::Standing;
use serde::{Deserialize, Serialize};

/// Which sides were recorded.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Sides {
    /// One.
    One,
    /// Both.
    Both,
}

/// What it was measured under.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DirectionConditions {
    /// Different angles, −180 exclusive to 180 degrees, ascending.
    pub angles_deg: Vec<f64>,
    /// Sides.
    pub sides: Sides,
    /// Widest step in degrees.
    pub widest_step_deg: f64,
    /// How the microphone was turned.
    pub turning: Turning,
}

/// A measured point.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PolarPoint {
    /// In degrees.
    pub angle_deg: f64,
    /// In dB re the front.
    pub level_db: Quantity,
    /// Whether it is the microphone's own, or may be what walls reflect to it.
    pub standing: Standing,
}

/// A level re the front at an angle that is asked for.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LevelThere {
    /// In dB re the front.
    pub level_db: Quantity,
    /// Whether it is the microphone's own, or may be what walls reflect to it.
    pub standing: Standing,
}

/// How a null was found.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum NullBy {
    /// By the best-fitting first-order pattern.
    FirstOrder,
    /// As the angle with the lowest level.
    LowestLevel,
}

/// At which angle the microphone hears least, in degrees without a sign.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum NullAngle {
    /// There.
    At(Quantity),
    /// Somewhere between: what is read at angles between these may be what walls reflect, and no one of them is told from the others.
    Between {
        /// Nearest angle towards the front that was surely heard.
        from_deg: f64,
        /// Nearest angle towards the back that was, or the back.
        to_deg: f64,
    },
}

/// Where the microphone hears least.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Null {
    /// Where.
    pub angle: NullAngle,
    /// How it was found.
    pub by: NullBy,
    /// Lowest measured level in dB: the null is at least so deep, whatever walls reflect into it.
    pub lowest_db: Quantity,
    /// Whether that level is the microphone's own, or may be what walls reflect to it.
    pub standing: Standing,
}

/// The best-fitting pattern A + B·cos θ with A + B = 1.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FirstOrder {
    /// B: 0 an omnidirectional, 0.5 a cardioid, 1 a bidirectional one.
    pub gradient_share: Quantity,
    /// Root of the mean square of what the pattern leaves of the amplitude, in dB re the front: −40 is 1 %. `None`: nothing.
    pub residual_db: Option<f64>,
}

/// How a difference of sides stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Apart {
    /// Both sides were surely heard at every angle.
    Measured,
    /// Of a pair the lower side is at most what was read: they are so far apart or farther, there or elsewhere.
    AtLeast,
}

/// How alike both sides are, at angles recorded on both where neither lies 20 dB below the front and one at least is surely heard.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Symmetry {
    /// Greatest difference, positive side less negative side, in dB.
    pub greatest_db: Quantity,
    /// How it stands.
    pub apart: Apart,
    /// Its angle in degrees.
    pub at_deg: f64,
    /// Root of the mean square of the differences where both sides were surely heard, what the readings' spread makes of it taken off, in dB;
    /// `None`: there is no such angle.
    pub rms_db: Option<f64>,
    /// Angles at which both were.
    pub n_angles: usize,
}

/// One band.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BandDirection {
    /// Middle in Hz.
    pub centre_hz: f64,
    /// Polar diagram, as measured.
    pub polar: Vec<PolarPoint>,
    /// At 90°, mean of both sides' powers; `None` where nothing was recorded there and steps allow nothing between.
    pub at_90: Option<LevelThere>,
    /// At 180°; `None` likewise.
    pub at_180: Option<LevelThere>,
    /// Directivity index in dB, under the assumption that the pattern is the same all around; `None` where steps are too wide.
    /// IEC 60268-4 calls it the front-to-random sensitivity index of the band (from memory).
    pub directivity_index_db: Option<Quantity>,
    /// So many times as far from the source as an omnidirectional one for the same share of diffuse sound.
    pub distance_factor: Option<Quantity>,
    /// Front hemisphere against back hemisphere in diffuse sound, in dB.
    pub front_to_back_random_db: Option<Quantity>,
    /// Best-fitting first-order pattern.
    pub first_order: Option<FirstOrder>,
    /// Where it hears least; `None` where no null stands out.
    pub null: Option<Null>,
    /// Alikeness of the sides; `None` with one.
    pub symmetry: Option<Symmetry>,
}

/// Front-to-random index of many bands together, each with the same power from the front.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FrontToRandom {
    /// Lower end: middle of the lowest third octave in Hz.
    pub from_hz: f64,
    /// Upper end: middle of the highest third octave in Hz.
    pub to_hz: f64,
    /// In dB.
    pub index_db: Quantity,
}

/// Everything that was found.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Direction {
    /// Third octaves.
    pub thirds: Vec<BandDirection>,
    /// Octaves whose three thirds were measured.
    pub octaves: Vec<BandDirection>,
    /// Over all third octaves that have a directivity index; `None` without any.
    pub front_to_random: Option<FrontToRandom>,
    /// What it was measured under.
    pub conditions: DirectionConditions,
    /// What is doubtful.
    pub cautions: Vec<DirectionCaution>,
}
