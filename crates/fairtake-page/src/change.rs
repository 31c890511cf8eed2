//! Changes to the log from a page.

use crate::ask::Sent;
use crate::desk::Desk;
use crate::route::blocking;
use crate::trouble::Trouble;
use axum::Json;
use axum::extract::State;
use axum::http::StatusCode;
use fairtake_compare::Role;
use fairtake_files::{Change, Place, TakeEntry, key_of};
use serde::Deserialize;
use serde_json::{Value, json};

/// `POST /log`: changes values, all or none.
pub(crate) async fn log(
    State(desk): State<Desk>,
    Sent(changes): Sent<Vec<Change>>,
) -> Result<Json<Value>, Trouble> {
    blocking(move || {
        for change in &changes {
            is_allowed(&desk, change)?;
        }
        desk.change(&changes)
    })
    .await?;
    Ok(Json(json!({ "done": true })))
}

/// The log may name files outside the folder where its owner wrote so by hand. The page never leads there: whoever has a
/// link could else read any recording of this machine. Files of a microphone are read before the log names them, so that a mistake is said where
/// it is made.
fn is_allowed(desk: &Desk, change: &Change) -> Result<(), Trouble> {
    match (&change.place, change.key.as_deref(), &change.to) {
        (Place::Take { .. }, Some("file"), Value::String(file)) => {
            crate::take_in::inside(desk, file).map(drop)
        }
        (Place::Take { .. }, Some("excitation"), Value::String(file)) => {
            crate::measured::stays_inside(desk, file)
        }
        (Place::Mic(_), Some(key @ ("correction" | "published" | "tolerance")), Value::String(file)) => {
            crate::take_in::inside(desk, file)?;
            Ok(desk.folder().check_mic_file(key, file)?)
        }
        _ => Ok(()),
    }
}

/// A microphone or source to be made.
#[derive(Debug, Deserialize)]
pub(crate) struct New {
    name: String,
}

/// `POST /mics`: a new microphone, its key made from its name.
pub(crate) async fn mic(State(desk): State<Desk>, Sent(new): Sent<New>) -> Result<Json<Value>, Trouble> {
    named(desk, new, Place::Mic).await
}

/// `POST /sources`: a new source.
pub(crate) async fn source(State(desk): State<Desk>, Sent(new): Sent<New>) -> Result<Json<Value>, Trouble> {
    named(desk, new, Place::Source).await
}

async fn named(desk: Desk, new: New, place: fn(String) -> Place) -> Result<Json<Value>, Trouble> {
    let name = new.name.trim().to_string();
    if name.is_empty() {
        return Err(Trouble::bad("it has no name", "type a name first"));
    }
    let key = key_of(&name);
    let place = place(key.clone());
    blocking(move || {
        let log = desk.folder().log()?.shootout;
        let is_there = match &place {
            Place::Mic(key) => log.mics.contains_key(key),
            Place::Source(key) => log.sources.contains_key(key),
            _ => false,
        };
        if is_there {
            let what = format!("`{}` is in the log already", key_of(&name));
            return Err(Trouble::new(StatusCode::CONFLICT, what, "use that one, or choose another name"));
        }
        desk.change(&[Change { place, key: Some("name".into()), was: Value::Null, to: json!(name) }])
    })
    .await?;
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
    Sent(assigned): Sent<Vec<Assigned>>,
) -> Result<Json<Value>, Trouble> {
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
