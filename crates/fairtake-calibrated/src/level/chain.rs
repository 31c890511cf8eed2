//! What stands between the microphone and the file: preamplifier and converter.

use super::Stated;
use serde::{Deserialize, Serialize};

/// The recording chain of one take.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Chain {
    /// Gain of the preamplifier in dB; `None`: not known (an unmarked knob).
    pub gain_db: Option<Stated>,
    /// Voltage at the converter's input, as RMS of a sine that just reaches full scale, in dB re 1 V; `None`: not known.
    pub full_scale_dbv: Option<Stated>,
}

impl Chain {
    /// Nothing is known of it: levels stay relative to full scale.
    pub const UNKNOWN: Chain = Chain { gain_db: None, full_scale_dbv: None };

    /// Voltage at the chain's input of a sine that just reaches full scale, in dB re 1 V, with what it adds to a budget.
    pub(crate) fn input_at_full_scale_dbv(&self) -> Option<(f64, [crate::Contribution; 2])> {
        let (gain, scale) = (self.gain_db?, self.full_scale_dbv?);
        let doubts =
            [gain.contribution("gain of the chain"), scale.contribution("full scale of the converter")];
        Some((scale.value - gain.value, doubts))
    }
}
