//! What sittings show, with intervals, and what that allows one to say.

mod hits;
mod preference;
mod rating;
mod sentences;

pub use hits::{HitOutcome, Hits, Tally};
pub use preference::{Own, Pair, Preference, Worth};
pub use rating::{Rated, Rating};

use crate::plan::{Kind, Plan};
use crate::sitting::{Sitting, State};
use serde::Serialize;

/// How many sittings there are, and how they ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Counted {
    /// To their end: these count.
    pub done: u64,
    /// Left before the end: kept, and reported.
    pub left: u64,
    /// Still open.
    pub open: u64,
    /// Deleted by whoever keeps the test: only their number is known.
    pub deleted: u64,
}

/// Sittings of a test, and how many of it were deleted.
#[derive(Debug, Clone, Copy)]
pub struct Sittings<'a> {
    /// Those that are kept.
    pub kept: &'a [Sitting],
    /// How many there were beside them.
    pub n_deleted: u64,
}

impl<'a, T: AsRef<[Sitting]> + ?Sized> From<&'a T> for Sittings<'a> {
    /// All are kept.
    fn from(kept: &'a T) -> Sittings<'a> {
        Sittings { kept: kept.as_ref(), n_deleted: 0 }
    }
}

/// What the answers show.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "snake_case", tag = "by")]
pub enum Shown {
    /// Right answers.
    Hits(Hits),
    /// Preferences.
    Preference(Preference),
    /// Ratings.
    Rating(Rating),
}

/// The result of a test as it stands.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Score {
    /// Kind of test.
    pub kind: Kind,
    /// Keys of the microphones.
    pub mics: Vec<String>,
    /// The found difference was taken off before: what is left of it was heard or not.
    pub has_equal_spectra: bool,
    /// Sittings.
    pub sittings: Counted,
    /// What they show; `None` while none has come to its end.
    pub shown: Option<Shown>,
    /// What may be said.
    pub says: Vec<String>,
    /// What may not.
    pub does_not_say: Vec<String>,
}

/// Scores a test. Only sittings that came to their end count; what is given away of open ones is their number.
///
/// `names` gives the name for people of a microphone's key; `seed` is for the bootstrap of medians.
pub fn score<'a>(
    plan: &Plan,
    sittings: impl Into<Sittings<'a>>,
    names: &dyn Fn(&str) -> String,
    seed: u64,
) -> Score {
    let Sittings { kept: sittings, n_deleted } = sittings.into();
    let of = |state: State| sittings.iter().filter(|s| s.state() == state).count() as u64;
    let counted =
        Counted { done: of(State::Done), left: of(State::Left), open: of(State::Open), deleted: n_deleted };
    let done: Vec<&Sitting> = sittings.iter().filter(|s| s.state() == State::Done).collect();
    let left: Vec<&Sitting> = sittings.iter().filter(|s| s.state() == State::Left).collect();
    let shown = (!done.is_empty()).then(|| match plan.kind() {
        Kind::Which | Kind::OddOne => Shown::Hits(Hits::of(plan, &done, &left)),
        Kind::Prefer => Shown::Preference(Preference::of(plan, &done)),
        Kind::Likeness | Kind::Liking => Shown::Rating(Rating::of(plan, &done, seed)),
    });
    let (says, does_not_say) = sentences::sentences(plan, counted, shown.as_ref(), names);
    Score {
        kind: plan.kind(),
        mics: plan.mics().to_vec(),
        has_equal_spectra: plan.material().has_equal_spectra,
        sittings: counted,
        shown,
        says,
        does_not_say,
    }
}

#[cfg(test)]
mod tests;
