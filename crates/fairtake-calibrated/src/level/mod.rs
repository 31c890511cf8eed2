//! Sensitivity and noise of a microphone. Method and limits: docs/methods/sensitivity-and-noise.md.
//!
//! Modules in reading order. A calibrator take gives a measurement microphone its sensitivity, [`by_substitution`] hands it
//! on to another microphone at 1 kHz, [`self_noise`] turns a recording of silence into equivalent noise levels.

mod calibrator;
mod caution;
mod chain;
mod noise;
mod quasi_peak;
mod segments;
mod sensitivity;
mod shares;
mod silence;
mod stated;
mod substitution;
mod tone;

pub use calibrator::{Calibrator, CalibratorClass, Pattern, PressureResponse, Purpose, StaticPressure};
pub use caution::{LevelCaution, LevelError};
pub use chain::Chain;
pub use noise::{BandNoise, Beside, HumLine, Noise, NoiseLevel, NoiseTake, Standing, self_noise};
pub use quasi_peak::{QuasiPeak, bs468_filter, bs468_weighted};
pub use sensitivity::{Conditions, Sensitivity, SoundField, by_calibrator};
pub use shares::Share;
pub use stated::{Doubt, Stated};
pub(crate) use substitution::drifted;
pub use substitution::{Field, by_substitution};
pub use tone::{Tone, tone};
