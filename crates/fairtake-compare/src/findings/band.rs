//! Bands, and regions of neighbouring bands.

use super::Verdict;
use serde::{Deserialize, Serialize};

/// One fractional-octave band.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Band {
    /// Geometric centre in Hz.
    pub centre_hz: f64,
    /// Lower edge in Hz.
    pub from_hz: f64,
    /// Upper edge in Hz.
    pub to_hz: f64,
    /// Mean over events of the reference, dB re full-scale² · s (events) or full-scale² (blocks), before the match.
    pub reference_db: Option<f64>,
    /// The same of *against*.
    pub against_db: Option<f64>,
    /// 10 % and 90 % points over events, for pictures.
    pub reference_range_db: Option<[f64; 2]>,
    /// The same of *against*.
    pub against_range_db: Option<[f64; 2]>,
    /// After the match.
    pub difference_db: Option<f64>,
    /// Pointwise 95 %, lower.
    pub low_db: Option<f64>,
    /// Pointwise 95 %, upper.
    pub high_db: Option<f64>,
    /// Simultaneous 95 % over all supported bands, lower.
    pub simultaneous_low_db: Option<f64>,
    /// Upper.
    pub simultaneous_high_db: Option<f64>,
    /// Interval widened by the placement allowance; only where the claim is `these_takes`.
    pub conditional: Option<Conditional>,
    /// Lower of the two microphones' signal-to-noise ratios in dB; `None`: unknown.
    pub snr_db: Option<f64>,
    /// Verdict.
    pub verdict: Verdict,
}

/// Interval conditional on the placement allowance.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Conditional {
    /// Lower.
    pub low_db: f64,
    /// Upper.
    pub high_db: f64,
}

/// Neighbouring bands of one verdict and sign.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Region {
    /// Lower edge in Hz.
    pub from_hz: f64,
    /// Upper edge in Hz.
    pub to_hz: f64,
    /// Verdict of its bands.
    pub verdict: Verdict,
    /// Mean difference over the region.
    pub difference_db: Option<f64>,
    /// Lower bound, simultaneous over all runs of bands.
    pub low_db: Option<f64>,
    /// Upper bound.
    pub high_db: Option<f64>,
    /// What would settle an undecided region.
    pub settle: Option<Settle>,
}

/// What would settle an undecided region at the present spread.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Settle {
    /// Events per microphone in all; `None` when more events cannot help or over 500 would be needed.
    pub events: Option<u32>,
    /// Placements per microphone in all; `None` when that cannot help or over 20 would be needed.
    pub placements: Option<u32>,
    /// Why this answer.
    pub reason: SettleReason,
}

/// Whether more recording can settle a region.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SettleReason {
    /// More of the stated units would settle it.
    Reachable,
    /// The difference is so near the margin that no reasonable number settles it.
    NearMargin,
    /// The spread is so large that more than 500 events or 20 placements would be needed.
    OutOfReach,
    /// What is allowed for placing, or left by the noise, is larger than what is asked: more events cannot help.
    Allowance,
}
