//! A measuring bench whose answers are known: a loudspeaker that is played to, a room, a recorder with its faults, a
//! calibrator, a microphone's own noise.
//!
//! Samples in, samples out, at one rate; it knows nothing of what measures them. Whatever is linear is done on the spectrum of the
//! whole signal with the analogue formula, so that the truth is that formula.

pub mod calibrator;
pub mod distance;
pub mod linear;
pub mod loudspeaker;
pub mod recorder;
pub mod room;
pub mod self_noise;
pub mod session;
pub mod turntable;
pub mod twins;
