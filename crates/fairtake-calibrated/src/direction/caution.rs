//! What stands in the way of a polar diagram, and what makes one doubtful.

use serde::{Deserialize, Serialize};

/// No answer is possible.
#[derive(Debug, Clone, PartialEq)]
pub enum DirectionError {
    /// Too few different angles.
    TooFewAngles {
        /// Found.
        n_found: usize,
        /// Needed.
        n_needed: usize,
    },
    /// Nothing was recorded from the front, to which all refers.
    NoFront {
        /// Nearest angle there is.
        nearest_deg: f64,
    },
    /// One angle was logged twice, and the levels contradict each other.
    DoubledAngle {
        /// The angle.
        angle_deg: f64,
        /// Middle of the band in which they differ most, in Hz.
        band_hz: f64,
        /// One level in dB.
        first_db: f64,
        /// The other.
        second_db: f64,
    },
    /// No band is in all takes.
    NoCommonBand,
    /// An angle or a level that is not a number.
    NotFinite {
        /// Where: the angle, as logged.
        angle_deg: f64,
    },
    /// A figure of the turning that cannot be.
    OutOfRange {
        /// Which, with its unit.
        what: &'static str,
        /// As entered.
        value: f64,
        /// Least that is possible.
        from: f64,
        /// Most that is possible.
        to: f64,
    },
}

impl std::fmt::Display for DirectionError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            DirectionError::TooFewAngles { n_found, n_needed } => {
                write!(f, "there are takes at {n_found} different angles, {n_needed} are needed")
            }
            DirectionError::NoFront { nearest_deg } => {
                write!(f, "there is no take from the front (0°), the nearest is at {nearest_deg}°")
            }
            DirectionError::DoubledAngle { angle_deg, band_hz, first_db, second_db } => write!(
                f,
                "two takes are logged at {angle_deg}°, but at {band_hz:.0} Hz one has {first_db:.1} dB and the other \
                 {second_db:.1} dB"
            ),
            DirectionError::NoCommonBand => write!(f, "no band is in all takes"),
            DirectionError::NotFinite { angle_deg } => {
                write!(f, "the take at {angle_deg}° holds something that is no number")
            }
            DirectionError::OutOfRange { what, value, from, to } => {
                write!(f, "{what} is {value}, which is not between {from} and {to}")
            }
        }
    }
}

impl std::error::Error for DirectionError {}

impl DirectionError {
    /// What to do about it.
    pub fn hint(&self) -> &'static str {
        match self {
            DirectionError::TooFewAngles { .. } => {
                "record at more angles, at least every 45° from 0° to 180°"
            }
            DirectionError::NoFront { .. } => "record one at 0°; every level is shown relative to it",
            DirectionError::DoubledAngle { .. } => {
                "one of the two angles is logged wrongly: look for one that is missing"
            }
            DirectionError::NoCommonBand => "measure all takes in the same bands",
            DirectionError::NotFinite { .. } => "measure that take again",
            DirectionError::OutOfRange { .. } => "look at the unit of what was entered",
        }
    }
}

/// A figure beyond its limit: there is a result, and this stands beside it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "code", rename_all = "snake_case")]
pub enum DirectionCaution {
    /// Takes at one angle that agree; their mean was taken.
    AngleTwice {
        /// The angle.
        angle_deg: f64,
    },
    /// Angles are missing from a row of equal steps.
    AnglesMissing {
        /// Which.
        angles_deg: Vec<f64>,
        /// The step in degrees.
        step_deg: f64,
    },
    /// The widest step between angles, in degrees.
    StepsTooWide {
        /// Found.
        figure: f64,
        /// Up to which anything is put between angles.
        limit: f64,
    },
    /// Nothing was recorded from behind: nothing that needs all directions is derived.
    NoBack {
        /// Greatest angle in degrees.
        figure: f64,
        /// Needed.
        limit: f64,
    },
    /// Steps are too wide for the lobes of these bands: nothing is put between angles there.
    LobesUnresolved {
        /// Middles of the bands in Hz.
        bands_hz: Vec<f64>,
        /// Worst of them: by how much a left-out angle was missed, as a share of the front's amplitude.
        figure: f64,
        /// Most that is allowed.
        limit: f64,
    },
    /// Levels below the limit may be what walls reflect: each is told as one that the microphone's own does not exceed.
    MayBeReflected {
        /// The loudest reflection, in dB re the front.
        figure: f64,
        /// Levels above this are surely the direct sound's, in dB re the front.
        limit: f64,
    },
    /// One side only: whether both are alike is not known, and taken for granted.
    OneSide {
        /// Sides.
        figure: f64,
        /// Wanted.
        limit: f64,
    },
    /// The sides differ.
    Asymmetric {
        /// Middle of the band in Hz.
        band_hz: f64,
        /// At this angle in degrees.
        angle_deg: f64,
        /// In dB, less its uncertainty.
        figure: f64,
        /// Most that is usual, in dB.
        limit: f64,
    },
}

impl DirectionCaution {
    /// What was found, what it does, and what to do.
    pub fn words(&self) -> String {
        let list = |values: &[f64], unit: &str| {
            let shown: Vec<String> = values.iter().map(|v| format!("{v:.0}")).collect();
            format!("{}{unit}", shown.join(", "))
        };
        match self {
            DirectionCaution::AngleTwice { angle_deg } => {
                format!("Two takes are logged at {angle_deg}°; they agree, and their mean is taken.")
            }
            DirectionCaution::AnglesMissing { angles_deg, step_deg } => format!(
                "Steps are {step_deg}°, but there is no take at {}. Record it, or see whether an angle is logged wrongly.",
                list(angles_deg, "°")
            ),
            DirectionCaution::StepsTooWide { figure, limit } => format!(
                "The widest step is {figure:.0}°; beyond {limit:.0}° nothing is put between angles, and no directivity index \
                 is derived. Record in smaller steps."
            ),
            DirectionCaution::NoBack { figure, .. } => format!(
                "The greatest angle is {figure:.0}°: without 180° no directivity index is derived. Record as far as the back."
            ),
            DirectionCaution::LobesUnresolved { bands_hz, figure, limit } => format!(
                "At {} the pattern changes more from angle to angle than the steps resolve (a left-out angle is missed by \
                 {:.0} % of the front, {:.0} % are allowed): nothing is put between angles there. Record in smaller steps.",
                list(bands_hz, " Hz"),
                100.0 * figure,
                100.0 * limit
            ),
            DirectionCaution::MayBeReflected { figure, limit } => format!(
                "Levels below −{:.0} dB may be what walls reflect, and are told as “at most”: the strongest reflection lies {:.0} dB \
                 under the direct sound of the front. Turn it farther from walls, or put absorbers behind it.",
                -limit, -figure
            ),
            DirectionCaution::OneSide { .. } => {
                "One side was recorded; that the other is alike is taken for granted. Record some angles there.".into()
            }
            DirectionCaution::Asymmetric { band_hz, angle_deg, figure, limit } => format!(
                "At {band_hz:.0} Hz and {angle_deg:.0}° the sides differ by {figure:.1} dB or more ({limit:.0} dB are usual). \
                 See whether 0° is the front, and what reflects."
            ),
        }
    }
}
