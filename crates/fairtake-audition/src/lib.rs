//! Clips to be heard: the same moments of every microphone, sample-synchronous and level-matched, what is left of one
//! after the other is taken away, and one microphone with the found difference to another imposed on it.
//!
//! The only place beside the measuring stages where samples are used, always with [`Findings`] beside them: what is
//! matched, shifted or imposed was found there, and nothing is measured anew but how loud a clip is. No clip is louder
//! than the loudest original. Method: docs/methods/audition.md. Modules in reading order.
//!
//! [`Findings`]: fairtake_compare::Findings

mod clip;
mod corrected;
mod curve;
mod difference;
mod equal_excerpts;
mod error;
mod excerpts;
mod gains;
mod imposed;
mod lights;
mod loud;
mod moments;
mod pairing;
mod reel;
#[cfg(test)]
mod testing;

pub use clip::{Clip, clip};
pub use corrected::{By, LeftOver, corrected, correction_filter, left_over};
pub use difference::{Difference, Side, difference};
pub use equal_excerpts::{
    AboutExcerpts, Condition, Contestant, Excerpts, WantedExcerpts, equal_excerpts, event_loudness_lufs,
};
pub use error::AuditionError;
pub use excerpts::{EXCERPT_S, Excerpt, excerpts};
pub use gains::{PlaybackGain, gains_db};
pub use imposed::{Extent, Imposed, imposed};
pub use lights::lights;
pub use moments::{Moment, MomentKind, Paired, Part, Stretch, moments};
pub use reel::{Piece, Reel, Wanted, reel, reel_length_s};
