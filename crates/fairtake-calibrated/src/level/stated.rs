//! Figures that somebody states: a certificate, a manual, a scale read off.

use crate::Contribution;
use serde::{Deserialize, Serialize};

/// How far a stated figure may be off, in its own unit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Doubt {
    /// Somewhere within ± this, every place as likely: tolerances, scales.
    Within(f64),
    /// An expanded uncertainty with its coverage factor: certificates.
    Expanded {
        /// Half width as stated.
        half: f64,
        /// The factor that it was multiplied by, mostly 2.
        coverage_factor: f64,
    },
    /// A standard uncertainty.
    Standard(f64),
}

/// A figure with its doubt.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Stated {
    /// The figure.
    pub value: f64,
    /// How far it may be off.
    pub doubt: Doubt,
}

impl Stated {
    /// A figure known to within ±`half`.
    pub fn within(value: f64, half: f64) -> Stated {
        Stated { value, doubt: Doubt::Within(half) }
    }

    /// A figure that has no doubt of its own: nothing was corrected, say.
    pub fn exact(value: f64) -> Stated {
        Stated { value, doubt: Doubt::Standard(0.0) }
    }

    /// What it adds to a budget.
    pub fn contribution(&self, from: &str) -> Contribution {
        match self.doubt {
            Doubt::Within(half) => Contribution::within(from, half),
            Doubt::Expanded { half, coverage_factor } => Contribution::expanded(from, half, coverage_factor),
            Doubt::Standard(standard) => {
                Contribution { from: from.into(), standard, degrees_of_freedom: None }
            }
        }
    }

    /// True for numbers that can be used: a finite value, a doubt of zero or more.
    pub(crate) fn is_usable(&self) -> bool {
        let standard = self.contribution("").standard;
        self.value.is_finite() && standard.is_finite() && standard >= 0.0
    }
}
