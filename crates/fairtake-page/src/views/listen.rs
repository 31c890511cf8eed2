//! Listen: the microphones of a source side by side, level-matched, sighted.

use super::{Named, Step, View, chosen, only_measured, sources};
use crate::desk::Desk;
use crate::html;
use crate::sound::audition;
use crate::trouble::Trouble;
use crate::views::compare::compared_mics;
use fairtake_audition::{Moment, Paired, PlaybackGain};
use fairtake_compare::{Design, Verdict};
use maud::Markup;
use serde::{Deserialize, Serialize};

/// The page.
#[derive(Debug, Serialize)]
pub(crate) struct ListenPage {
    pub sources: Vec<Named>,
    pub source: Option<String>,
    /// What can be heard; `None`: nothing, for the reason given.
    pub heard: Option<Heard>,
    /// The folder holds measurements, and no take that is compared.
    pub only_measured: bool,
    pub why_nothing: Option<String>,
}

/// What can be heard.
#[derive(Debug, Serialize)]
pub(crate) struct Heard {
    /// Microphones in the order of the number keys.
    pub mics: Vec<Named>,
    pub gains: Vec<PlaybackGain>,
    pub moments: Vec<Moment>,
    /// Place of the moment that is heard.
    pub moment: usize,
    pub paired: Paired,
    /// Pairs with the reference, the difference and findings of each.
    pub pairs: Vec<Pair>,
}

/// A pair whose difference can be heard.
#[derive(Debug, Serialize)]
pub(crate) struct Pair {
    pub reference: String,
    pub against: String,
    /// The takes were recorded together, so that one can be taken from the other.
    pub has_left_over: bool,
    /// Regions that can be imposed on the reference, with the words of their finding.
    pub regions: Vec<Region>,
}

/// A region whose difference can be heard by itself.
#[derive(Debug, Serialize)]
pub(crate) struct Region {
    pub from_hz: f64,
    pub to_hz: f64,
    pub difference_db: f64,
    pub verdict: Verdict,
}

/// What the address may ask for.
#[derive(Debug, Default, Deserialize)]
pub(crate) struct ListenQuery {
    source: Option<String>,
    moment: Option<usize>,
}

impl View for ListenPage {
    type Query = ListenQuery;
    const STEP: Step = Step::Listen;

    fn make(desk: &Desk, query: ListenQuery) -> Result<ListenPage, Trouble> {
        let now = desk.now()?;
        let sources = sources(&now);
        let source = chosen(query.source.as_ref(), &sources);
        let only_measured = only_measured(&now);
        let mut page = ListenPage { sources, source, heard: None, only_measured, why_nothing: None };
        if only_measured {
            return Ok(page);
        }
        let Some(source) = page.source.clone() else {
            page.why_nothing = Some("no source is logged yet: begin on the page Takes".into());
            return Ok(page);
        };
        let audition = match audition(desk, &now, &source) {
            Ok(audition) => audition,
            Err(e) => {
                page.why_nothing = Some(format!("{}; {}", e.what, e.hint));
                return Ok(page);
            }
        };
        let known = compared_mics(&now, &source);
        let part_mics = audition.moments[0].parts.iter().map(|p| &p.mic);
        let mics: Vec<Named> =
            part_mics.filter_map(|key| known.iter().find(|m| m.key == *key).cloned()).collect();
        let pairs = audition
            .found
            .comparisons
            .iter()
            .map(|c| Pair {
                reference: c.reference.clone(),
                against: c.against.clone(),
                has_left_over: c.design == Design::Together
                    && c.alignment.as_ref().is_some_and(|a| a.delay_s.is_some()),
                regions: c
                    .regions
                    .iter()
                    .filter(|r| r.verdict == Verdict::Different)
                    .filter_map(|r| {
                        Some(Region {
                            from_hz: r.from_hz,
                            to_hz: r.to_hz,
                            difference_db: r.difference_db?,
                            verdict: r.verdict,
                        })
                    })
                    .collect(),
            })
            .collect();
        page.heard = Some(Heard {
            mics,
            gains: audition.gains,
            moment: query.moment.unwrap_or(0).min(audition.moments.len() - 1),
            paired: audition.moments[0].paired,
            moments: audition.moments,
            pairs,
        });
        Ok(page)
    }

    fn html(&self) -> Markup {
        html::listen(self)
    }
}
