//! Why a report cannot be set.

use crate::figure::FigureError;
use std::fmt;

/// Why a report cannot be set; nothing has been written.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum PdfError {
    /// A font of the program cannot be read: a defect of the build.
    Font,
    /// A picture could not be drawn.
    Figure(FigureError),
    /// The finished document breaks a rule of PDF or of PDF/UA-1, in the writer's words: a defect.
    Unsound(String),
}

impl fmt::Display for PdfError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            PdfError::Font => write!(f, "the PDF could not be set: a font of this program cannot be read"),
            PdfError::Figure(e) => write!(f, "the PDF could not be set: {e}"),
            PdfError::Unsound(words) => write!(f, "the PDF could not be set: {words}"),
        }
    }
}

impl std::error::Error for PdfError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            PdfError::Figure(e) => Some(e),
            _ => None,
        }
    }
}

impl From<FigureError> for PdfError {
    fn from(e: FigureError) -> PdfError {
        PdfError::Figure(e)
    }
}
