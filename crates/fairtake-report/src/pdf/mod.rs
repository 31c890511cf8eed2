//! The report as a typeset PDF: A4, its fonts inside, pictures as vectors, headings and tables tagged for those who do not
//! see the pages (PDF/UA-1, as far as a program can check it). The same findings give the same bytes: there is no time
//! stamp inside.

mod blocks;
mod error;
mod flow;
mod letters;
mod report;
mod sheets;
mod table;
mod tags;
mod write;

pub use error::PdfError;

use crate::heard::Heard;
use crate::{content, sheet};
use fairtake_bridge::Bridge;
use fairtake_calibrated::Measurements;
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
    pdf_with(findings, &[], &[], None)
}

/// The same, with what blind tests showed, how much of a difference is equalising, and data sheets of microphones that were measured by
/// themselves.
///
/// # Errors
/// As [`pdf`].
pub fn pdf_with(
    findings: &Findings,
    heard: &[Heard],
    bridges: &[Bridge],
    measured: Option<&Measurements>,
) -> Result<Pdf, PdfError> {
    let beside = Beside { heard, bridges, measured };
    let letters = Letters::new()?;
    let mut flow = report::lay(&letters, findings, beside, false)?;
    if !flow.replaced.is_empty() {
        flow = report::lay(&letters, findings, beside, true)?;
    }
    let (pages, replaced) = (flow.pages.len(), flow.replaced.clone());
    let creator = format!("{} {}", findings.program.name, findings.program.version);
    Ok(Pdf { bytes: write::document(flow, &content::title(findings), creator)?, pages, replaced })
}

/// Data sheets alone, each beginning a page: what the [sheets as a page](crate::sheet::page) say, but for what each interval is made of.
///
/// # Errors
/// As [`pdf`].
pub fn pdf_of_sheets(measured: &Measurements) -> Result<Pdf, PdfError> {
    let letters = Letters::new()?;
    let mut flow = report::lay_sheets(&letters, measured, false)?;
    if !flow.replaced.is_empty() {
        flow = report::lay_sheets(&letters, measured, true)?;
    }
    let (pages, replaced) = (flow.pages.len(), flow.replaced.clone());
    let creator = format!("fairtake {}", measured.version);
    Ok(Pdf { bytes: write::document(flow, &sheet::title(measured), creator)?, pages, replaced })
}
