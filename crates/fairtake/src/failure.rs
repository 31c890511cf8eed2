//! An error as the user sees it: what happened, and on its own line what to do.

use std::fmt;

/// Why a command did not do its work.
#[derive(Debug)]
pub(crate) struct Failure {
    what: String,
    hint: Option<String>,
}

impl Failure {
    /// An error with a hint.
    pub(crate) fn new(what: impl fmt::Display, hint: impl fmt::Display) -> Failure {
        Failure { what: what.to_string(), hint: Some(hint.to_string()).filter(|h| !h.is_empty()) }
    }
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "error: {}", self.what)?;
        match &self.hint {
            Some(hint) => write!(f, "\nhint: {hint}"),
            None => Ok(()),
        }
    }
}
