//! The response of everything between the samples that were played and those that were recorded.

mod bands;
mod curve;
mod deconvolve;
mod error;
mod gate;
mod impulse;

pub(crate) use bands::{Noise, band_powers, noise};
pub(crate) use curve::level_at;
pub use curve::{Point, Response, ResponseSettings};
pub use deconvolve::impulse_responses;
pub use error::ResponseError;
pub use gate::Gate;
pub(crate) use gate::{GATE_DB, Independent, Window, checked_bands};
pub use impulse::ImpulseResponse;

#[cfg(test)]
mod tests;
