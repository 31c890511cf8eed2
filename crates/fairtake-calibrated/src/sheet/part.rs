//! A part of a data sheet: what was found, and what was not, with the reason.

use serde::{Deserialize, Serialize};

/// A result, or why there is none. Takes that had to be left out are named either way.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Part<T> {
    /// What was found.
    pub found: Option<T>,
    /// What was not, or not used, and what to do about it.
    pub missing: Vec<Missing>,
}

/// Something that is missing.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Missing {
    /// The take concerned, by its id; `None`: the whole.
    pub take: Option<String>,
    /// What was found, lower case, no full stop.
    pub what: String,
    /// What to do.
    pub hint: String,
}

impl Missing {
    /// About the whole.
    pub(super) fn whole(what: impl ToString, hint: impl ToString) -> Missing {
        Missing { take: None, what: what.to_string(), hint: hint.to_string() }
    }

    /// About one take.
    pub(super) fn of(take: &str, what: impl ToString, hint: impl ToString) -> Missing {
        Missing { take: Some(take.into()), ..Missing::whole(what, hint) }
    }
}

impl<T> Part<T> {
    /// A result, with what was left out.
    pub(super) fn found(found: T, missing: Vec<Missing>) -> Part<T> {
        Part { found: Some(found), missing }
    }

    /// None, for these reasons.
    pub(super) fn none(missing: Vec<Missing>) -> Part<T> {
        Part { found: None, missing }
    }

    /// None, for this reason.
    pub(super) fn without(what: impl ToString, hint: impl ToString) -> Part<T> {
        Part::none(vec![Missing::whole(what, hint)])
    }
}
