//! What is heard: clips of the same moments, the difference of two, a difference imposed. All as WAV with 32-bit float.

use crate::ask::Query;
use crate::desk::{Desk, Now};
use crate::route::blocking;
use crate::trouble::Trouble;
use crate::views::bridged;
use axum::extract::State;
use axum::http::{HeaderName, header};
use axum::response::IntoResponse;
use fairtake_audition::{
    By, Clip, Extent, Moment, Part, PlaybackGain, Side, clip, corrected, correction_filter, difference,
    gains_db, imposed, moments,
};
use fairtake_bridge::USUAL_LIMITS;
use fairtake_compare::{ComparisonFindings, Findings, Take};
use fairtake_files::wav::clip_bytes;
use serde::{Deserialize, Serialize};
use std::sync::Arc;

/// What of a source is asked for.
#[derive(Debug, Deserialize)]
pub(crate) struct Asked {
    source: String,
    #[serde(default)]
    moment: usize,
    mic: Option<String>,
    reference: Option<String>,
    against: Option<String>,
    from_hz: Option<f64>,
    to_hz: Option<f64>,
    /// By which filter of the pair's bridge the reference is corrected.
    by: Option<By>,
}

/// What can be listened to on a source.
pub(crate) struct Audition {
    pub found: Arc<Findings>,
    pub moments: Vec<Moment>,
    pub gains: Vec<PlaybackGain>,
}

/// Moments and gains of a source, by the comparisons with its first microphone.
pub(crate) fn audition(desk: &Desk, now: &Now, source: &str) -> Result<Audition, Trouble> {
    let found = desk.compare(now, &desk.settings(now), &Desk::asked(Some(source.into()), None))?;
    let measures = &desk.checked(now)?.measures;
    let moments = moments(&now.loaded.takes, measures, &found, source)?;
    let mics: Vec<String> = moments[0].parts.iter().map(|p| p.mic.clone()).collect();
    let gains = gains_db(&found, source, &mics)?;
    Ok(Audition { found, moments, gains })
}

impl Audition {
    fn part(&self, moment: usize, mic: &str) -> Result<(&Part, f64), Trouble> {
        let moment = self.moments.get(moment).ok_or_else(|| Trouble::missing("there is no such moment"))?;
        let part = moment.parts.iter().find(|p| p.mic == mic);
        let gain = self.gains.iter().find(|g| g.mic == mic);
        part.zip(gain.map(|g| g.gain_db)).ok_or_else(|| Trouble::missing(format!("{mic} is not heard here")))
    }

    fn clip(&self, now: &Now, moment: usize, mic: &str) -> Result<Clip, Trouble> {
        let (part, gain_db) = self.part(moment, mic)?;
        Ok(clip(take(now, &part.take)?, part.stretch, gain_db)?)
    }

    /// Of every microphone.
    fn clips(&self, now: &Now, moment: usize) -> Result<Vec<Clip>, Trouble> {
        self.gains.iter().map(|g| self.clip(now, moment, &g.mic)).collect()
    }
}

fn take<'n>(now: &'n Now, id: &str) -> Result<&'n Take, Trouble> {
    let missing = || Trouble::missing(format!("{id} is not at hand any more"));
    now.loaded.takes.iter().find(|t| t.id == id).ok_or_else(missing)
}

/// What the page must know of a clip beside its samples.
#[derive(Debug, Default, Serialize)]
struct About {
    /// By how much every other clip is to be turned down beside this one, in dB.
    trim_db: f64,
    /// What is to be said of it.
    remarks: Vec<String>,
}

fn answer(clip: &Clip, about: &About) -> impl IntoResponse + use<> {
    // Names may hold any letter, a header may not.
    let about = serde_json::to_string(about).unwrap_or_default();
    let plain: String = about.chars().map(|c| if c.is_ascii() { c } else { '?' }).collect();
    (
        [(header::CONTENT_TYPE, "audio/wav".to_string()), (HeaderName::from_static("x-about"), plain)],
        clip_bytes(clip.rate_hz, &clip.samples),
    )
}

/// `GET /listen/clip`: one microphone in one moment, turned down to the match.
pub(crate) async fn one(
    State(desk): State<Desk>,
    Query(asked): Query<Asked>,
) -> Result<impl IntoResponse, Trouble> {
    blocking(move || {
        let now = desk.now()?;
        let audition = audition(&desk, &now, &asked.source)?;
        let mic = asked.mic.as_deref().unwrap_or_default();
        Ok(answer(&audition.clip(&now, asked.moment, mic)?, &About::default()))
    })
    .await
}

/// `GET /listen/difference`: *against* minus the reference, for takes recorded together.
pub(crate) async fn left(
    State(desk): State<Desk>,
    Query(asked): Query<Asked>,
) -> Result<impl IntoResponse, Trouble> {
    blocking(move || {
        let now = desk.now()?;
        let audition = audition(&desk, &now, &asked.source)?;
        let (a, b) = pair(&asked)?;
        let one = compared(&desk, &now, &asked.source, a, b)?;
        let side = |mic: &str| -> Result<Side<'_>, Trouble> {
            let (part, gain_db) = audition.part(asked.moment, mic)?;
            Ok(Side { take: take(&now, &part.take)?, stretch: part.stretch, gain_db })
        };
        let reference = side(a)?;
        let filter = match asked.by {
            Some(by) => {
                Some(filter(&desk, &now, (&asked.source, a, b), by, reference.take.samples.rate_hz())?)
            }
            None => None,
        };
        let found = difference(reference, side(b)?, &one, filter.as_deref())?;
        let left = match found.left_db {
            Some(db) => format!("what is left holds {} dB of the energy", fairtake_report::words::signed(db)),
            None => "nothing is left".to_string(),
        };
        Ok(answer(&found.clip, &About { trim_db: 0.0, remarks: vec![left] }))
    })
    .await
}

/// `GET /listen/imposed`: the reference with the found difference imposed, all of it or one region.
pub(crate) async fn with_difference(
    State(desk): State<Desk>,
    Query(asked): Query<Asked>,
) -> Result<impl IntoResponse, Trouble> {
    blocking(move || {
        let now = desk.now()?;
        let audition = audition(&desk, &now, &asked.source)?;
        let (a, b) = pair(&asked)?;
        let one = compared(&desk, &now, &asked.source, a, b)?;
        let comparison: &ComparisonFindings = &one.comparisons[0];
        let reference = audition.clip(&now, asked.moment, a)?;
        let heard = audition.clips(&now, asked.moment)?;
        let extent = match (asked.from_hz, asked.to_hz) {
            (Some(from_hz), Some(to_hz)) if 0.0 < from_hz && from_hz < to_hz && to_hz.is_finite() => {
                Extent::Region { from_hz, to_hz }
            }
            (None, None) => Extent::Everywhere,
            _ => {
                return Err(Trouble::bad(
                    "that is no region of the spectrum",
                    "choose one that the page offers",
                ));
            }
        };
        let made = imposed(&reference, &heard, comparison, extent)?;
        Ok(answer(&made.clip, &About { trim_db: made.trim_db, remarks: made.remarks }))
    })
    .await
}

/// `GET /listen/corrected`: the reference through a filter of the bridge that carries it to *against*.
pub(crate) async fn with_correction(
    State(desk): State<Desk>,
    Query(asked): Query<Asked>,
) -> Result<impl IntoResponse, Trouble> {
    blocking(move || {
        let now = desk.now()?;
        let audition = audition(&desk, &now, &asked.source)?;
        let (a, b) = pair(&asked)?;
        let by =
            asked.by.ok_or_else(|| Trouble::bad("a filter is needed", "choose one that the page offers"))?;
        let bridged = bridged(&desk, &now, (&asked.source, a, b), USUAL_LIMITS)?;
        let reference = audition.clip(&now, asked.moment, a)?;
        let heard = audition.clips(&now, asked.moment)?;
        let made = corrected(&reference, &heard, &bridged.bridge, by).ok_or_else(nothing_known)?;
        Ok(answer(&made.clip, &About { trim_db: made.trim_db, remarks: made.remarks }))
    })
    .await
}

/// Impulse response of a filter of a pair's bridge.
fn filter(
    desk: &Desk,
    now: &Now,
    pair: (&str, &str, &str),
    by: By,
    rate_hz: u32,
) -> Result<Vec<f64>, Trouble> {
    let bridged = bridged(desk, now, pair, USUAL_LIMITS)?;
    correction_filter(&bridged.bridge, by, rate_hz).ok_or_else(nothing_known)
}

fn nothing_known() -> Trouble {
    Trouble::bad("no difference is known that could be corrected", "record more of both microphones")
}

fn pair(asked: &Asked) -> Result<(&str, &str), Trouble> {
    let both = asked.reference.as_deref().zip(asked.against.as_deref());
    both.ok_or_else(|| Trouble::bad("two microphones are needed", "choose both"))
}

fn compared(desk: &Desk, now: &Now, source: &str, a: &str, b: &str) -> Result<Arc<Findings>, Trouble> {
    let asked = Desk::asked(Some(source.into()), Some((a.into(), b.into())));
    desk.compare(now, &desk.settings(now), &asked)
}
