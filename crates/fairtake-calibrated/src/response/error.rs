//! Why there is no response.

use std::fmt;

/// No response can be had.
#[derive(Debug, Clone, PartialEq)]
pub enum ResponseError {
    /// Only sweeps are deconvolved.
    NotASweep {
        /// What was played, in words.
        kind: &'static str,
    },
    /// A gate that is no gate.
    Gate {
        /// Its length in seconds.
        gate_s: f64,
        /// Shortest in seconds.
        least_s: f64,
        /// Longest in seconds, what was kept behind the direct sound.
        most_s: f64,
    },
    /// Bands per octave that are not offered.
    PerOctave {
        /// Asked for.
        asked: u32,
    },
    /// Responses that cannot be joined.
    Unlike {
        /// In what they differ.
        what: &'static str,
    },
    /// Nothing to join.
    None,
}

impl ResponseError {
    /// What to do about it.
    pub fn hint(&self) -> String {
        match self {
            ResponseError::NotASweep { .. } => "record a sweep; noise and tones serve for levels".into(),
            ResponseError::Gate { least_s, most_s, .. } => {
                format!("choose between {:.1} ms and {:.0} ms, or no gate", 1e3 * least_s, 1e3 * most_s)
            }
            ResponseError::PerOctave { .. } => "choose 3, 6, 12 or 24".into(),
            ResponseError::Unlike { .. } => "measure all with one excitation and the same settings".into(),
            ResponseError::None => "give one recording or more".into(),
        }
    }
}

impl fmt::Display for ResponseError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            ResponseError::NotASweep { kind } => write!(f, "no response from {kind}"),
            ResponseError::Gate { gate_s, .. } => write!(f, "a gate of {:.2} ms", 1e3 * gate_s),
            ResponseError::PerOctave { asked } => write!(f, "{asked} bands per octave"),
            ResponseError::Unlike { what } => write!(f, "responses of different {what} cannot be joined"),
            ResponseError::None => f.write_str("there is no response"),
        }
    }
}

impl std::error::Error for ResponseError {}
