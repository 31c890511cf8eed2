//! What can go wrong with the store.

use std::fmt;
use std::path::Path;

/// Why something could not be kept or found. Nothing was changed, but where something lingers.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum StoreError {
    /// The system or the file does not let us.
    System(String),
    /// It is deleted, but its old pages could not be overwritten yet.
    Lingers(String),
    /// It is there already: an answer to that trial, a name.
    Taken,
    /// There is no such test or sitting.
    Missing,
    /// The test takes no more sittings.
    Closed,
    /// That code is not one of the test's.
    UnknownCode,
    /// That code was used already.
    UsedCode,
}

impl StoreError {
    pub(crate) fn of(path: &Path, e: &rusqlite::Error) -> StoreError {
        StoreError::System(format!("{}: {e}", path.display()))
    }

    /// What to do about it.
    pub fn hint(&self) -> &str {
        match self {
            StoreError::System(_) => {
                "check space and permissions of the folder; what was acknowledged is kept"
            }
            StoreError::Lingers(_) => {
                "close other windows and programs on this folder and open it again, or delete something later: that takes it along"
            }
            StoreError::Taken => "go on with what comes next",
            StoreError::Missing => "check the address",
            StoreError::Closed => "ask whoever invited you",
            StoreError::UnknownCode => "type the code as it was given to you",
            StoreError::UsedCode => "go on at the address where you began, or ask for another code",
        }
    }
}

impl From<rusqlite::Error> for StoreError {
    fn from(e: rusqlite::Error) -> StoreError {
        match e {
            rusqlite::Error::QueryReturnedNoRows => StoreError::Missing,
            rusqlite::Error::SqliteFailure(code, _)
                if code.code == rusqlite::ErrorCode::ConstraintViolation =>
            {
                StoreError::Taken
            }
            e => StoreError::System(e.to_string()),
        }
    }
}

impl fmt::Display for StoreError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            StoreError::System(what) => what,
            StoreError::Lingers(why) => {
                return write!(f, "it is deleted, but what it held still lies in the file that keeps the tests, or beside it ({why})");
            }
            StoreError::Taken => "that is there already",
            StoreError::Missing => "there is no such test or sitting",
            StoreError::Closed => "this test takes no more listeners",
            StoreError::UnknownCode => "this code is not known here",
            StoreError::UsedCode => "this code was used already",
        })
    }
}

impl std::error::Error for StoreError {}
