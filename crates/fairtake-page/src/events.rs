//! News for open pages: whenever the folder changed, by this page, another window, the command line or by hand.

use crate::desk::Desk;
use axum::extract::State;
use axum::response::sse::{Event, KeepAlive, Sse};
use futures_util::stream::{self, Stream};
use std::convert::Infallible;
use std::path::Path;
use std::time::{Duration, SystemTime};

/// Time between two looks at the folder.
const BETWEEN_LOOKS: Duration = Duration::from_millis(300);

/// An event `changed` for every change, and `progress` while takes are measured: `12 of 60`, empty at the end.
pub(crate) async fn events(State(desk): State<Desk>) -> Sse<impl Stream<Item = Result<Event, Infallible>>> {
    let changed = stream::unfold(desk.news(), |mut news| async move {
        news.changed().await.ok()?;
        let number = *news.borrow_and_update();
        Some((Ok(Event::default().event("changed").data(number.to_string())), news))
    });
    let progress = stream::unfold(desk.progress(), |mut progress| async move {
        progress.changed().await.ok()?;
        let come = *progress.borrow_and_update();
        let words = come.map_or(String::new(), |(n, of)| format!("{n} of {of}"));
        Some((Ok(Event::default().event("progress").data(words)), progress))
    });
    let both = stream::select(Box::pin(changed), Box::pin(progress));
    Sse::new(both).keep_alive(KeepAlive::new().interval(Duration::from_secs(10)))
}

/// Looks at the folder for ever, and tells when it changed.
pub(crate) async fn watch(desk: Desk) {
    let mut before = looked(desk.path());
    loop {
        tokio::time::sleep(BETWEEN_LOOKS).await;
        let path = desk.path().to_path_buf();
        let Ok(now) = tokio::task::spawn_blocking(move || looked(&path)).await else { continue };
        if now != before {
            before = now;
            desk.tell();
        }
    }
}

/// Name, size and time of the log and of everything beside the takes.
fn looked(folder: &Path) -> Vec<(String, u64, Option<SystemTime>)> {
    let mut out = Vec::new();
    for place in [folder.to_path_buf(), folder.join("takes")] {
        let Ok(entries) = std::fs::read_dir(place) else { continue };
        for entry in entries.flatten() {
            let name = entry.file_name().to_string_lossy().into_owned();
            if let Some(about) = entry.metadata().ok().filter(|a| a.is_file() && !name.starts_with('.')) {
                out.push((name, about.len(), about.modified().ok()));
            }
        }
    }
    out.sort();
    out
}
