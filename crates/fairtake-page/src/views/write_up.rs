//! Write up: own words beside the findings, the report as it will be, and its export.

use super::parts::REPORT;
use super::{Step, View};
use crate::desk::Desk;
use crate::html;
use crate::trouble::Trouble;
use fairtake_compare::Verdict;
use fairtake_report::page::heading;
use maud::Markup;
use serde::{Deserialize, Serialize};

/// The page.
#[derive(Debug, Serialize)]
pub(crate) struct WriteUpPage {
    pub comparisons: Vec<Written>,
    /// A report is in the folder already.
    pub report_exists: bool,
    pub why_nothing: Option<String>,
}

/// One comparison with what is said of it.
#[derive(Debug, Serialize)]
pub(crate) struct Written {
    pub heading: String,
    pub source: String,
    pub reference: String,
    pub against: String,
    pub findings: Vec<(Verdict, String)>,
    pub own_words: String,
}

/// Nothing is asked for.
#[derive(Debug, Default, Deserialize)]
pub(crate) struct Nothing {}

impl View for WriteUpPage {
    type Query = Nothing;
    const STEP: Step = Step::WriteUp;

    fn make(desk: &Desk, _: Nothing) -> Result<WriteUpPage, Trouble> {
        let report_exists = desk.path().join(REPORT).exists();
        let findings = match desk.now().and_then(|now| desk.findings(&now)) {
            Ok(findings) => findings,
            Err(e) => {
                let why_nothing = Some(format!("{}; {}", e.what, e.hint));
                return Ok(WriteUpPage { comparisons: Vec::new(), report_exists, why_nothing });
            }
        };
        let comparisons = findings
            .comparisons
            .iter()
            .map(|c| Written {
                heading: heading(&findings, &c.reference, &c.against, &c.source),
                source: c.source.clone(),
                reference: c.reference.clone(),
                against: c.against.clone(),
                findings: c.findings.iter().map(|f| (f.verdict, f.text.clone())).collect(),
                own_words: c.own_words.clone().unwrap_or_default(),
            })
            .collect();
        Ok(WriteUpPage { comparisons, report_exists, why_nothing: None })
    }

    fn html(&self) -> Markup {
        html::write_up(self)
    }
}
