//! Parts of pages that scripts ask for by themselves, and what is written out.

use super::compare::{Others, others};
use super::{ComparePage, Found, View, takes};
use crate::ask::{Query, Sent};
use crate::desk::Desk;
use crate::html;
use crate::route::blocking;
use crate::trouble::Trouble;
use axum::Json;
use axum::extract::State;
use axum::response::Html;
use fairtake_compare::Findings;
use fairtake_files::wav::Replace;
use fairtake_files::write_whole;
use maud::Markup;
use serde::Deserialize;
use serde_json::{Value, json};

/// Most columns of a waveform: more than any screen has.
const MOST_COLUMNS: usize = 8000;
/// Name of the report in the folder.
pub(crate) const REPORT: &str = "report.html";

/// `GET /findings.json`: the contract of `compare --json`, of the whole folder.
pub(crate) async fn findings(State(desk): State<Desk>) -> Result<Json<Findings>, Trouble> {
    blocking(move || desk.findings(&desk.now()?)).await.map(Json)
}

/// `GET /others`: all microphones of a source, asked for like the compare page.
pub(crate) async fn all_others(
    State(desk): State<Desk>,
    Query(query): Query<<ComparePage as View>::Query>,
) -> Result<Json<Others>, Trouble> {
    blocking(move || others(&desk, query)).await.map(Json)
}

/// `GET /figure`: the picture of the compare page alone, for another stretch of the axis.
pub(crate) async fn figure(
    State(desk): State<Desk>,
    Query(query): Query<<ComparePage as View>::Query>,
) -> Result<Html<String>, Trouble> {
    of_pair(desk, query, html::picture).await
}

/// `GET /evidence`: the tables behind the picture, asked for like the compare page.
pub(crate) async fn evidence(
    State(desk): State<Desk>,
    Query(query): Query<<ComparePage as View>::Query>,
) -> Result<Html<String>, Trouble> {
    of_pair(desk, query, |_, found| html::tables(found)).await
}

/// A part of the compare page that needs a pair.
async fn of_pair(
    desk: Desk,
    query: <ComparePage as View>::Query,
    part: impl FnOnce(&ComparePage, &Found) -> Markup + Send + 'static,
) -> Result<Html<String>, Trouble> {
    blocking(move || {
        let page = ComparePage::make(&desk, query)?;
        let found = page.found.as_ref().ok_or_else(|| Trouble::missing("there is nothing to compare"))?;
        Ok(Html(part(&page, found).into_string()))
    })
    .await
}

/// A waveform.
#[derive(Debug, Deserialize)]
pub(crate) struct OfTake {
    take: String,
    columns: Option<usize>,
}

/// `GET /wave.json`: a take's waveform.
pub(crate) async fn wave(
    State(desk): State<Desk>,
    Query(of): Query<OfTake>,
) -> Result<Json<takes::Wave>, Trouble> {
    blocking(move || {
        let now = desk.now()?;
        let take = now.loaded.takes.iter().find(|t| t.id == of.take);
        let take = take.ok_or_else(|| Trouble::missing(format!("{} is not in the log", of.take)))?;
        let n_columns = of.columns.unwrap_or(takes::WAVE_COLUMNS).clamp(1, MOST_COLUMNS);
        Ok(takes::wave_of(&*take.samples, n_columns)?)
    })
    .await
    .map(Json)
}

/// `GET /report.html`: the report as it would be written.
pub(crate) async fn report(State(desk): State<Desk>) -> Result<Html<String>, Trouble> {
    blocking(move || whole_report(&desk)).await.map(Html)
}

/// The report with what was heard blind.
fn whole_report(desk: &Desk) -> Result<String, Trouble> {
    let now = desk.now()?;
    let heard = crate::blind::heard(desk, &now)?;
    let findings = desk.findings(&now)?;
    let bridges = desk.bridges(&now, &findings)?;
    Ok(fairtake_report::page::page_with(&findings, &heard, &bridges))
}

/// Whether an older report may be replaced.
#[derive(Debug, Deserialize)]
pub(crate) struct Export {
    #[serde(default)]
    replace: bool,
}

/// `POST /write-up/report`: writes the report into the folder.
pub(crate) async fn export(
    State(desk): State<Desk>,
    Sent(asked): Sent<Export>,
) -> Result<Json<Value>, Trouble> {
    blocking(move || {
        let page = whole_report(&desk)?;
        let path = desk.path().join(REPORT);
        let replace = if asked.replace { Replace::Allowed } else { Replace::Never };
        if path.exists() && !asked.replace {
            let what = format!("{REPORT} is in the folder already; nothing was written");
            let hint = "choose to replace it, or move it away first";
            return Err(Trouble::new(axum::http::StatusCode::CONFLICT, what, hint));
        }
        write_whole(&path, page.as_bytes(), replace)?;
        Ok(json!({ "file": path.display().to_string(), "n_bytes": page.len() }))
    })
    .await
    .map(Json)
}
