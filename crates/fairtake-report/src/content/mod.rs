//! What the report says, apart from how it is set: names, lists and tables as plain text. Page and PDF are written from
//! the same content, so that no number is written twice.

mod appendix;
mod checks;
mod pair;
mod tables;

pub(crate) use appendix::{ABOUT, METHOD, settings, takes};
pub(crate) use checks::{Heeded, every_check, fair, figure, heeded, outcome_mark, standing};
pub(crate) use pair::{LEFT_OVER, alignment, caption, made};
pub(crate) use tables::{bands, budget, features, levels, regions};

use fairtake_compare::{Findings, Outcome, Verdict};

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    /// What the row is about.
    Head,
    /// Numbers, one below the other.
    Number,
    /// Text that is kept on one line where there is room.
    Keep,
    /// Text.
    Words,
}

/// A column of a table.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Column {
    /// Its head.
    pub name: String,
    /// What it holds.
    pub kind: Kind,
}

/// What stands in one place of a table.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Cell {
    /// Text as it is.
    Text(String),
    /// Text in letters of one width.
    Code(String),
    /// A verdict, with its mark.
    Verdict(Verdict),
    /// A check's outcome, with its mark.
    Outcome(Outcome),
}

impl From<String> for Cell {
    fn from(text: String) -> Cell {
        Cell::Text(text)
    }
}

impl From<&str> for Cell {
    fn from(text: &str) -> Cell {
        Cell::Text(text.to_string())
    }
}

/// A table.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Table {
    /// What is said above it.
    pub caption: Option<String>,
    /// Its columns.
    pub columns: Vec<Column>,
    /// Its rows, each with a cell per column.
    pub rows: Vec<Vec<Cell>>,
}

/// Columns from heads and kinds.
fn columns<S: Into<String>, const N: usize>(given: [(S, Kind); N]) -> Vec<Column> {
    given.into_iter().map(|(name, kind)| Column { name: name.into(), kind }).collect()
}

/// Title of the report.
pub(crate) fn title(findings: &Findings) -> String {
    findings.title.clone().unwrap_or_else(|| {
        let names: Vec<&str> = findings.mics.iter().map(|m| m.name.as_str()).collect();
        format!("{} compared", names.join(" and "))
    })
}

/// What was compared, in one sentence.
pub(crate) fn compared(findings: &Findings) -> String {
    let number =
        |n: usize, one: &str, many: &str| if n == 1 { format!("one {one}") } else { format!("{n} {many}") };
    format!(
        "{} in {} on {}: {}. A difference is called different only where it is larger than re-placing and re-playing \
         make by themselves; margin {} dB.",
        number(findings.mics.len(), "microphone", "microphones"),
        number(findings.takes.len(), "take", "takes"),
        number(findings.sources.len(), "source", "sources"),
        number(findings.comparisons.len(), "comparison", "comparisons"),
        findings.settings.margin_db
    )
}

/// `B against A: source`, with the names for people.
pub(crate) fn heading(findings: &Findings, reference: &str, against: &str, source: &str) -> String {
    let on = findings.sources.iter().find(|s| s.id == source).map_or(source, |s| s.name.as_str());
    let pair = format!("{} against {}", mic_name(findings, against), mic_name(findings, reference));
    // Bare files have no source to name.
    if findings.title.is_none() { pair } else { format!("{pair}: {on}") }
}

/// Name of a microphone for people.
pub(crate) fn mic_name<'a>(findings: &'a Findings, id: &'a str) -> &'a str {
    findings.mics.iter().find(|m| m.id == id).map_or(id, |m| m.name.as_str())
}
