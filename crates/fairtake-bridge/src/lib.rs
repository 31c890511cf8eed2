//! The equaliser bridge: the smoothest correction that carries one microphone to another, as a filter and as a handful of
//! bands that any console has, and what remains, on takes that were not used to fit it too.
//!
//! Everything is fitted to the band tables that are judged, by the same judging code; no sample is used. The correction is
//! made for the *reference* of a comparison: with it, the reference becomes like *against*. Method: docs/methods/bridge.md.
//! Modules in reading order.

mod bridge;
mod equaliser;
mod fit;
mod held_out;
mod least_squares;
mod named;
mod problem;
mod remaining;
mod seen;
mod smooth;
#[cfg(test)]
mod testing;
mod words;

pub use bridge::{
    Bridge, BridgeError, BridgedBand, Carried, MOST_BRIDGED, Step, USUAL_LIMITS, Wanted, bridge, bridge_all,
    rate_of,
};
pub use equaliser::{Equaliser, EqualiserBand, Shape};
pub use held_out::HeldOut;
pub use named::{Corrected, corrected_key, corrected_pair, equalisers_heard, mic_name};
pub use remaining::Remaining;
pub use words::{in_words, sentences, set_hertz};
