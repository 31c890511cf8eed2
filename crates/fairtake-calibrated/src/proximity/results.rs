//! What is found of proximity.

use super::{Placing, ProximityCaution, RiseAsked};
use crate::Quantity;
use serde::{Deserialize, Serialize};

/// A band at a distance.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DistanceBand {
    /// Middle in Hz.
    pub centre_hz: f64,
    /// Level in dB re the farthest distance.
    pub level_db: Quantity,
    /// The same less that of the bands around 1 kHz: how much more this band has risen, in dB. `None` without those bands.
    pub rise_db: Option<Quantity>,
}

/// All bands at a distance.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DistanceLevels {
    /// Logged, in mm.
    pub distance_mm: f64,
    /// From low to high.
    pub bands: Vec<DistanceBand>,
}

/// The first-order receiver that fits best.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FittedModel {
    /// Gradient share B at low frequencies: 0 a pressure receiver, 0.5 a cardioid, 1 a pure gradient receiver.
    pub gradient_share: Quantity,
    /// Sum of the offsets of both acoustic centres, microphone's and loudspeaker's, from the marks that distances are measured
    /// from, in mm; positive: sound travels farther than was logged. The two cannot be told apart with one loudspeaker.
    pub acoustic_centre_mm: Quantity,
    /// Root of the mean square of what the fit leaves, in dB.
    pub residual_db: f64,
    /// Lowest and highest band that were used, middles in Hz.
    pub used_hz: (f64, f64),
}

/// Whether a distance lies among those that were measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Reach {
    /// It does.
    Measured,
    /// It is nearer or farther: the model goes on where nobody looked.
    Extrapolated,
}

/// Where a rise is reached.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RiseDistance {
    /// What was asked.
    pub asked: RiseAsked,
    /// On the scale of logged distances, from a point source with this loudspeaker's acoustic centre, in mm; `None` where the
    /// microphone shows no rise that stands above its uncertainty.
    pub distance_mm: Option<Quantity>,
    /// Whether anything was measured there.
    pub reach: Option<Reach>,
}

/// What it was measured under.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ProximityConditions {
    /// Logged distances from near to far, in mm.
    pub distances_mm: Vec<f64>,
    /// Speed of sound in m/s, by the temperature.
    pub speed_of_sound_m_s: f64,
    /// As entered.
    pub placing: Placing,
}

/// Everything that was found.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Proximity {
    /// From near to far.
    pub distances: Vec<DistanceLevels>,
    /// The fit.
    pub model: FittedModel,
    /// Where the asked rises are reached.
    pub rises: Vec<RiseDistance>,
    /// What it was measured under.
    pub conditions: ProximityConditions,
    /// What is doubtful.
    pub cautions: Vec<ProximityCaution>,
}
