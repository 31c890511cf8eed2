//! A presentation as bytes: rendered anew with a dither of its own, served whole or in ranges.

use super::hall::{Hall, Live};
use crate::route::blocking;
use crate::trouble::Trouble;
use axum::extract::{Path, State};
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use fairtake_files::wav::dithered_bytes;
use sha2::{Digest, Sha256};
use std::collections::BTreeSet;

/// Never changes under its name, and is nobody else's.
const KEEP: &str = "private, max-age=31536000, immutable";

/// `GET /s/{sitting}/sound/{name}`
pub(super) async fn sound(
    State(hall): State<Hall>,
    Path((sitting, name)): Path<(String, String)>,
    headers: HeaderMap,
) -> Result<Response, Trouble> {
    hall.may_ask(&sitting)?;
    let missing = || Trouble::missing("there is no such sound");
    let name = name.strip_suffix(".wav").ok_or_else(missing)?.to_string();
    let (test, excerpt, together, seed) = {
        let held = hall.live(&sitting).await?;
        let live = held.lock().await;
        let (excerpt, together) = presented(&live, &name).ok_or_else(missing)?;
        (live.test.id.clone(), excerpt, together, seed(&live.sitting.key().nonce, &name))
    };
    let bytes = blocking(move || {
        // All of the trial are at hand before any is answered: else an unknown that is at hand already, as the one that was
        // just played, would come sooner than one that is not.
        let held = together.into_iter().map(|number| Ok((number, hall.excerpt(&test, number)?)));
        let held = held.collect::<Result<Vec<_>, Trouble>>()?;
        let found = held.into_iter().find(|(number, _)| *number == excerpt).map(|(_, e)| e);
        let excerpt = found.ok_or_else(missing)?;
        Ok(dithered_bytes(excerpt.rate_hz, &excerpt.samples, seed))
    })
    .await?;
    Ok(ranged(bytes, &headers))
}

/// Which excerpt has this name, among those presented so far, and all that its trial presents, in the order of their numbers.
fn presented(live: &Live, name: &str) -> Option<(usize, BTreeSet<usize>)> {
    let trials = &live.sitting.key().trials;
    let n = live.sitting.awaited().map_or(trials.len(), |awaited| awaited + 1);
    let of = trials[..n].iter().find(|t| t.slots.iter().any(|s| s.name == name))?;
    let own = of.slots.iter().find(|s| s.name == name)?;
    Some((own.excerpt, of.slots.iter().map(|s| s.excerpt).collect()))
}

/// What the dither is drawn from: nobody knows it who does not know the nonce.
fn seed(nonce: &str, name: &str) -> [u8; 32] {
    Sha256::digest(format!("dither {nonce} {name}").as_bytes()).into()
}

/// The bytes, or the range of them that is asked for.
fn ranged(bytes: Vec<u8>, headers: &HeaderMap) -> Response {
    let n = bytes.len();
    let asked = headers.get(header::RANGE).and_then(|v| v.to_str().ok());
    let head = |part: Option<String>| {
        let mut out = HeaderMap::new();
        out.insert(header::CONTENT_TYPE, HeaderValue::from_static("audio/wav"));
        out.insert(header::CACHE_CONTROL, HeaderValue::from_static(KEEP));
        out.insert(header::ACCEPT_RANGES, HeaderValue::from_static("bytes"));
        if let Some(part) = part.and_then(|p| HeaderValue::from_str(&p).ok()) {
            out.insert(header::CONTENT_RANGE, part);
        }
        out
    };
    match asked.map(|asked| range_of(asked, n)) {
        // Several ranges, or another unit, may be answered with the whole (RFC 9110, 14.2).
        None | Some(Range::Whole) => (head(None), bytes).into_response(),
        Some(Range::Part(from, to)) => {
            let part = head(Some(format!("bytes {from}-{}/{n}", to - 1)));
            (StatusCode::PARTIAL_CONTENT, part, bytes[from..to].to_vec()).into_response()
        }
        Some(Range::Beyond) => {
            (StatusCode::RANGE_NOT_SATISFIABLE, head(Some(format!("bytes */{n}")))).into_response()
        }
    }
}

#[derive(Debug, PartialEq)]
enum Range {
    Whole,
    /// From a byte up to another, which is not in it.
    Part(usize, usize),
    Beyond,
}

fn range_of(asked: &str, n: usize) -> Range {
    let Some((first, last)) = asked.strip_prefix("bytes=").and_then(|r| r.split_once('-')) else {
        return Range::Whole;
    };
    match (first.trim().parse::<usize>(), last.trim().parse::<usize>()) {
        (Ok(first), _) if first >= n => Range::Beyond,
        (Ok(first), Ok(last)) if last >= first => Range::Part(first, last.saturating_add(1).min(n)),
        (Ok(first), Err(_)) if last.trim().is_empty() => Range::Part(first, n),
        (Err(_), Ok(0)) if first.trim().is_empty() => Range::Beyond,
        (Err(_), Ok(last)) if first.trim().is_empty() => Range::Part(n.saturating_sub(last), n),
        _ => Range::Whole,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ranges_are_read_as_the_standard_says() {
        for (asked, found) in [
            ("bytes=0-99", Range::Part(0, 100)),
            ("bytes=900-", Range::Part(900, 1000)),
            ("bytes=990-5000", Range::Part(990, 1000)),
            ("bytes=-10", Range::Part(990, 1000)),
            ("bytes=-5000", Range::Part(0, 1000)),
            ("bytes=1000-", Range::Beyond),
            ("bytes=-0", Range::Beyond),
            ("bytes=5-2", Range::Whole),
            ("bytes=0-1,5-6", Range::Whole),
            ("frames=0-1", Range::Whole),
        ] {
            assert_eq!(range_of(asked, 1000), found, "{asked}");
        }
    }
}
