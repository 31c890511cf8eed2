//! The bench: made measurements of one microphone whose answers are known. It knows nothing of how they are measured.

pub mod calibrator;
pub mod self_noise;
