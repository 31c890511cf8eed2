//! The only crate that opens files: audio, the shootout folder, the derived cache.

mod audio;
mod error;
mod hash;
pub mod wav;

pub use audio::{AudioFile, ChannelSamples};
pub use error::{AudioError, AudioProblem};
pub use hash::sha256;
