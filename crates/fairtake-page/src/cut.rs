//! One long recording in which microphones were changed: its parts are shown first, and cut only when told.

use crate::ask::Sent;
use crate::desk::Desk;
use crate::route::blocking;
use crate::take_in::inside;
use crate::trouble::Trouble;
use axum::Json;
use axum::extract::State;
use fairtake_files::{AudioFile, CutAt, GapSettings, PlanError, Planned, Wanted, by_parts, take_in};
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};
use std::path::Path;

/// What is to be cut, and where.
#[derive(Debug, Deserialize)]
pub(crate) struct Asked {
    file: String,
    source: String,
    at: At,
    /// One microphone per part; empty while the parts are looked at.
    #[serde(default)]
    mics: Vec<String>,
}

/// Where it is cut.
#[derive(Debug, Deserialize)]
#[serde(rename_all = "snake_case", tag = "by")]
enum At {
    /// Quiet for so long, below a peak.
    Gaps { gap_s: f64, quiet_dbfs: f64 },
    /// Where the recorder left markers.
    Markers,
    /// Where a typed list says.
    List { text: String },
}

/// One part as it would be.
#[derive(Debug, Serialize)]
struct Part {
    from: String,
    to: String,
    placement: u32,
    /// What the marker or the list calls it.
    mic: String,
}

/// `POST /takes/parts`: shows the parts; writes nothing.
pub(crate) async fn parts(
    State(desk): State<Desk>,
    Sent(asked): Sent<Asked>,
) -> Result<Json<Value>, Trouble> {
    blocking(move || {
        let (audio, planned) = planned(&desk, &asked)?;
        let seconds = |frame: u64| format!("{:.1} s", frame as f64 / f64::from(audio.rate_hz()));
        let parts: Vec<Part> = planned
            .iter()
            .filter_map(|p| {
                let (from, to) = p.part?;
                let (placement, mic) = (p.entry.placement, p.entry.mic.clone());
                Some(Part { from: seconds(from), to: seconds(to), placement, mic })
            })
            .collect();
        Ok(json!({ "parts": parts }))
    })
    .await
    .map(Json)
}

/// `POST /takes/cut`: cuts and enters the parts in the log, all or none.
pub(crate) async fn cut(State(desk): State<Desk>, Sent(asked): Sent<Asked>) -> Result<Json<Value>, Trouble> {
    blocking(move || {
        if asked.mics.is_empty() {
            return Err(Trouble::bad("no microphones are named", "choose one for every part"));
        }
        let (audio, planned) = planned(&desk, &asked)?;
        let path = inside(&desk, &asked.file)?;
        if std::fs::symlink_metadata(desk.path().join("takes")).is_ok() {
            inside(&desk, "takes")?;
        }
        desk.with_log(|log| take_in(desk.path(), &path, &audio, &planned, log).map_err(of_plan))?;
        Ok(json!({ "n_parts": planned.len() }))
    })
    .await
    .map(Json)
}

fn planned(desk: &Desk, asked: &Asked) -> Result<(AudioFile, Vec<Planned>), Trouble> {
    let audio = AudioFile::open(&inside(desk, &asked.file)?)?;
    let at = match &asked.at {
        At::Gaps { gap_s, quiet_dbfs } => {
            if !(0.1..=600.0).contains(gap_s) || !(-120.0..=0.0).contains(quiet_dbfs) {
                let hint = "a gap lasts 0.1 to 600 s, and quiet is −120 to 0 dBFS";
                return Err(Trouble::bad("these cannot be gaps", hint));
            }
            let quiet_peak = 10f64.powf(quiet_dbfs / 20.0) as f32;
            CutAt::Gaps(GapSettings { quiet_peak, gap_s: *gap_s })
        }
        At::Markers => CutAt::Markers,
        At::List { text } => CutAt::List(text.clone()),
    };
    let wanted = Wanted { source: asked.source.clone(), mics: asked.mics.clone(), ..Wanted::default() };
    let stem = Path::new(&asked.file).file_stem().map(|s| s.to_string_lossy().into_owned());
    let log = desk.folder().log()?;
    let planned = by_parts(&wanted, &stem.unwrap_or_default(), &at, &audio, &log).map_err(of_plan)?;
    Ok((audio, planned))
}

fn of_plan(e: PlanError) -> Trouble {
    match e {
        PlanError::Audio(e) => e.into(),
        PlanError::Log(e) => e.into(),
        PlanError::NoCuts => {
            Trouble::bad(&e, "try a shorter gap or a higher level, or type where each part begins")
        }
        PlanError::Parts { .. } => {
            Trouble::bad(&e, "show the parts again, and choose one microphone for each")
        }
        e => Trouble::bad(&e, e.hint()),
    }
}
