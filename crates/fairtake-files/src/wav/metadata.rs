//! What a WAVE file tells besides its samples: `bext`, track names from iXML, cue markers with their labels.

use super::header::{Medium, system, u16_at, u32_at, u64_at};
use crate::error::AudioProblem;
use std::collections::HashMap;

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

/// More markers than an evening needs; a file that claims so many is not taken.
const MOST_MARKERS: usize = 100_000;

/// What was met so far: markers and labels come in any order and are joined at the end.
#[derive(Debug, Default)]
pub(super) struct Gathered {
    bext: Option<Bext>,
    track_names: Vec<(u16, String)>,
    /// Number and frame.
    points: Vec<(u32, u64)>,
    labels: HashMap<u32, String>,
}

impl Gathered {
    /// Takes a chunk in if it is of a kind that is read.
    pub(super) fn read_chunk<M: Medium + ?Sized>(
        &mut self,
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
            b"bext" if n_bytes >= 348 => self.bext = Some(bext(&bytes)),
            b"iXML" => self.track_names = track_names(&String::from_utf8_lossy(&bytes)),
            b"cue " => {
                let points = bytes.get(4..).unwrap_or_default().chunks_exact(24);
                self.points.extend(points.map(|p| (u32_at(p, 0), u64::from(u32_at(p, 20)))));
            }
            b"LIST" if bytes.starts_with(b"adtl") => labels(&mut self.labels, &bytes[4..]),
            _ => {}
        }
        if self.points.len().max(self.labels.len()) > MOST_MARKERS {
            return Err(AudioProblem::Header(format!("more than {MOST_MARKERS} cue markers")));
        }
        Ok(())
    }

    /// Markers with their labels, in order of time.
    pub(super) fn finish(self) -> Metadata {
        let label = |id: &u32| self.labels.get(id).cloned().unwrap_or_default();
        let marker = |(id, frame): &(u32, u64)| CueMarker { id: *id, frame: *frame, label: label(id) };
        let mut cue_markers: Vec<CueMarker> = self.points.iter().map(marker).collect();
        cue_markers.sort_by_key(|m| (m.frame, m.id));
        Metadata { bext: self.bext, track_names: self.track_names, cue_markers }
    }
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

fn labels(into: &mut HashMap<u32, String>, mut rest: &[u8]) {
    while rest.len() >= 12 {
        let n_bytes = u32_at(rest, 4) as usize;
        let Some(body) = rest[8..].get(..n_bytes) else { return };
        if &rest[..4] == b"labl" && n_bytes >= 4 {
            into.insert(u32_at(body, 0), text(&body[4..]));
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
