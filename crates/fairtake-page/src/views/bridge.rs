//! How much is equalising: a pair, its correction, what remains, and the files of it.

use super::compare::compared_mics;
use super::{Named, Step, View, chosen, only_measured, sources};
use crate::ask::Query;
use crate::desk::{Bridged, Desk, Now};
use crate::html;
use crate::route::blocking;
use crate::trouble::Trouble;
use axum::extract::State;
use axum::http::header;
use axum::response::IntoResponse;
use fairtake_audition::LeftOver;
use fairtake_bridge::{Bridge, USUAL_LIMITS, Wanted, rate_of};
use fairtake_compare::Findings;
use fairtake_write_up::bridge_files;
use maud::Markup;
use serde::{Deserialize, Serialize};
use std::sync::Arc;

/// Length of the impulse responses that are given out, in seconds.
const LENGTH_S: f64 = 0.5;

/// The page.
#[derive(Debug, Serialize)]
pub(crate) struct BridgePage {
    pub sources: Vec<Named>,
    pub source: Option<String>,
    /// Microphones with takes of the source that are compared.
    pub mics: Vec<Named>,
    /// Microphone that is corrected, and the one that it becomes like.
    pub from: Option<String>,
    pub to: Option<String>,
    pub most_boost_db: f64,
    pub most_bands: usize,
    /// `None`: nothing, for the reason given.
    pub found: Option<FoundBridge>,
    /// The folder holds measurements, and no take that is compared.
    pub only_measured: bool,
    pub why_nothing: Option<String>,
}

/// A bridge.
#[derive(Debug, Serialize)]
pub(crate) struct FoundBridge {
    /// Names for people.
    #[serde(skip)]
    pub findings: Arc<Findings>,
    pub bridge: Bridge,
    /// For takes recorded together: what is left when the one is taken from the other.
    pub left: Option<LeftOver>,
    /// Names of the files and what they hold.
    pub files: Vec<(&'static str, &'static str, Option<String>)>,
}

/// What the address may ask for.
#[derive(Debug, Default, Clone, Deserialize)]
pub(crate) struct BridgeQuery {
    source: Option<String>,
    from: Option<String>,
    to: Option<String>,
    boost: Option<String>,
    bands: Option<String>,
    /// Name of one of its files.
    file: Option<String>,
}

impl View for BridgePage {
    type Query = BridgeQuery;
    const STEP: Step = Step::Compare;

    fn make(desk: &Desk, query: BridgeQuery) -> Result<BridgePage, Trouble> {
        let now = desk.now()?;
        let sources = sources(&now);
        let source = chosen(query.source.as_ref(), &sources);
        let mics = source.as_ref().map_or_else(Vec::new, |s| compared_mics(&now, s));
        let from = chosen(query.from.as_ref(), &mics);
        let rest: Vec<Named> = mics.iter().filter(|m| Some(&m.key) != from.as_ref()).cloned().collect();
        let to = chosen(query.to.as_ref(), &rest);
        let (most_boost_db, most_bands) = limits(&query)?;
        let mut page = BridgePage {
            sources,
            source,
            mics,
            from,
            to,
            most_boost_db,
            most_bands,
            found: None,
            only_measured: only_measured(&now),
            why_nothing: None,
        };
        if page.only_measured {
            return Ok(page);
        }
        match found(desk, &now, &page) {
            Ok(found) => page.found = Some(found),
            Err(e) => page.why_nothing = Some(format!("{}; {}", e.what, e.hint)),
        }
        Ok(page)
    }

    fn html(&self) -> Markup {
        html::bridge(self)
    }
}

fn limits(query: &BridgeQuery) -> Result<(f64, usize), Trouble> {
    let typed =
        |text: &Option<String>| text.as_ref().map(|t| t.trim().replace(',', ".")).filter(|t| !t.is_empty());
    let boost = match typed(&query.boost) {
        None => USUAL_LIMITS.0,
        Some(text) => text.parse().ok().filter(|db| (0.0..=40.0).contains(db)).ok_or_else(|| {
            Trouble::bad(format!("the highest boost cannot be `{text}`"), "type decibels between 0 and 40")
        })?,
    };
    let bands = match typed(&query.bands) {
        None => USUAL_LIMITS.1,
        Some(text) => text.parse().ok().filter(|n| *n <= 12).ok_or_else(|| {
            Trouble::bad(format!("`{text}` is no number of bands"), "type a whole number from 0 to 12")
        })?,
    };
    Ok((boost, bands))
}

impl BridgePage {
    fn pair(&self) -> Option<(&str, &str, &str)> {
        Some((self.source.as_deref()?, self.from.as_deref()?, self.to.as_deref()?))
    }
}

fn found(desk: &Desk, now: &Now, page: &BridgePage) -> Result<FoundBridge, Trouble> {
    let none = || Trouble::missing("two microphones with takes of one source are needed");
    let (source, from, to) = page.pair().ok_or_else(none)?;
    let bridged = bridged(desk, now, (source, from, to), (page.most_boost_db, page.most_bands))?;
    let bridge = bridged.bridge.clone();
    let rate_hz = bridge.wanted.rate_hz as u32;
    let files = bridge_files(&bridged.findings, &bridge, rate_hz, LENGTH_S);
    Ok(FoundBridge {
        findings: bridged.findings.clone(),
        left: desk.left(now, &bridged)?,
        files: files.into_iter().map(|f| (f.name, f.what, f.told)).collect(),
        bridge,
    })
}

/// The bridge of a pair, at the sampling rate of the microphone that is corrected.
pub(crate) fn bridged(
    desk: &Desk,
    now: &Now,
    (source, from, to): (&str, &str, &str),
    (most_boost_db, most_bands): (f64, usize),
) -> Result<Arc<Bridged>, Trouble> {
    if from == to {
        return Err(Trouble::bad(format!("{from} is like itself already"), "choose two microphones"));
    }
    let missing = || Trouble::missing(format!("{from} has no take of {source} that is compared"));
    let rate_hz = f64::from(rate_of(&now.loaded.takes, source, from).ok_or_else(missing)?);
    desk.bridge(now, (source, from, to), &Wanted { most_boost_db, most_bands, rate_hz })
}

/// `GET /bridge/file`: one file of the bridge that the page shows.
pub(crate) async fn bridge_file(
    State(desk): State<Desk>,
    Query(query): Query<BridgeQuery>,
) -> Result<impl IntoResponse, Trouble> {
    blocking(move || {
        let name = query.file.clone().unwrap_or_default();
        let page = BridgePage::make(&desk, query)?;
        let Some(found) = page.found else {
            return Err(Trouble::missing(page.why_nothing.unwrap_or_default()));
        };
        let rate_hz = found.bridge.wanted.rate_hz as u32;
        let file = bridge_files(&found.findings, &found.bridge, rate_hz, LENGTH_S)
            .into_iter()
            .find(|f| f.name == name)
            .ok_or_else(|| Trouble::missing("there is no such file of a bridge"))?;
        let kind = match name.rsplit_once('.').map(|(_, ending)| ending) {
            Some("wav") => "audio/wav",
            Some("csv") => "text/csv; charset=utf-8",
            _ => "text/plain; charset=utf-8",
        };
        let saved_as = format!("attachment; filename=\"{}\"", file.name);
        Ok(([(header::CONTENT_TYPE, kind.to_string()), (header::CONTENT_DISPOSITION, saved_as)], file.bytes))
    })
    .await
}
