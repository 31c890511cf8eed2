//! The whole write-up from the page: how large it would be, making it, and its files.

use crate::ask::Sent;
use crate::desk::{Desk, Now};
use crate::route::blocking;
use crate::take_in::inside;
use crate::trouble::Trouble;
use axum::Json;
use axum::body::Body;
use axum::extract::{Path, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use fairtake_audition::{EXCERPT_S, Excerpt};
use fairtake_bridge::Bridge;
use fairtake_calibrated::Measurements;
use fairtake_compare::PairDistance;
use fairtake_files::wav::Replace;
use fairtake_files::{MANIFEST, listed};
use fairtake_report::Heard;
use fairtake_report::figure::{Decade, Theme};
use fairtake_write_up::{
    Draw, Ffmpeg, Keep, Material, MovingPicture, ReelsWanted, Size, Wanted, moving_plans, write_up,
};
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};
use std::sync::Arc;

/// How the folders of write-ups are called: this, and with a number behind it where there is one already.
const NAME: &str = "write-up";
/// So many of them are looked for.
const MOST_FOLDERS: u32 = 1000;
/// A reel begins no moment beyond this length, in seconds: as the command has it.
const MOST_S: f64 = 120.0;
/// Longest silence between two pieces that can be chosen, in seconds.
pub(crate) const LONGEST_GAP_S: f64 = 10.0;
/// Most moments of a reel that can be chosen.
pub(crate) const MOST_MOMENTS: usize = 50;
/// Frames per second that can be chosen for the moving picture.
pub(crate) const FRAME_RATES: [f64; 2] = [1.0, 60.0];
/// Longest licence in bytes.
const LONGEST_LICENCE: usize = 10_000;

/// What is chosen in the page.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Chosen {
    sizes: Vec<String>,
    colours: Colours,
    transparent: bool,
    decade: Proportion,
    pieces: String,
    gap_s: f64,
    moments: usize,
    blind: bool,
    moving: Option<Kept>,
    moving_size: String,
    frame_rate: f64,
    licence: String,
}

#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(rename_all = "snake_case")]
enum Colours {
    Light,
    Dark,
    Print,
}

/// dB on the level axes that are as long as a decade of frequency (IEC 60263).
#[derive(Debug, Clone, Copy, Deserialize)]
enum Proportion {
    #[serde(rename = "fits")]
    Fits,
    #[serde(rename = "25")]
    Db25,
    #[serde(rename = "50")]
    Db50,
}

#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(rename_all = "snake_case")]
enum Kept {
    Video,
    Frames,
    Both,
}

impl Chosen {
    /// What is wanted of a write-up.
    fn wanted(&self) -> Result<Wanted, Trouble> {
        let choose = "choose what the page offers";
        let theme = match self.colours {
            Colours::Light => Theme::Light,
            Colours::Dark => Theme::Dark,
            Colours::Print => Theme::Print,
        };
        let size = |text: &str| Size::parse(text).map_err(|e| Trouble::bad(format!("{text}: {e}"), choose));
        if self.sizes.is_empty() || self.sizes.len() > 12 {
            return Err(Trouble::bad("one to twelve sizes can be chosen for the pictures", choose));
        }
        let excerpt = match (self.pieces.as_str(), self.pieces.parse::<f64>()) {
            ("passage", _) => Excerpt::Passage,
            ("event", _) => Excerpt::Event,
            (_, Ok(s)) if (EXCERPT_S.0..=EXCERPT_S.1).contains(&s) => Excerpt::Seconds(s),
            _ => return Err(Trouble::bad(format!("a piece cannot hold {}", self.pieces), choose)),
        };
        let [slowest, fastest] = FRAME_RATES;
        for (is_offered, words) in [
            (
                (0.0..=LONGEST_GAP_S).contains(&self.gap_s),
                format!("0 to {LONGEST_GAP_S} s between two pieces"),
            ),
            ((1..=MOST_MOMENTS).contains(&self.moments), format!("1 to {MOST_MOMENTS} moments in a reel")),
            (
                (slowest..=fastest).contains(&self.frame_rate),
                format!("{slowest} to {fastest} frames a second"),
            ),
        ] {
            if !is_offered {
                return Err(Trouble::bad(format!("{words} can be chosen"), choose));
            }
        }
        if self.licence.len() > LONGEST_LICENCE {
            return Err(Trouble::bad("the licence is too long", "name it, or say where it stands"));
        }
        let decade = match self.decade {
            Proportion::Fits => Decade::Fitting,
            Proportion::Db25 => Decade::Db25,
            Proportion::Db50 => Decade::Db50,
        };
        let pictures: Result<Vec<_>, Trouble> =
            self.sizes.iter().map(|s| Ok(size(s)?.picture(theme, self.transparent, decade))).collect();
        let moving_size = size(&self.moving_size)?;
        let moving = self.moving.map(|kept| MovingPicture {
            still: moving_size.picture(theme, self.transparent, decade).still,
            frames_per_second: self.frame_rate,
            keep: match kept {
                Kept::Video => Keep::Video,
                Kept::Frames => Keep::Frames,
                Kept::Both => Keep::Both,
            },
        });
        let blind = if self.blind { Some(draw()?) } else { None };
        let licence = Some(self.licence.trim().to_string()).filter(|l| !l.is_empty());
        let reels =
            ReelsWanted { excerpt, gap_s: self.gap_s, most_moments: self.moments, most_s: MOST_S, blind };
        Ok(Wanted { pictures: pictures?, reels, moving, licence })
    }
}

/// A seed from the system.
fn draw() -> Result<Draw, Trouble> {
    let mut bytes = [0; 8];
    getrandom::fill(&mut bytes)
        .map_err(|e| Trouble::disk(format!("the system gives no random numbers: {e}")))?;
    Ok(Draw { seed: u64::from_le_bytes(bytes) })
}

/// What stands beside the findings in the folder. Sizes need none of it.
#[derive(Default)]
struct BesideThem {
    heard: Vec<Heard>,
    bridges: Vec<Bridge>,
    distances: Vec<PairDistance>,
    measured: Option<Arc<Measurements>>,
}

impl BesideThem {
    fn of(desk: &Desk, now: &Now) -> Result<BesideThem, Trouble> {
        let findings = desk.findings(now)?;
        Ok(BesideThem {
            heard: crate::blind::heard(desk, now)?,
            bridges: desk.bridges(now, &findings)?,
            distances: desk.all_distances(now, &findings)?,
            // What stands in the way of measuring is said on the page Measure; the rest is written.
            measured: (!now.loaded.log.bench.takes.is_empty()).then(|| desk.measurements().ok()).flatten(),
        })
    }
}

/// Findings, takes and measures of the folder as it is.
fn with_material<T>(
    desk: &Desk,
    now: &Now,
    beside: &BesideThem,
    work: impl FnOnce(&Material<'_>) -> Result<T, Trouble>,
) -> Result<T, Trouble> {
    let findings = desk.findings(now)?;
    let checked = desk.checked(now)?;
    work(&Material {
        findings: &findings,
        takes: &now.loaded.takes,
        measures: &checked.measures,
        gone: &[],
        heard: &beside.heard,
        bridges: &beside.bridges,
        distances: &beside.distances,
        measured: beside.measured.as_deref(),
    })
}

/// `POST /write-up/sizes`: how long and large the moving pictures would be; writes nothing.
pub(crate) async fn sizes(
    State(desk): State<Desk>,
    Sent(chosen): Sent<Chosen>,
) -> Result<Json<Value>, Trouble> {
    blocking(move || {
        let wanted = chosen.wanted()?;
        let Some(moving) = &wanted.moving else { return Ok(json!({ "lines": [] })) };
        let now = desk.now()?;
        let plans = with_material(&desk, &now, &BesideThem::default(), |m| {
            Ok(moving_plans(m, &wanted.reels, moving))
        })?;
        let mut lines: Vec<String> =
            plans.into_iter().map(|p| p.map_or_else(|why| why, |plan| plan.words())).collect();
        if moving.keep != Keep::Frames {
            lines.push(match Ffmpeg::find() {
                Ok(_) => "A video takes far less than its frames.".into(),
                Err(why) => format!("No video can be made: {why}. Numbered frames are written in its place."),
            });
        }
        Ok(json!({ "lines": lines }))
    })
    .await
    .map(Json)
}

/// `POST /write-up/everything`: writes everything into a new folder of the shootout, one at a time.
pub(crate) async fn everything(
    State(desk): State<Desk>,
    Sent(chosen): Sent<Chosen>,
) -> Result<Json<Value>, Trouble> {
    blocking(move || {
        let wanted = chosen.wanted()?;
        let Some(_alone) = desk.writes() else {
            let hint = "wait until it is done; the page says how far it has come";
            return Err(Trouble::new(StatusCode::CONFLICT, "a write-up is being made already", hint));
        };
        let now = desk.now()?;
        let name = free_name(&desk)?;
        let target = desk.path().join(&name);
        let written = with_material(&desk, &now, &BesideThem::of(&desk, &now)?, |m| {
            // Kept, so that it can be written up again when takes are gone. That it cannot be kept is no reason not to write.
            let _ = desk.keep(&now, m.findings);
            let mut tell = |p: fairtake_write_up::Progress| {
                desk.tell_writing(format!("{} of {}: {}", p.n, p.of, p.what));
            };
            write_up(m, &wanted, &target, Replace::Never, &mut tell)
                .map_err(|e| Trouble::new(StatusCode::INSUFFICIENT_STORAGE, &e, e.hint()))
        })?;
        let mut remarks = written.remarks;
        remarks.extend(
            now.loaded
                .not_opened
                .iter()
                .map(|(entry, e)| format!("{} is not part of it: {}", entry.file, e.problem)),
        );
        desk.tell();
        Ok(json!({ "folder": name, "n_files": written.files.len(), "remarks": remarks }))
    })
    .await
    .map(Json)
}

/// A name under which there is nothing yet.
pub(crate) fn free_name(desk: &Desk) -> Result<String, Trouble> {
    let numbered = (2..MOST_FOLDERS).map(|n| format!("{NAME}-{n}"));
    let free = |name: &String| std::fs::symlink_metadata(desk.path().join(name)).is_err();
    std::iter::once(NAME.to_string())
        .chain(numbered)
        .find(free)
        .ok_or_else(|| Trouble::disk(format!("there are {MOST_FOLDERS} write-ups already")))
}

/// A write-up that is in the folder.
#[derive(Debug, Serialize)]
pub(crate) struct Folder {
    pub name: String,
    /// Files by name, with their size in bytes.
    pub files: Vec<(String, u64)>,
}

/// The write-ups of the folder, the newest first.
pub(crate) fn folders(desk: &Desk) -> Vec<Folder> {
    let number = |name: &str| match name.strip_prefix(NAME) {
        Some("") => Some(1),
        Some(rest) => rest.strip_prefix('-')?.parse::<u32>().ok(),
        None => None,
    };
    let entries = std::fs::read_dir(desk.path()).into_iter().flatten().flatten();
    let names = entries.filter_map(|e| e.file_name().into_string().ok());
    let mut found: Vec<(u32, Folder)> = names
        .filter_map(|name| {
            let files = listed(&desk.path().join(&name))?;
            Some((number(&name)?, Folder { name, files }))
        })
        .collect();
    found.sort_by_key(|(number, _)| std::cmp::Reverse(*number));
    found.into_iter().map(|(_, folder)| folder).collect()
}

/// `GET /written/FOLDER/FILE`: a file that a manifest lists, or the manifest.
pub(crate) async fn file(State(desk): State<Desk>, Path(path): Path<String>) -> Result<Response, Trouble> {
    let missing = || Trouble::missing(format!("{path} is in no write-up"));
    let (folder, name) = path.split_once('/').ok_or_else(missing)?;
    let (folder, name) = (folder.to_string(), name.to_string());
    let kind = kind_of(&name);
    let bytes = blocking(move || {
        let missing = || Trouble::missing(format!("{name} is not in {folder}"));
        let known = folders(&desk).into_iter().find(|f| f.name == folder).ok_or_else(missing)?;
        if name != MANIFEST && !known.files.iter().any(|(n, _)| *n == name) {
            return Err(missing());
        }
        let path = inside(&desk, &format!("{folder}/{name}"))?;
        std::fs::read(&path).map_err(|e| Trouble::missing(format!("{name}: {e}")))
    })
    .await?;
    Ok(([(header::CONTENT_TYPE, kind)], Body::from(bytes)).into_response())
}

fn kind_of(name: &str) -> &'static str {
    match name.rsplit('.').next().unwrap_or_default() {
        "html" => "text/html; charset=utf-8",
        "pdf" => "application/pdf",
        "png" => "image/png",
        "svg" => "image/svg+xml",
        "wav" => "audio/wav",
        "mp4" => "video/mp4",
        "webm" => "video/webm",
        "vtt" => "text/vtt; charset=utf-8",
        "json" => "application/json",
        "csv" => "text/csv; charset=utf-8",
        _ => "text/plain; charset=utf-8",
    }
}
