//! What goes wrong, as the page tells it: what happened, and what to do.

use crate::html;
use axum::Json;
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Response};
use fairtake_audition::AuditionError;
use fairtake_compare::{CompareError, ReadError};
use fairtake_files::{AudioError, AudioProblem, ChangeError, FolderError, LogError, WriteError};
use serde::Serialize;

/// Something that was asked for could not be done; nothing was changed.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Trouble {
    #[serde(skip)]
    pub status: StatusCode,
    /// What happened.
    pub what: String,
    /// What to do.
    pub hint: String,
}

impl Trouble {
    pub(crate) fn new(status: StatusCode, what: impl ToString, hint: impl ToString) -> Trouble {
        Trouble { status, what: what.to_string(), hint: hint.to_string() }
    }

    pub(crate) fn bad(what: impl ToString, hint: impl ToString) -> Trouble {
        Trouble::new(StatusCode::UNPROCESSABLE_ENTITY, what, hint)
    }

    pub(crate) fn missing(what: impl ToString) -> Trouble {
        Trouble::new(StatusCode::NOT_FOUND, what, "go back to the page; it shows what there is now")
    }

    /// The folder or the disk does not let us.
    pub(crate) fn disk(what: impl ToString) -> Trouble {
        Trouble::new(StatusCode::INSUFFICIENT_STORAGE, what, "check space and permissions of the folder")
    }

    /// The log was read and understood, and could not be put in place.
    pub(crate) fn not_written(e: &LogError) -> Trouble {
        Trouble::disk(format!("{e}; the log is as it was"))
    }

    /// As a page of its own, made after a piece of news.
    pub(crate) fn page(self, news: u64) -> Response {
        (self.status, Html(html::trouble(&self, news).into_string())).into_response()
    }
}

impl IntoResponse for Trouble {
    fn into_response(self) -> Response {
        (self.status, Json(self)).into_response()
    }
}

impl From<FolderError> for Trouble {
    fn from(e: FolderError) -> Trouble {
        let status = if matches!(e, FolderError::Folder { .. }) {
            StatusCode::INSUFFICIENT_STORAGE
        } else {
            StatusCode::UNPROCESSABLE_ENTITY
        };
        Trouble::new(status, &e, e.hint())
    }
}

impl From<AudioError> for Trouble {
    fn from(e: AudioError) -> Trouble {
        let status = match e.problem {
            AudioProblem::NotFound => StatusCode::NOT_FOUND,
            AudioProblem::Exists => StatusCode::CONFLICT,
            AudioProblem::System(_) | AudioProblem::NoRoom(_) => StatusCode::INSUFFICIENT_STORAGE,
            _ => StatusCode::UNPROCESSABLE_ENTITY,
        };
        let hint = match e.problem {
            // Nothing is ever replaced from the page.
            AudioProblem::Exists => "rename the file that is dropped; what is in the folder stays",
            _ => e.hint(),
        };
        Trouble::new(status, &e, hint)
    }
}

impl From<LogError> for Trouble {
    fn from(e: LogError) -> Trouble {
        Trouble::bad(&e, &e.hint)
    }
}

impl From<ChangeError> for Trouble {
    fn from(e: ChangeError) -> Trouble {
        let status = match e {
            ChangeError::Conflict { .. } => StatusCode::CONFLICT,
            ChangeError::Log(_) => StatusCode::UNPROCESSABLE_ENTITY,
        };
        Trouble::new(status, &e, e.hint())
    }
}

impl From<ReadError> for Trouble {
    fn from(e: ReadError) -> Trouble {
        Trouble::bad(&e, &e.hint)
    }
}

impl From<WriteError> for Trouble {
    fn from(e: WriteError) -> Trouble {
        Trouble::new(StatusCode::INSUFFICIENT_STORAGE, &e, e.hint())
    }
}

impl From<AuditionError> for Trouble {
    fn from(e: AuditionError) -> Trouble {
        Trouble::bad(&e, e.hint().unwrap_or_default())
    }
}

impl From<CompareError> for Trouble {
    fn from(e: CompareError) -> Trouble {
        let hint = match &e {
            CompareError::Read(read) => read.hint.clone(),
            CompareError::NothingToCompare { .. } => "record or assign takes of two microphones".into(),
            CompareError::NoSuchMicrophone { .. } => "choose another microphone".into(),
        };
        Trouble::bad(&e, hint)
    }
}
