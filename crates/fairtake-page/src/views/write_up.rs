//! Write up: own words beside the findings, the report as it will be, and everything in one folder.

use super::parts::REPORT;
use super::{Step, View, only_measured};
use crate::desk::Desk;
use crate::html;
use crate::trouble::Trouble;
use crate::written::{Folder, folders, free_name};
use fairtake_compare::Verdict;
use fairtake_report::own_words::disagreements;
use fairtake_report::page::heading;
use fairtake_report::spoken::About;
use maud::Markup;
use serde::{Deserialize, Serialize};

/// The page.
#[derive(Debug, Serialize)]
pub(crate) struct WriteUpPage {
    pub comparisons: Vec<Written>,
    /// A report is in the folder already.
    pub report_exists: bool,
    /// How the next write-up will be called.
    pub next: String,
    /// Those that are in the folder, the newest first.
    pub folders: Vec<Folder>,
    /// The folder holds measurements, and no take that is compared.
    pub only_measured: bool,
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
    /// Numbers of the own words that agree with no number of the findings, each as a warning.
    pub disagreements: Vec<String>,
}

/// Nothing is asked for.
#[derive(Debug, Default, Deserialize)]
pub(crate) struct Nothing {}

impl View for WriteUpPage {
    type Query = Nothing;
    const STEP: Step = Step::WriteUp;

    fn make(desk: &Desk, _: Nothing) -> Result<WriteUpPage, Trouble> {
        let mut page = WriteUpPage {
            comparisons: Vec::new(),
            report_exists: desk.path().join(REPORT).exists(),
            next: free_name(desk)?,
            folders: folders(desk),
            only_measured: desk.now().is_ok_and(|now| only_measured(&now)),
            why_nothing: None,
        };
        if page.only_measured {
            return Ok(page);
        }
        let findings = match desk.now().and_then(|now| desk.findings(&now)) {
            Ok(findings) => findings,
            Err(e) => {
                page.why_nothing = Some(format!("{}; {}", e.what, e.hint));
                return Ok(page);
            }
        };
        let written = |(i, c): (usize, &fairtake_compare::ComparisonFindings)| {
            let own_words = c.own_words.clone().unwrap_or_default();
            let wrong = disagreements(&own_words, &findings, About::Pair(i));
            Written {
                heading: heading(&findings, &c.reference, &c.against, &c.source),
                source: c.source.clone(),
                reference: c.reference.clone(),
                against: c.against.clone(),
                findings: c.findings.iter().map(|f| (f.verdict, f.text.clone())).collect(),
                disagreements: wrong.iter().map(|d| d.text()).collect(),
                own_words,
            }
        };
        page.comparisons = findings.comparisons.iter().enumerate().map(written).collect();
        Ok(page)
    }

    fn html(&self) -> Markup {
        html::write_up(self)
    }
}
