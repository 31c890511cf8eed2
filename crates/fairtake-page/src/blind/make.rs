//! Makes a test of what is in the folder: excerpts cut and checked as they will be heard, codes drawn, all kept.

use super::hall::{now_s, random, token};
use crate::desk::{Desk, Now};
use crate::trouble::Trouble;
use crate::views::bridged;
use fairtake_audition::{
    By, Condition, Contestant, Excerpts, WantedExcerpts, correction_filter, equal_excerpts,
    event_loudness_lufs,
};
use fairtake_bridge::{Corrected, USUAL_LIMITS, corrected_pair, mic_name};
use fairtake_compare::Shootout;
use fairtake_files::wav::{decode_channel, dithered_bytes, read_layout};
use fairtake_files::{NewTest, Rendered, Write};
use fairtake_listen::{Asked, Kind, Plan, PlanTrouble};
use serde::{Deserialize, Serialize};

/// Excerpts of one test are as loud as each other to this, in LU.
const EQUAL_LU: f64 = 0.1;
/// Codes given out at once.
const MOST_CODES: u32 = 500;
/// Excerpts of each pass.
const MOST_PER_PASS: usize = 8;
/// Letters and digits that are not mistaken for each other.
const LETTERS: &[u8; 31] = b"ABCDEFGHJKLMNPQRSTUVWXYZ2345679";

/// A test as the page asks for it.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Wanted {
    pub source: String,
    pub kind: Kind,
    pub mics: Vec<String>,
    pub n_trials: u32,
    #[serde(default)]
    pub n_control: u32,
    #[serde(default)]
    pub n_catch: u32,
    /// It may end early, by looks after every fourth trial from the eighth on.
    #[serde(default)]
    pub may_end_early: bool,
    pub seconds: f64,
    #[serde(default)]
    pub equal_spectrum: bool,
    #[serde(default)]
    pub title: String,
    #[serde(default)]
    pub n_codes: u32,
    /// Sittings that there will be.
    #[serde(default)]
    pub n_sittings: Option<u32>,
}

/// What is said of a test's excerpts, as checked on what is played.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct About {
    pub rate_hz: u32,
    pub bits: u32,
    pub seconds: f64,
    pub n_excerpts: usize,
    /// Event loudness of the softest and the loudest, read back from the rendered bytes.
    pub loudness_lufs: [f64; 2],
    /// Largest difference in LU.
    pub spread_lu: f64,
    pub equal_spectrum: bool,
    pub remarks: Vec<String>,
}

/// What was made.
#[derive(Debug, Serialize)]
pub(super) struct Made {
    pub id: String,
    pub address: String,
    /// Shown this once; only their hashes are kept.
    pub codes: Vec<String>,
}

pub(super) fn make(desk: &Desk, wanted: &Wanted) -> Result<Made, Trouble> {
    if wanted.title.chars().count() > 120 {
        return Err(Trouble::bad("a title of more than 120 characters", "type a shorter one"));
    }
    let codes = new_codes(wanted.n_codes)?;
    let now = desk.now()?;
    let (cut, corrected) = cut(desk, &now, wanted)?;
    let look_after = if wanted.may_end_early {
        (2..).map(|k| 4 * k).take_while(|n| *n < wanted.n_trials).collect()
    } else {
        Vec::new()
    };
    let asked = Asked {
        kind: wanted.kind,
        mics: wanted.mics.clone(),
        n_trials: wanted.n_trials,
        n_control: wanted.n_control,
        n_catch: wanted.n_catch,
        look_after,
        n_sittings: wanted.n_sittings,
    };
    let log = &now.loaded.log.shootout;
    let named = |e: PlanTrouble| Trouble::bad(e.said(&|mic| mic_name(log, mic)), e.hint);
    let plan = Plan::new(asked, cut.material.clone()).map_err(named)?;
    let rendered: Vec<Rendered> =
        cut.clips.into_iter().map(|c| Rendered { rate_hz: c.rate_hz, samples: c.samples }).collect();
    let about = checked(&rendered, &cut.about, wanted.equal_spectrum)?;
    let title = match wanted.title.trim() {
        "" => crate::views::source_name(log, &wanted.source),
        title => title.to_string(),
    };
    let id = token()?;
    let test = NewTest {
        id: id.clone(),
        made_s: now_s(),
        title,
        plan,
        about: serde_json::to_string(&about).unwrap_or_default(),
        corrected,
        excerpts: rendered,
        codes: codes.clone(),
    };
    desk.hall().store()?.write_and_wait(Write::Test(Box::new(test)))?;
    Ok(Made { address: format!("/t/{id}"), id, codes })
}

/// Excerpts, and how the equalisers among their microphones are set.
fn cut(desk: &Desk, now: &Now, wanted: &Wanted) -> Result<(Excerpts, Vec<Corrected>), Trouble> {
    let log = &now.loaded.log.shootout;
    let (mics, corrected): (Vec<String>, Vec<String>) =
        wanted.mics.iter().cloned().partition(|key| corrected_pair(log, key).is_none());
    for key in &corrected {
        beside(log, key, &mics)?;
    }
    if wanted.equal_spectrum && !corrected.is_empty() {
        let what = "spectra are made equal between two microphones, not with one that has an equaliser";
        return Err(Trouble::bad(what, "leave one of the two out"));
    }
    let mut played = mics.clone();
    for (from, _) in corrected.iter().filter_map(|key| corrected_pair(log, key)) {
        if !played.iter().any(|mic| mic == from) {
            played.push(from.to_string());
        }
    }
    let pair = match played.as_slice() {
        [one, other] => Some((one.clone(), other.clone())),
        _ => None,
    };
    let contestants = corrected.iter().map(|key| contestant(desk, now, &wanted.source, key));
    let (contestants, settings) = contestants.collect::<Result<Vec<_>, _>>()?.into_iter().unzip();
    let asked = Desk::asked(Some(wanted.source.clone()), pair);
    let found = desk.compare(now, &desk.settings(now), &asked)?;
    let checked = desk.checked(now)?;
    let condition = if wanted.equal_spectrum { Condition::EqualSpectrum } else { Condition::AsRecorded };
    let of = WantedExcerpts {
        mics,
        contestants,
        seconds: wanted.seconds,
        most_per_pass: MOST_PER_PASS,
        condition,
    };
    Ok((equal_excerpts(&now.loaded.takes, &checked.measures, &found, &wanted.source, &of)?, settings))
}

/// A microphone with an equaliser says something beside the one that it becomes like, or the one that it is.
fn beside(log: &Shootout, key: &str, mics: &[String]) -> Result<(), Trouble> {
    let (from, to) = corrected_pair(log, key).unwrap_or_default();
    if [from, to].iter().any(|base| mics.iter().any(|mic| mic == base)) {
        return Ok(());
    }
    let [corrected, from, to] = [key, from, to].map(|key| mic_name(log, key));
    Err(Trouble::bad(
        format!("{corrected} is heard beside neither of its two microphones"),
        format!("take {to}, which it becomes like, or {from} as it is, into the test too"),
    ))
}

/// A microphone with the equaliser that carries it to another, from its key.
fn contestant(desk: &Desk, now: &Now, source: &str, key: &str) -> Result<(Contestant, Corrected), Trouble> {
    let (from, to) = corrected_pair(&now.loaded.log.shootout, key).unwrap_or_default();
    let bridged = bridged(desk, now, (source, from, to), USUAL_LIMITS)?;
    if bridged.bridge.equaliser.bands.is_empty() {
        let [from, to] = [from, to].map(|key| mic_name(&now.loaded.log.shootout, key));
        return Err(Trouble::bad(
            format!(
                "no band of an equaliser brings {from} nearer to {to}: with it, it would sound as without"
            ),
            "test the two as they are",
        ));
    }
    let rate_hz = bridged.bridge.wanted.rate_hz;
    let filter = correction_filter(&bridged.bridge, By::Equaliser, rate_hz as u32).ok_or_else(|| {
        Trouble::bad("no difference is known that could be corrected", "record more of both")
    })?;
    let set = Corrected { key: key.to_string(), rate_hz, equaliser: bridged.bridge.equaliser.clone() };
    Ok((Contestant { key: key.to_string(), of: from.to_string(), filter }, set))
}

/// Renders every excerpt as it will be, reads it back, and refuses what is not as loud as the others.
fn checked(
    rendered: &[Rendered],
    cut: &fairtake_audition::AboutExcerpts,
    equal_spectrum: bool,
) -> Result<About, Trouble> {
    let mut loudness_lufs = [f64::INFINITY, f64::NEG_INFINITY];
    for excerpt in rendered {
        let bytes = dithered_bytes(excerpt.rate_hz, &excerpt.samples, random()?);
        let lufs = played_lufs(&bytes).ok_or_else(|| {
            Trouble::bad("an excerpt is silent as it would be played", "choose other microphones or takes")
        })?;
        loudness_lufs = [loudness_lufs[0].min(lufs), loudness_lufs[1].max(lufs)];
    }
    let spread_lu = loudness_lufs[1] - loudness_lufs[0];
    if spread_lu > EQUAL_LU {
        let what = format!("the excerpts differ in loudness by {spread_lu:.2} LU as they would be played");
        return Err(Trouble::bad(what, "choose louder takes: what is too soft is drowned by the dither"));
    }
    Ok(About {
        rate_hz: cut.rate_hz,
        bits: 24,
        seconds: cut.seconds,
        n_excerpts: rendered.len(),
        loudness_lufs,
        spread_lu,
        equal_spectrum,
        remarks: cut.remarks.clone(),
    })
}

/// Event loudness of a file in memory.
fn played_lufs(bytes: &[u8]) -> Option<f64> {
    let layout = read_layout(bytes).ok()?;
    let mut samples = vec![0f32; layout.frames as usize];
    decode_channel(layout.coding, 1, 0, &bytes[layout.data_start as usize..], &mut samples);
    event_loudness_lufs(&samples, layout.rate_hz)
}

/// Codes of two groups of four: 39 bits, which nobody guesses through a limit on attempts.
pub(super) fn new_codes(n: u32) -> Result<Vec<String>, Trouble> {
    if n > MOST_CODES {
        return Err(Trouble::bad(format!("{n} codes at once"), format!("ask for {MOST_CODES} or fewer")));
    }
    let mut codes = Vec::new();
    for _ in 0..n {
        // Bytes that would favour the first letters are left out.
        let mut letters = String::new();
        while letters.len() < 8 {
            let drawn = random()?;
            let fair = drawn.iter().filter(|b| **b < 248).map(|b| char::from(LETTERS[usize::from(b % 31)]));
            letters.extend(fair.take(8 - letters.len()));
        }
        codes.push(format!("{}-{}", &letters[..4], &letters[4..]));
    }
    Ok(codes)
}
