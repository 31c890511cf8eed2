//! News for open pages: whenever the folder changed, by this page, another window, the command line or by hand.

use crate::ask::Query;
use crate::desk::Desk;
use axum::extract::State;
use axum::http::HeaderMap;
use axum::response::sse::{Event, KeepAlive, Sse};
use futures_util::stream::{self, Stream};
use serde::Deserialize;
use std::convert::Infallible;
use std::fs::Metadata;
use std::os::unix::fs::MetadataExt;
use std::path::Path;
use std::time::{Duration, SystemTime};

/// Time between two looks at the folder.
const BETWEEN_LOOKS: Duration = Duration::from_millis(300);

/// Which news the page was made after.
#[derive(Deserialize)]
pub(crate) struct Since {
    since: Option<u64>,
}

/// An event `changed` for every change, `progress` while takes are measured: `12 of 60`, and `writing` while everything is
/// written up: `3 of 20: what was made`; both end with `done`. What changed since the page was made, or while the connection was
/// broken, is told at once.
pub(crate) async fn events(
    State(desk): State<Desk>,
    Query(Since { since }): Query<Since>,
    headers: HeaderMap,
) -> Sse<impl Stream<Item = Result<Event, Infallible>>> {
    // A browser that connects again says what it heard last.
    let heard = headers.get("last-event-id").and_then(|id| id.to_str().ok()?.parse().ok());
    let mut news = desk.news();
    if heard.or(since).is_some_and(|heard: u64| heard != *news.borrow_and_update()) {
        news.mark_changed();
    }
    let changed = stream::unfold(news, |mut news| async move {
        news.changed().await.ok()?;
        let number = news.borrow_and_update().to_string();
        Some((Ok(Event::default().event("changed").id(&number).data(number)), news))
    });
    let progress = stream::unfold(desk.progress(), |mut progress| async move {
        progress.changed().await.ok()?;
        let come = *progress.borrow_and_update();
        // An event without words would not be heard by a browser.
        let words = come.map_or("done".to_string(), |(n, of)| format!("{n} of {of}"));
        Some((Ok(Event::default().event("progress").data(words)), progress))
    });
    let writing = stream::unfold(desk.writing(), |mut writing| async move {
        writing.changed().await.ok()?;
        let words = writing.borrow_and_update().clone();
        Some((Ok(Event::default().event("writing").data(words)), writing))
    });
    let both = stream::select(Box::pin(changed), Box::pin(progress));
    let all = stream::select(both, Box::pin(writing));
    Sse::new(all).keep_alive(KeepAlive::new().interval(Duration::from_secs(10)))
}

/// Looks at the folder for ever, and tells when it changed.
pub(crate) async fn watch(desk: Desk) {
    let mut before = Vec::new();
    let mut listed = Vec::new();
    let mut is_first = true;
    loop {
        let (folder, path) = (desk.folder().clone(), desk.path().to_path_buf());
        let looked = tokio::task::spawn_blocking(move || {
            // What the log names elsewhere is watched as well; as it was, while the log cannot be read.
            let files = folder.log().map(|log| log.files().map(String::from).collect::<Vec<_>>());
            let listed = files.unwrap_or(listed);
            (looked(&path, &listed), listed)
        });
        // It does not panic; if it did, what is listed would be read again.
        let (now, files) = looked.await.unwrap_or_default();
        listed = files;
        if now != before && !is_first {
            desk.tell();
        }
        (before, is_first) = (now, false);
        tokio::time::sleep(BETWEEN_LOOKS).await;
    }
}

/// What shows that a file changed: name, size and the times of change, its own and the system's.
type Looked = Vec<(String, u64, Option<SystemTime>, (i64, i64))>;

/// Everything right in the folder and among its takes, and what the log lists.
fn looked(folder: &Path, listed: &[String]) -> Looked {
    let mut out = Vec::new();
    let mut look = |name: String, path: &Path| {
        // Followed where it is a link: what it leads to is what is read.
        if let Some(about) = std::fs::metadata(path).ok().filter(Metadata::is_file) {
            out.push((name, about.len(), about.modified().ok(), (about.ctime(), about.ctime_nsec())));
        }
    };
    for place in ["", "takes"] {
        let Ok(entries) = std::fs::read_dir(folder.join(place)) else { continue };
        for entry in entries.flatten() {
            let name = entry.file_name().to_string_lossy().into_owned();
            if !name.starts_with('.') {
                look(format!("{place}/{name}"), &entry.path());
            }
        }
    }
    listed.iter().for_each(|file| look(file.clone(), &folder.join(file)));
    out.sort();
    out
}
