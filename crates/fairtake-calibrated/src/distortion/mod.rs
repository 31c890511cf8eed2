//! Distortion: harmonics of a sweep over frequency and level, and whose they are.

mod harmonics;
mod levels;
mod own;

pub use harmonics::{Distortion, DistortionPoint, Figure};
pub use levels::{LevelStep, Reached, level_for_thd, levels_for_thd, thd_over_level};
pub use own::{Own, OwnPoint, own_distortion};

#[cfg(test)]
mod tests;
