//! What can be wrong with the description of an excitation.

use super::form::Kind;
use std::fmt;

/// An excitation cannot be made as it was described.
#[derive(Debug, Clone, PartialEq)]
pub enum ExcitationError {
    /// A value outside its range.
    OutOfRange {
        /// Of what.
        what: &'static str,
        /// The value.
        value: f64,
        /// Least allowed.
        low: f64,
        /// Greatest allowed.
        high: f64,
        /// Unit of all three.
        unit: &'static str,
    },
    /// Level steps have to rise: quiet comes first.
    LevelsDoNotRise {
        /// One level in dBFS.
        before_dbfs: f64,
        /// The next, which is not above it.
        then_dbfs: f64,
    },
    /// A tone has one frequency.
    ToneOfTwo {
        /// One, in Hz.
        from_hz: f64,
        /// Another, in Hz.
        to_hz: f64,
    },
    /// Less than an octave.
    Narrow {
        /// Lowest frequency in Hz.
        from_hz: f64,
        /// Highest frequency in Hz.
        to_hz: f64,
    },
    /// Only sweeps are equalised.
    EqualisedOther {
        /// What was to be equalised.
        kind: Kind,
    },
}

impl ExcitationError {
    /// What to do about it.
    pub fn hint(&self) -> String {
        match self {
            ExcitationError::OutOfRange { low, high, unit, .. } => {
                format!("choose between {} and {}", plain(*low, unit), plain(*high, unit))
            }
            ExcitationError::LevelsDoNotRise { .. } => {
                "write the levels from quiet to loud, each once".into()
            }
            ExcitationError::ToneOfTwo { .. } => "give a tone one frequency, or choose a sweep".into(),
            ExcitationError::Narrow { .. } => "choose a range of an octave or more, or a tone".into(),
            ExcitationError::EqualisedOther { .. } => {
                "leave the curve of the loudspeaker out, or choose a sweep".into()
            }
        }
    }
}

fn plain(value: f64, unit: &str) -> String {
    let rounded = (value * 1000.0).round() / 1000.0;
    format!("{rounded} {unit}").trim_end().to_string()
}

impl fmt::Display for ExcitationError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            ExcitationError::OutOfRange { what, value, unit, .. } => {
                write!(f, "{what} of {} is out of range", plain(*value, unit))
            }
            ExcitationError::LevelsDoNotRise { before_dbfs, then_dbfs } => {
                write!(f, "levels do not rise: {then_dbfs} dBFS after {before_dbfs} dBFS")
            }
            ExcitationError::ToneOfTwo { from_hz, to_hz } => {
                write!(f, "a tone from {from_hz} Hz to {to_hz} Hz")
            }
            ExcitationError::Narrow { from_hz, to_hz } => {
                write!(f, "{from_hz} Hz to {to_hz} Hz is less than an octave")
            }
            ExcitationError::EqualisedOther { kind } => {
                write!(f, "{} is not equalised against a loudspeaker", kind.words())
            }
        }
    }
}

impl std::error::Error for ExcitationError {}
