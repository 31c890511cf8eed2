//! Calibrated measurements: what a microphone does by itself, apart from player and place.
//!
//! A loudspeaker plays a known excitation; recordings of it, of a sound calibrator and of silence are measured here. Terms
//! are those of IEC 60268-4. Every result is a [`Quantity`]: a value with its uncertainty and what that is made of.
//! Nothing here opens a file or a sound device. Modules in reading order.

mod quantity;

pub mod excitation;
pub mod text_curve;

pub mod level;

pub use excitation::{Excitation, ExcitationError};
pub use quantity::{Contribution, Quantity};
pub use text_curve::{TextCurve, TextCurveError, TextMask};
