//! Time, polarity and transfer between takes that were recorded together.

use serde::{Deserialize, Serialize};

/// Polarity of *against* relative to the reference.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Polarity {
    /// Alike.
    Same,
    /// Upside down.
    Inverted,
    /// Cannot be told.
    Unclear,
}

/// Time and transfer between takes recorded together.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Alignment {
    /// Delay of *against* in seconds; positive: it arrives later.
    pub delay_s: Option<f64>,
    /// Lower 95 % bound, by the scatter of events.
    #[serde(default)]
    pub delay_low_s: Option<f64>,
    /// Upper 95 % bound.
    #[serde(default)]
    pub delay_high_s: Option<f64>,
    /// What a positive sign means.
    pub sign: String,
    /// Path difference that would make this delay, in mm; includes phase response.
    pub apparent_path_mm: Option<f64>,
    /// Polarity.
    pub polarity: Polarity,
    /// Residual energy re reference after three kinds of fit.
    pub null_depth: NullDepth,
}

/// Energy left over of *against* in dB re its own, fitted and tested on different events.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct NullDepth {
    /// After gain and delay.
    pub gain_delay_db: Option<f64>,
    /// After a minimum-phase filter too.
    pub minimum_phase_db: Option<f64>,
    /// After the best linear filter: what no equaliser can explain.
    pub any_linear_db: Option<f64>,
    /// Nothing below this can be measured here.
    pub noise_limit_db: Option<f64>,
}
