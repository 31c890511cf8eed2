//! From responses of the whole chain to that of a microphone: repeats, substitution, and what is said about the result.

mod judge;
mod pair;
mod range;
mod repeats;
mod substitution;

pub use judge::{Deviation, Held, MaskResult, Verdict, deviation, held_against};
pub use pair::{PairMatch, SamePlace, pair_match};
pub use range::{Edge, EffectiveRange, effective_range};
pub use repeats::{average, average_less, one_setting_up};
pub use substitution::{MicrophoneResponse, Pattern, Reference, SubstitutionError, Ungated, substituted};

#[cfg(test)]
mod pair_tests;
#[cfg(test)]
mod tests;
