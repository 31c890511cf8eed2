//! An error in the log, shown with file, line, column, the line itself and a caret.

use fairtake_calibrated::TextCurveError;
use std::fmt;
use std::ops::Range;

/// Something in the log is wrong.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LogError {
    /// The file as the user named it.
    pub file: String,
    /// Line, counted from 1; 0 where no line is meant.
    pub line: usize,
    /// Column in characters, counted from 1.
    pub column: usize,
    /// The line.
    pub source_line: String,
    /// How many characters are meant, 1 or more.
    pub n_marked: usize,
    /// What was found.
    pub what: String,
    /// What to do.
    pub hint: String,
}

impl LogError {
    pub(crate) fn at(file: &str, text: &str, span: Range<usize>, what: String, hint: &str) -> LogError {
        let start = floor_boundary(text, span.start);
        let end = floor_boundary(text, span.end.max(start));
        let line_start = text[..start].rfind('\n').map_or(0, |i| i + 1);
        let source_line = text[line_start..].lines().next().unwrap_or_default().to_string();
        let marked = text[start..end].lines().next().unwrap_or_default().chars().count();
        LogError {
            file: file.into(),
            line: text[..start].matches('\n').count() + 1,
            column: text[line_start..start].chars().count() + 1,
            source_line,
            n_marked: marked.max(1),
            what,
            hint: hint.into(),
        }
    }

    pub(crate) fn whole_file(file: &str, what: String, hint: &str) -> LogError {
        let (source_line, hint) = (String::new(), hint.into());
        LogError { file: file.into(), line: 0, column: 0, source_line, n_marked: 0, what, hint }
    }

    /// In a text of points.
    pub(crate) fn in_text(file: &str, e: &TextCurveError) -> LogError {
        let (source_line, column) = e.shown.clone().map_or((String::new(), 0), |(line, at)| (line, at + 1));
        LogError {
            file: file.into(),
            line: e.line.unwrap_or(0),
            column,
            source_line,
            n_marked: 1,
            what: e.what.clone(),
            hint: e.hint.into(),
        }
    }
}

fn floor_boundary(text: &str, at: usize) -> usize {
    let mut at = at.min(text.len());
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    at
}

impl fmt::Display for LogError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.line == 0 {
            return write!(f, "{}: {}", self.file, self.what);
        }
        let number = self.line.to_string();
        writeln!(f, "{}:{}:{}: {}", self.file, self.line, self.column, self.what)?;
        writeln!(f, "{number} | {}", self.source_line)?;
        // Tabs are kept, so that the caret stands below its word however wide they are shown.
        let before = self.source_line.chars().take(self.column - 1);
        let blank: String = before.map(|c| if c == '\t' { '\t' } else { ' ' }).collect();
        write!(f, "{} | {blank}{}", " ".repeat(number.len()), "^".repeat(self.n_marked))
    }
}

impl std::error::Error for LogError {}
