//! Why nothing was written up.

use fairtake_files::WriteError;
use fairtake_report::figure::FigureError;
use fairtake_report::pdf::PdfError;
use std::fmt;

/// Why nothing was written up; nothing is left of it.
#[derive(Debug, Clone, PartialEq)]
pub enum WriteUpError {
    /// A file or the folder could not be written.
    Write(WriteError),
    /// A picture of this size cannot be made.
    Figure(FigureError),
    /// The PDF could not be set.
    Pdf(PdfError),
    /// The findings cannot be written as JSON, in words.
    Json(String),
}

impl WriteUpError {
    /// What to do about it.
    pub fn hint(&self) -> &str {
        match self {
            WriteUpError::Write(e) => e.hint(),
            WriteUpError::Figure(FigureError::Drawing(_)) | WriteUpError::Pdf(_) | WriteUpError::Json(_) => {
                "please report this with the findings"
            }
            WriteUpError::Figure(_) => "ask for another size",
        }
    }
}

impl fmt::Display for WriteUpError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            WriteUpError::Write(e) => e.fmt(f),
            WriteUpError::Figure(e) => e.fmt(f),
            WriteUpError::Pdf(e) => e.fmt(f),
            WriteUpError::Json(e) => write!(f, "the findings cannot be written as JSON: {e}"),
        }
    }
}

impl std::error::Error for WriteUpError {}

impl From<WriteError> for WriteUpError {
    fn from(e: WriteError) -> WriteUpError {
        WriteUpError::Write(e)
    }
}

impl From<FigureError> for WriteUpError {
    fn from(e: FigureError) -> WriteUpError {
        WriteUpError::Figure(e)
    }
}

impl From<PdfError> for WriteUpError {
    fn from(e: PdfError) -> WriteUpError {
        WriteUpError::Pdf(e)
    }
}
