//! Takes of measurements entered in the log from the page Measure.

use crate::ask::Sent;
use crate::desk::Desk;
use crate::route::blocking;
use crate::take_in::inside;
use crate::trouble::Trouble;
use axum::Json;
use axum::extract::State;
use fairtake_files::{NewMeasured, described_in};
use serde_json::{Value, json};
use std::path::Path;

/// `POST /measure/assign`: enters takes of measurements, all or none.
pub(crate) async fn assign(
    State(desk): State<Desk>,
    Sent(takes): Sent<Vec<NewMeasured>>,
) -> Result<Json<Value>, Trouble> {
    blocking(move || {
        for take in &takes {
            let path = inside(&desk, &take.file)?;
            fairtake_files::AudioFile::open(&path)?.channel(take.channel)?;
            if let Some(file) = &take.excitation {
                stays_inside(&desk, file)?;
            }
        }
        desk.with_log(|log| takes.iter().try_for_each(|take| log.add_measured(take)).map_err(Trouble::from))
    })
    .await?;
    Ok(Json(json!({ "done": true })))
}

/// What was played, and its description that is read, lie in the folder.
pub(crate) fn stays_inside(desk: &Desk, excitation: &str) -> Result<(), Trouble> {
    inside(desk, excitation)?;
    let described = described_in(Path::new(excitation));
    inside(desk, &described.to_string_lossy()).map(drop)
}
