//! Blind tests: does anyone hear it, and which do they like?
//!
//! A [`Plan`] says what is asked and of which excerpts. For each sitting a [`Key`] is drawn from it: what is presented in
//! which trial, and where. The key is sealed before the first answer. A [`Sitting`] takes answers once and in order;
//! [`score()`] turns sittings into a [`Score`] with intervals, and says what it allows one to say.
//!
//! No files, no clock; whatever is random comes from a generator that is passed in. Method: docs/methods/listening.md.
//! Modules in reading order.

mod draw;
mod key;
mod material;
mod plan;
pub mod score;
pub mod simulated;
mod sitting;
#[cfg(test)]
mod testing;

pub use key::{Key, Role, Slot, Trial, opens};
pub use material::{Excerpt, Group, Material, Paired};
pub use plan::{
    ALPHA, Asked, CONFIDENCE, Control, Kind, MOST_MICS, POWER, Plan, PlanTrouble, trials_that_find,
};
pub use score::{Score, Sittings, score};
pub use sitting::{Answer, Given, MOST_COMMENT, Refused, Sitting, State};
