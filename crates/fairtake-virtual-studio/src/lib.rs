//! Ground truth: sources, microphones and placements whose answer is known.

pub mod bands;
pub mod bench;
pub mod cells;
pub mod coverage;
pub mod curve;
mod field;
mod model;
pub mod replaced;
pub mod requirements;
pub mod scene;
pub mod score;
mod spectrum_score;
pub mod table;
