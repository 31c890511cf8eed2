//! The report as a typeset PDF: A4, its fonts inside, pictures as vectors, headings and tables tagged for those who do not
//! see the pages (PDF/UA-1, as far as a program can check it). The same findings give the same bytes: there is no time
//! stamp inside.

mod blocks;
mod error;
mod flow;
mod letters;
mod report;
mod table;
mod tags;
mod write;

pub use error::PdfError;

use crate::heard::Heard;
use fairtake_bridge::Bridge;
use fairtake_compare::Findings;
use letters::Letters;
use report::Beside;

/// A report as PDF.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Pdf {
    /// The file.
    pub bytes: Vec<u8>,
    /// Number of pages.
    pub pages: usize,
    /// Letters that the fonts lack; each stands in the report as its Unicode number in brackets, which the report says.
    pub replaced: Vec<char>,
}

/// The report of one run as PDF. It says what the [page](crate::page::page) says, but for the table of every band, and
/// lists of the fair checks only how often each was made.
///
/// # Errors
/// [`PdfError`]; whatever it is, it is a defect of the program and not of the findings.
pub fn pdf(findings: &Findings) -> Result<Pdf, PdfError> {
    pdf_with(findings, &[], &[])
}

/// The same, with what blind tests showed, and how much of a difference is equalising, beside what was measured.
///
/// # Errors
/// As [`pdf`].
pub fn pdf_with(findings: &Findings, heard: &[Heard], bridges: &[Bridge]) -> Result<Pdf, PdfError> {
    let beside = Beside { heard, bridges };
    let letters = Letters::new()?;
    let mut flow = report::lay(&letters, findings, beside, false)?;
    if !flow.replaced.is_empty() {
        flow = report::lay(&letters, findings, beside, true)?;
    }
    let (pages, replaced) = (flow.pages.len(), flow.replaced.clone());
    Ok(Pdf { bytes: write::document(flow, findings)?, pages, replaced })
}
