//! Calibrated measurements: what a microphone does by itself, apart from player and place.
//!
//! A loudspeaker plays a known excitation; recordings of it, of a sound calibrator and of silence are measured here. Terms
//! are those of IEC 60268-4. Every result is a [`Quantity`]: a value with its uncertainty and what that is made of.
//! Nothing here opens a file or a sound device. Modules in reading order.

mod band_level;
mod quantity;

pub mod bench;
pub mod direction;
pub mod distortion;
pub mod excitation;
pub mod found;
pub mod level;
pub mod microphone;
pub mod proximity;
pub mod response;
pub mod sheet;
pub mod text_curve;

pub use band_level::BandLevel;
pub use bench::{Bench, BenchMic, BenchTake, MeasuredRole, StatedFigures};
pub use excitation::{Excitation, ExcitationError};
pub use found::{Defect, Found, NotFound, found};
pub use quantity::{Contribution, Quantity, REPEATED_OFTEN};
pub use response::{Gate, ImpulseResponse, Response, ResponseError, ResponseSettings, impulse_responses};
pub use sheet::{DataSheet, Measurements, Missing, Part, measure};
pub use text_curve::{TextCurve, TextCurveError, TextMask};
