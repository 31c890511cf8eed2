//! Bands of an equaliser as a console has them.

use fairtake_signal::filters::Biquad;
use fairtake_signal::units::power_db;
use serde::{Deserialize, Serialize};

/// What a band does.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Shape {
    /// All below a frequency; half of the gain at the frequency.
    LowShelf,
    /// Around a frequency.
    Peak,
    /// All above a frequency; half of the gain at the frequency.
    HighShelf,
}

/// One band.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct EqualiserBand {
    /// Peak or shelf.
    pub shape: Shape,
    /// Frequency in Hz.
    pub hz: f64,
    /// Gain in dB.
    pub gain_db: f64,
    /// Width of a peak: frequency over the distance of the points at half the gain in dB; 0.71 of a shelf.
    pub q: f64,
}

/// A gain for all, and bands.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Equaliser {
    /// Gain of all, in dB: what a fader does.
    pub gain_db: f64,
    /// Low to high.
    pub bands: Vec<EqualiserBand>,
}

impl EqualiserBand {
    /// The filter of this band at a sampling rate.
    pub fn filter(&self, rate_hz: f64) -> Biquad {
        match self.shape {
            Shape::LowShelf => Biquad::low_shelf(rate_hz, self.hz, self.gain_db),
            Shape::Peak => Biquad::peak(rate_hz, self.hz, self.gain_db, self.q),
            Shape::HighShelf => Biquad::high_shelf(rate_hz, self.hz, self.gain_db),
        }
    }

    /// Gain in dB at a frequency in Hz.
    pub fn db(&self, rate_hz: f64, hz: f64) -> f64 {
        power_db(self.filter(rate_hz).power(rate_hz, hz)).unwrap_or(0.0)
    }
}

impl Equaliser {
    /// Gain in dB of all bands at a frequency in Hz, without the gain of all.
    pub fn bands_db(&self, rate_hz: f64, hz: f64) -> f64 {
        self.bands.iter().map(|b| b.db(rate_hz, hz)).sum()
    }

    /// Gain in dB at a frequency in Hz.
    pub fn db(&self, rate_hz: f64, hz: f64) -> f64 {
        self.gain_db + self.bands_db(rate_hz, hz)
    }
}
