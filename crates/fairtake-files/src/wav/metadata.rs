//! What a WAVE file tells besides its samples: `bext`, track names from iXML, cue markers with their labels.

use super::header::{Medium, system, u16_at, u32_at, u64_at};
use crate::error::AudioProblem;

/// No more than this is read of a chunk of text or markers.
const MOST_BYTES: u64 = 4 << 20;

/// What the file tells.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Metadata {
    /// Broadcast extension.
    pub bext: Option<Bext>,
    /// Track names by channel, counted from 1, in the order of the file.
    pub track_names: Vec<(u16, String)>,
    /// Cue markers in order of time.
    pub cue_markers: Vec<CueMarker>,
}

/// The fields of `bext` that matter here (EBU Tech 3285).
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Bext {
    /// Description, at most 256 bytes.
    pub description: String,
    /// Originator, at most 32 bytes.
    pub originator: String,
    /// yyyy-mm-dd.
    pub date: String,
    /// hh:mm:ss.
    pub time: String,
    /// Frames since midnight.
    pub time_reference_frames: u64,
    /// Version of the chunk.
    pub version: u16,
}

/// A mark at a frame.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CueMarker {
    /// Number in the file, joins marker and label.
    pub id: u32,
    /// Frame, counted from 0.
    pub frame: u64,
    /// Its text, empty where there is none.
    pub label: String,
}

pub(super) fn read_chunk<M: Medium + ?Sized>(
    into: &mut Metadata,
    id: &[u8; 4],
    medium: &M,
    body: u64,
    held: u64,
) -> Result<(), AudioProblem> {
    if !matches!(id, b"bext" | b"iXML" | b"cue " | b"LIST") {
        return Ok(());
    }
    let n_bytes = usize::try_from(held.min(MOST_BYTES)).unwrap_or(0);
    let mut bytes = vec![0u8; n_bytes];
    medium.read_exactly(body, &mut bytes).map_err(system)?;
    match id {
        b"bext" if n_bytes >= 348 => into.bext = Some(bext(&bytes)),
        b"iXML" => into.track_names = track_names(&String::from_utf8_lossy(&bytes)),
        b"cue " => cue(into, &bytes),
        b"LIST" if bytes.starts_with(b"adtl") => labels(into, &bytes[4..]),
        _ => {}
    }
    into.cue_markers.sort_by_key(|m| (m.frame, m.id));
    Ok(())
}

fn text(bytes: &[u8]) -> String {
    let end = bytes.iter().position(|b| *b == 0).unwrap_or(bytes.len());
    String::from_utf8_lossy(&bytes[..end]).trim().to_string()
}

fn bext(b: &[u8]) -> Bext {
    Bext {
        description: text(&b[..256]),
        originator: text(&b[256..288]),
        date: text(&b[320..330]),
        time: text(&b[330..338]),
        time_reference_frames: u64_at(b, 338),
        version: u16_at(b, 346),
    }
}

fn cue(into: &mut Metadata, b: &[u8]) {
    // Labels that came first wait in `labelled_before` under frame u64::MAX.
    for point in b.get(4..).unwrap_or_default().chunks_exact(24) {
        let (id, frame) = (u32_at(point, 0), u64::from(u32_at(point, 20)));
        match into.cue_markers.iter_mut().find(|m| m.id == id && m.frame == u64::MAX) {
            Some(waiting) => waiting.frame = frame,
            None => into.cue_markers.push(CueMarker { id, frame, label: String::new() }),
        }
        if into.cue_markers.len() >= MOST_MARKERS {
            break;
        }
    }
}

/// Markers are searched for their labels one by one, so their number is bounded.
const MOST_MARKERS: usize = 10_000;

fn labels(into: &mut Metadata, mut rest: &[u8]) {
    while rest.len() >= 12 && into.cue_markers.len() < MOST_MARKERS {
        let n_bytes = u32_at(rest, 4) as usize;
        let Some(body) = rest[8..].get(..n_bytes) else { return };
        if &rest[..4] == b"labl" && n_bytes >= 4 {
            let (id, label) = (u32_at(body, 0), text(&body[4..]));
            match into.cue_markers.iter_mut().find(|m| m.id == id) {
                Some(marker) => marker.label = label,
                None => into.cue_markers.push(CueMarker { id, frame: u64::MAX, label }),
            }
        }
        rest = rest.get(8 + n_bytes + n_bytes % 2..).unwrap_or_default();
    }
}

fn track_names(xml: &str) -> Vec<(u16, String)> {
    let mut names = Vec::new();
    for track in xml.split("<TRACK>").skip(1) {
        let track = track.split("</TRACK>").next().unwrap_or_default();
        let idx = element(track, "INTERLEAVE_INDEX").or_else(|| element(track, "CHANNEL_INDEX"));
        let channel = idx.and_then(|i| i.trim().parse::<u16>().ok()).filter(|c| *c > 0);
        if let (Some(channel), Some(name)) = (channel, element(track, "NAME")) {
            names.push((channel, name));
        }
    }
    names
}

fn element(xml: &str, name: &str) -> Option<String> {
    let (_, after) = xml.split_once(&format!("<{name}>"))?;
    let (inside, _) = after.split_once(&format!("</{name}>"))?;
    let plain = inside.replace("&lt;", "<").replace("&gt;", ">").replace("&quot;", "\"");
    Some(plain.replace("&apos;", "'").replace("&amp;", "&").trim().to_string())
}
