//! What stands in the way of a proximity measurement, and what makes one doubtful.

use serde::{Deserialize, Serialize};

/// No answer is possible.
#[derive(Debug, Clone, PartialEq)]
pub enum ProximityError {
    /// Too few different distances.
    TooFewDistances {
        /// Found.
        n_found: usize,
        /// Needed.
        n_needed: usize,
    },
    /// Greatest over least distance is too little.
    RangeTooNarrow {
        /// Least distance in mm.
        from_mm: f64,
        /// Greatest distance in mm.
        to_mm: f64,
        /// Ratio needed.
        needed: f64,
    },
    /// A distance was logged twice, and the levels contradict each other.
    DoubledDistance {
        /// The distance in mm.
        distance_mm: f64,
        /// Band in Hz in which they differ most.
        band_hz: f64,
        /// One level in dB.
        first_db: f64,
        /// The other.
        second_db: f64,
    },
    /// It is louder far away.
    LouderFarAway {
        /// Nearest distance in mm.
        near_mm: f64,
        /// Farthest distance in mm.
        far_mm: f64,
        /// By how much in dB, as the median over bands.
        by_db: f64,
    },
    /// No band that the model can use is in all takes.
    NoUsableBand {
        /// Highest frequency that is used in Hz.
        up_to_hz: f64,
    },
    /// Something that is no number.
    NotFinite {
        /// Where: the distance as logged.
        distance_mm: f64,
    },
    /// A figure that cannot be.
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
    /// No model of this kind fits.
    NoFit,
}

impl std::fmt::Display for ProximityError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            ProximityError::TooFewDistances { n_found, n_needed } => {
                write!(f, "there are takes at {n_found} different distances, {n_needed} are needed")
            }
            ProximityError::RangeTooNarrow { from_mm, to_mm, needed } => {
                write!(
                    f,
                    "distances reach from {from_mm} to {to_mm} mm, the greatest must be {needed} times the least"
                )
            }
            ProximityError::DoubledDistance { distance_mm, band_hz, first_db, second_db } => write!(
                f,
                "two takes are logged at {distance_mm} mm, but at {band_hz:.0} Hz one has {first_db:.1} dB and the other \
                 {second_db:.1} dB"
            ),
            ProximityError::LouderFarAway { near_mm, far_mm, by_db } => {
                write!(f, "the take at {far_mm} mm is {by_db:.1} dB louder than the one at {near_mm} mm")
            }
            ProximityError::NoUsableBand { up_to_hz } => {
                write!(f, "fewer than three bands up to {up_to_hz:.0} Hz are in all takes")
            }
            ProximityError::NotFinite { distance_mm } => {
                write!(f, "the take at {distance_mm} mm holds something that is no number")
            }
            ProximityError::OutOfRange { what, value, from, to } => {
                write!(f, "{what} is {value}, which is not between {from} and {to}")
            }
            ProximityError::NoFit => {
                write!(f, "no first-order receiver near a point or piston has levels like these")
            }
        }
    }
}

impl std::error::Error for ProximityError {}

impl ProximityError {
    /// What to do about it.
    pub fn hint(&self) -> &'static str {
        match self {
            ProximityError::TooFewDistances { .. } => {
                "record at six distances or more, each about 1.4 times the one before"
            }
            ProximityError::RangeTooNarrow { .. } => "record nearer and farther",
            ProximityError::DoubledDistance { .. } => {
                "one of the two is logged wrongly: look for a distance that is missing"
            }
            ProximityError::LouderFarAway { .. } => {
                "see whether distances or files are exchanged, and whether the gain was left alone"
            }
            ProximityError::NoUsableBand { .. } => {
                "measure all takes in the same bands, from as low as the gate allows"
            }
            ProximityError::NotFinite { .. } => "measure that take again",
            ProximityError::OutOfRange { .. } => "look at the unit of what was entered",
            ProximityError::NoFit => "see whether distances, gain and axis are as logged",
        }
    }
}

/// A figure beyond its limit: there is a result, and this stands beside it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "code", rename_all = "snake_case")]
pub enum ProximityCaution {
    /// Takes at one distance that agree; their mean was taken.
    DistanceTwice {
        /// The distance in mm.
        distance_mm: f64,
    },
    /// Few distances.
    FewDistances {
        /// Found.
        figure: f64,
        /// Wanted.
        limit: f64,
    },
    /// Greatest over least distance.
    NarrowRange {
        /// Found.
        figure: f64,
        /// Wanted.
        limit: f64,
    },
    /// The radius of the loudspeaker is not known.
    SourceTakenAsPoint {
        /// Least distance in mm.
        figure: f64,
        /// Times the radius that it should be at least.
        limit: f64,
    },
    /// Nearer than the loudspeaker is wide: no loudspeaker is an ideal piston there.
    NearerThanSource {
        /// Least distance in mm.
        figure: f64,
        /// The loudspeaker's diameter in mm.
        limit: f64,
    },
    /// The model leaves more than readings and distances explain.
    DoesNotFit {
        /// Root of the mean square that is left, in dB.
        figure: f64,
        /// What readings and distances explain at most, in dB.
        limit: f64,
        /// Distance at which most is left, in mm.
        at_mm: f64,
    },
}

impl ProximityCaution {
    /// What was found, what it does, and what to do.
    pub fn words(&self) -> String {
        match self {
            ProximityCaution::DistanceTwice { distance_mm } => {
                format!("Two takes are logged at {distance_mm} mm; they agree, and their mean is taken.")
            }
            ProximityCaution::FewDistances { figure, limit } => format!(
                "There are {figure:.0} distances; {limit:.0} tell acoustic centre and pattern apart better."
            ),
            ProximityCaution::NarrowRange { figure, limit } => format!(
                "The greatest distance is {figure:.1} times the least; {limit:.0} times tell acoustic centre and pattern apart \
                 better. Record nearer and farther."
            ),
            ProximityCaution::SourceTakenAsPoint { figure, limit } => format!(
                "The loudspeaker's radius is not entered and it is taken as a point, which is right from {limit:.0} times its \
                 radius on; the nearest take is at {figure:.0} mm. Enter the radius."
            ),
            ProximityCaution::NearerThanSource { figure, limit } => format!(
                "The nearest take is at {figure:.0} mm, the loudspeaker is {limit:.0} mm wide: cone and box are no ideal piston \
                 there. Use a smaller loudspeaker, or leave the nearest takes out."
            ),
            ProximityCaution::DoesNotFit { figure, limit, at_mm } => format!(
                "The fit leaves {figure:.2} dB ({limit:.2} dB are explained), most at {at_mm:.0} mm. Near the loudspeaker its \
                 size shows, far away the room; see whether that distance is logged rightly."
            ),
        }
    }
}
