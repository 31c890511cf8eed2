//! Recordings dropped on the page: streamed to disk, hashed on the way, never in place of another file.

use crate::ask::Query;
use crate::desk::Desk;
use crate::route::blocking;
use crate::trouble::Trouble;
use axum::Json;
use axum::body::Body;
use axum::extract::State;
use axum::http::{HeaderMap, StatusCode, header};
use fairtake_files::Receiving;
use futures_util::StreamExt;
use serde::{Deserialize, Serialize};
use std::path::{Component, Path, PathBuf};

/// Under which name a file comes in.
#[derive(Debug, Deserialize)]
pub(crate) struct Name {
    name: String,
}

/// What became of it.
#[derive(Debug, Serialize)]
pub(crate) struct TakenIn {
    file: String,
    sha256: String,
    n_bytes: u64,
    was_there: bool,
}

/// `POST /takes/files?name=NAME`: the body is the file, in whatever pieces it comes.
pub(crate) async fn take_in(
    State(desk): State<Desk>,
    Query(Name { name }): Query<Name>,
    headers: HeaderMap,
    body: Body,
) -> Result<Json<TakenIn>, Trouble> {
    let announced =
        headers.get(header::CONTENT_LENGTH).and_then(|v| v.to_str().ok()).and_then(|v| v.parse().ok());
    let folder = desk.path().to_path_buf();
    let mut receiving = blocking(move || Ok(Receiving::begin(&folder, &name, announced)?)).await?;
    let mut pieces = body.into_data_stream();
    let mut n_bytes = 0u64;
    while let Some(piece) = pieces.next().await {
        let piece = piece.map_err(|e| {
            let what = format!("the file stopped coming after {n_bytes} bytes: {e}");
            Trouble::new(StatusCode::BAD_REQUEST, what, "drop it again")
        })?;
        n_bytes += piece.len() as u64;
        receiving = blocking(move || {
            receiving.write(&piece)?;
            Ok(receiving)
        })
        .await?;
    }
    if announced.is_some_and(|n| n != n_bytes) {
        return Err(Trouble::new(StatusCode::BAD_REQUEST, "the file did not come whole", "drop it again"));
    }
    let received = blocking(move || Ok(receiving.finish()?)).await?;
    desk.tell();
    Ok(Json(TakenIn {
        file: received.file,
        sha256: received.sha256,
        n_bytes: received.n_bytes,
        was_there: received.was_there,
    }))
}

/// The path of a file of the folder; one that leads out of it, also by a link, is refused.
pub(crate) fn inside(desk: &Desk, file: &str) -> Result<PathBuf, Trouble> {
    let outside = || Trouble::bad(format!("{file}: lies outside the folder"), "choose a file of the folder");
    if Path::new(file).components().any(|c| !matches!(c, Component::Normal(_))) {
        return Err(outside());
    }
    let whole = |path: &Path| path.canonicalize().map_err(|e| Trouble::missing(format!("{file}: {e}")));
    let (folder, path) = (whole(desk.path())?, whole(&desk.path().join(file))?);
    if path.starts_with(&folder) { Ok(path) } else { Err(outside()) }
}
