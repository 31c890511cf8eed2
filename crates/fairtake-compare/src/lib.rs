//! The domain of Fairtake: what was recorded, what is compared, and what may be said about it.
//!
//! Modules in reading order. This crate opens no file, socket, device or clock: audio reaches it
//! through [`Samples`], everything random takes a seed.

mod findings;
mod settings;
mod shootout;
mod take;

pub use findings::*;
pub use settings::*;
pub use shootout::*;
pub use take::*;
