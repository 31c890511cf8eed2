//! Changes to the log from a page.

use crate::desk::Desk;
use crate::route::blocking;
use crate::trouble::Trouble;
use axum::Json;
use axum::extract::State;
use axum::extract::rejection::JsonRejection;
use fairtake_compare::Role;
use fairtake_files::{Change, Place, TakeEntry, key_of};
use serde::Deserialize;
use serde_json::{Value, json};

/// `POST /log`: changes values, all or none.
pub(crate) async fn log(
    State(desk): State<Desk>,
    body: Result<Json<Vec<Change>>, JsonRejection>,
) -> Result<Json<Value>, Trouble> {
    let Json(changes) = body.map_err(of_body)?;
    blocking(move || desk.change(&changes)).await?;
    Ok(Json(json!({ "done": true })))
}

/// A microphone or source to be made.
#[derive(Debug, Deserialize)]
pub(crate) struct New {
    name: String,
}

/// `POST /mics`: a new microphone, its key made from its name.
pub(crate) async fn mic(
    State(desk): State<Desk>,
    body: Result<Json<New>, JsonRejection>,
) -> Result<Json<Value>, Trouble> {
    named(desk, body, Place::Mic).await
}

/// `POST /sources`: a new source.
pub(crate) async fn source(
    State(desk): State<Desk>,
    body: Result<Json<New>, JsonRejection>,
) -> Result<Json<Value>, Trouble> {
    named(desk, body, Place::Source).await
}

async fn named(
    desk: Desk,
    body: Result<Json<New>, JsonRejection>,
    place: fn(String) -> Place,
) -> Result<Json<Value>, Trouble> {
    let Json(new) = body.map_err(of_body)?;
    let name = new.name.trim().to_string();
    if name.is_empty() {
        return Err(Trouble::bad("it has no name", "type a name first"));
    }
    let key = key_of(&name);
    let place = place(key.clone());
    // A key that is there already is refused, since its name is not what this page saw: nothing.
    let change = Change { place, key: Some("name".into()), was: Value::Null, to: json!(name) };
    blocking(move || desk.change(&[change])).await?;
    Ok(Json(json!({ "key": key })))
}

/// A take as it is assigned in the page.
#[derive(Debug, Deserialize)]
pub(crate) struct Assigned {
    file: String,
    channel: u16,
    mic: String,
    source: String,
    placement: u32,
    performance: u32,
    #[serde(default)]
    role: Role,
    order: Option<u32>,
    gain_db: Option<f64>,
    position: Option<String>,
}

/// `POST /takes/assign`: enters takes in the log.
pub(crate) async fn assign(
    State(desk): State<Desk>,
    body: Result<Json<Vec<Assigned>>, JsonRejection>,
) -> Result<Json<Value>, Trouble> {
    let Json(assigned) = body.map_err(of_body)?;
    let entries: Vec<TakeEntry> = assigned
        .into_iter()
        .map(|a| {
            let mut entry = TakeEntry::new(&a.file, a.channel, &a.mic, &a.source);
            entry.placement = a.placement;
            entry.performance = a.performance;
            entry.role = a.role;
            entry.order = a.order;
            entry.position = a.position.filter(|p| !p.is_empty());
            entry.chain.gain_db = a.gain_db;
            entry
        })
        .collect();
    blocking(move || {
        for entry in &entries {
            // A log that names a file outside, or one that cannot be read, would be no use to anybody.
            let path = crate::take_in::inside(&desk, &entry.file)?;
            fairtake_files::AudioFile::open(&path)?.channel(entry.channel)?;
        }
        desk.add(&entries)
    })
    .await?;
    Ok(Json(json!({ "done": true })))
}

fn of_body(e: JsonRejection) -> Trouble {
    Trouble::bad(e.body_text(), "reload the page and try again")
}
