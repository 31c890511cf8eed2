//! Takes: what came in, whose it is, whether it is fair, and what is missing from the plan.

use super::{Named, Step, View, mics, only_measured, sources};
use crate::desk::{Checked, Desk, Now};
use crate::html;
use crate::trouble::Trouble;
use fairtake_compare::{
    CheckResult, LeftOut, Logged, Outcome, PlannedTake, ReadError, Role, Samples, Step as PlanStep, Take,
    TakeMeasure, run_sheet,
};
use fairtake_files::{AudioFile, Log, TakeEntry, audio_in, key_of, passes, suggest};
use maud::Markup;
use serde::{Deserialize, Serialize};
use std::path::Path;

/// Columns of a drawn waveform.
pub(crate) const WAVE_COLUMNS: usize = 1000;
/// Frames read at once.
const STRETCH: usize = 1 << 16;

/// The page.
#[derive(Debug, Serialize)]
pub(crate) struct TakesPage {
    pub mics: Vec<Named>,
    pub sources: Vec<Named>,
    /// Files of the folder that the log does not list.
    pub waiting: Vec<Waiting>,
    /// Takes by source.
    pub groups: Vec<Group>,
    /// Takes that cannot be opened, with the reason.
    pub not_opened: Vec<(String, String)>,
    /// The folder holds measurements, and no take that is compared.
    pub only_measured: bool,
    /// The take that is looked at.
    pub open: Option<Open>,
}

/// What the address may ask for.
#[derive(Debug, Default, Deserialize)]
pub(crate) struct TakesQuery {
    /// Id of the take to be looked at.
    pub take: Option<String>,
}

/// A file that waits for its place in the log.
#[derive(Debug, Serialize)]
pub(crate) struct Waiting {
    pub file: String,
    /// Why it cannot be used; `None`: it can.
    pub trouble: Option<String>,
    pub seconds: f64,
    pub rate_hz: u32,
    /// Parts of it were cut already.
    pub is_cut: bool,
    /// Markers that the recorder left in it.
    pub n_markers: usize,
    /// One per channel.
    pub channels: Vec<WaitingChannel>,
}

/// One channel of it, with what its name and metadata suggest.
#[derive(Debug, Serialize)]
pub(crate) struct WaitingChannel {
    pub channel: u16,
    pub mic: Option<String>,
    pub source: Option<String>,
    pub placement: u32,
    pub performance: u32,
    pub order: u32,
    pub role: Role,
}

/// Takes of one source.
#[derive(Debug, Serialize)]
pub(crate) struct Group {
    pub source: Named,
    pub takes: Vec<TakeRow>,
    /// What the plan still asks for.
    pub missing: Vec<PlanStep>,
    /// The source has a plan.
    pub is_planned: bool,
}

/// One take in the table.
#[derive(Debug, Serialize)]
pub(crate) struct TakeRow {
    pub id: String,
    pub file: String,
    pub channel: u16,
    pub mic: String,
    pub hue: usize,
    pub placement: u32,
    pub performance: u32,
    pub order: Option<u32>,
    pub position: Option<String>,
    pub role: Role,
    pub gain_db: Option<f64>,
    pub seconds: f64,
    /// Events used, and found.
    pub events: (usize, usize),
    pub sample_peak_dbfs: Option<f64>,
    /// The worst outcome of its checks.
    pub outcome: Outcome,
    /// Checks that are not fair.
    pub n_remarks: usize,
    pub keep_although_unfair: bool,
}

/// The take that is looked at.
#[derive(Debug, Serialize)]
pub(crate) struct Open {
    pub row: TakeRow,
    pub rate_hz: u32,
    pub format: String,
    pub sha256: String,
    pub wave: Wave,
    pub events: Vec<Event>,
    /// Onsets were set by hand.
    pub by_hand: Option<Vec<f64>>,
    pub checks: Vec<CheckResult>,
}

/// An event on the waveform.
#[derive(Debug, Serialize)]
pub(crate) struct Event {
    pub onset_s: f64,
    pub start_s: f64,
    pub end_s: f64,
    pub left_out: Option<&'static str>,
}

/// Highest and lowest sample per column, full scale ±1.
#[derive(Debug, Serialize)]
pub(crate) struct Wave {
    pub seconds: f64,
    pub columns: Vec<[f32; 2]>,
}

impl View for TakesPage {
    type Query = TakesQuery;
    const STEP: Step = Step::Takes;

    fn make(desk: &Desk, query: TakesQuery) -> Result<TakesPage, Trouble> {
        let now = desk.now()?;
        let checked = desk.checked(&now)?;
        let mics = mics(&now);
        let row = |take: &Take| row(&now, &checked, &mics, take);
        let groups = sources(&now).into_iter().map(|source| group(&now, source, &row)).collect();
        let open = query.take.and_then(|id| now.loaded.takes.iter().find(|t| t.id == id));
        let open = open.map(|take| look(&checked, take, row(take))).transpose()?;
        let not_opened =
            now.loaded.not_opened.iter().map(|(t, e)| (t.file.clone(), e.problem.to_string())).collect();
        Ok(TakesPage {
            only_measured: only_measured(&now),
            waiting: waiting(desk, &now)?,
            sources: sources(&now),
            mics,
            groups,
            not_opened,
            open,
        })
    }

    fn html(&self) -> Markup {
        html::takes(self)
    }
}

fn group(now: &Now, source: Named, row: &impl Fn(&Take) -> TakeRow) -> Group {
    let here: Vec<&Take> = now.loaded.takes.iter().filter(|t| t.source == source.key).collect();
    let logged: Vec<Logged> = now
        .loaded
        .log
        .takes
        .iter()
        .filter(|t| t.source == source.key)
        .map(|t| Logged { mic: &t.mic, placement: t.placement })
        .collect();
    let plan = now.loaded.log.shootout.plans.get(&source.key);
    let steps = plan.map_or_else(Vec::new, |plan| run_sheet(plan, &logged));
    Group {
        takes: here.into_iter().map(row).collect(),
        missing: steps.into_iter().filter(|s| !s.recorded && !s.ticked).collect(),
        is_planned: plan.is_some(),
        source,
    }
}

fn row(now: &Now, checked: &Checked, mics: &[Named], take: &Take) -> TakeRow {
    let measure = measure_of(checked, take);
    let of_take = |c: &&CheckResult| c.take.as_deref() == Some(take.id.as_str());
    let checks: Vec<&CheckResult> = checked.checks.iter().filter(of_take).collect();
    let events = measure
        .map_or((0, 0), |m| (m.events.iter().filter(|e| e.left_out.is_none()).count(), m.events.len()));
    TakeRow {
        id: take.id.clone(),
        file: take.file.clone(),
        channel: take.channel,
        mic: fairtake_bridge::mic_name(&now.loaded.log.shootout, &take.mic),
        hue: mics.iter().position(|m| m.key == take.mic).unwrap_or(0),
        placement: take.placement,
        performance: take.performance,
        order: take.order,
        position: take.position.clone(),
        role: take.role,
        gain_db: take.chain.gain_db,
        seconds: take.samples.frames() as f64 / f64::from(take.samples.rate_hz()),
        events,
        sample_peak_dbfs: measure.and_then(|m| fairtake_signal::units::amplitude_db(m.file.sample_peak)),
        outcome: checks.iter().map(|c| c.outcome).max().unwrap_or(Outcome::Fair),
        n_remarks: checks.iter().filter(|c| c.outcome != Outcome::Fair).count(),
        keep_although_unfair: take.keep_although_unfair,
    }
}

fn measure_of<'c>(checked: &'c Checked, take: &Take) -> Option<&'c TakeMeasure> {
    checked.measures.iter().find(|m| m.take == take.id)
}

fn look(checked: &Checked, take: &Take, row: TakeRow) -> Result<Open, Trouble> {
    let events = measure_of(checked, take).map_or_else(Vec::new, |m| {
        let event = |e: &fairtake_compare::EventMeasure| Event {
            onset_s: e.onset_s,
            start_s: e.start_s,
            end_s: e.end_s,
            left_out: e.left_out.map(|why| match why {
                LeftOut::CutOff => "cut off",
                LeftOut::Clipped => "clipped",
                LeftOut::TooQuiet => "too quiet",
                LeftOut::NotInAllTakes => "left out in another take of the performance",
            }),
        };
        m.events.iter().map(event).collect()
    });
    let mut checks: Vec<CheckResult> =
        checked.checks.iter().filter(|c| c.take.as_deref() == Some(take.id.as_str())).cloned().collect();
    checks.sort_by_key(|c| std::cmp::Reverse(c.outcome));
    Ok(Open {
        row,
        rate_hz: take.samples.rate_hz(),
        format: take.stored_as.format.clone(),
        sha256: take.stored_as.sha256.to_string(),
        wave: wave_of(&*take.samples, WAVE_COLUMNS)?,
        events,
        by_hand: take.hand_set_events_s.clone(),
        checks,
    })
}

/// The waveform of a take: highest and lowest sample of each column.
pub(crate) fn wave_of(samples: &dyn Samples, n_columns: usize) -> Result<Wave, ReadError> {
    let frames = samples.frames();
    let mut columns = vec![[0f32; 2]; n_columns.min(usize::try_from(frames).unwrap_or(n_columns))];
    let mut stretch = vec![0f32; STRETCH];
    let mut at = 0u64;
    while at < frames {
        let n = samples.read(at, &mut stretch)?;
        if n == 0 {
            break;
        }
        for (frame, x) in (at..).zip(&stretch[..n]) {
            let column = (u128::from(frame) * columns.len() as u128 / u128::from(frames)) as usize;
            let c = &mut columns[column];
            *c = [c[0].min(*x), c[1].max(*x)];
        }
        at += n as u64;
    }
    Ok(Wave { seconds: frames as f64 / f64::from(samples.rate_hz()), columns })
}

/// Audio files of the folder that the log does not list.
pub(super) fn waiting(desk: &Desk, now: &Now) -> Result<Vec<Waiting>, Trouble> {
    let there =
        audio_in(desk.path()).map_err(|e| Trouble::disk(format!("the folder cannot be listed: {e}")))?;
    let log = &now.loaded.log;
    let listed = |file: &String| log.lists(file);
    let opened: Vec<(String, Result<AudioFile, _>)> = there
        .into_iter()
        .filter(|file| !listed(file))
        .map(|file| {
            let audio = AudioFile::open(&desk.path().join(&file));
            (file, audio)
        })
        .collect();
    let usable: Vec<&AudioFile> = opened.iter().filter_map(|(_, audio)| audio.as_ref().ok()).collect();
    let mut passes = passes(log, &usable).into_iter();
    Ok(opened
        .iter()
        .map(|(file, audio)| match audio {
            Err(e) => Waiting {
                file: file.clone(),
                trouble: Some(format!("{}; {}", e.problem, e.hint())),
                seconds: 0.0,
                rate_hz: 0,
                is_cut: false,
                n_markers: 0,
                channels: Vec::new(),
            },
            Ok(audio) => Waiting {
                file: file.clone(),
                trouble: None,
                seconds: audio.frames() as f64 / f64::from(audio.rate_hz()),
                rate_hz: audio.rate_hz(),
                is_cut: is_cut(log, file),
                n_markers: audio.metadata().cue_markers.len(),
                channels: suggest(log, file, audio, passes.next().unwrap_or(1))
                    .into_iter()
                    .map(|s| WaitingChannel {
                        channel: s.channel,
                        mic: s.mic,
                        source: s.source,
                        placement: s.placement,
                        performance: s.performance,
                        order: s.order,
                        role: s.role,
                    })
                    .collect(),
            },
        })
        .collect())
}

/// Parts of a file that was cut are called after it: `takes/STEM-1-MIC.wav`.
fn is_cut(log: &Log, file: &str) -> bool {
    let stem = Path::new(file).file_stem().map(|s| key_of(&s.to_string_lossy())).unwrap_or_default();
    let of_part = |t: &TakeEntry| t.file == format!("takes/{stem}-1-{}.wav", t.mic);
    log.takes.iter().any(of_part)
}

/// What a step of the plan still needs, in words: `Moorhen 12, placement 2; Heron 3, placement 2`.
pub(crate) fn step_words(names: &[Named], set_up: &[PlannedTake]) -> String {
    let name = |key: &str| names.iter().find(|n| n.key == key).map_or(key, |n| n.name.as_str()).to_string();
    let one = |s: &PlannedTake| {
        let spot = s.spot.map_or(String::new(), |n| format!(" at spot {n}"));
        let role = if s.role == Role::Witness { " (witness, not moved)" } else { "" };
        format!("{}, placement {}{spot}{role}", name(&s.mic), s.placement)
    };
    set_up.iter().map(one).collect::<Vec<_>>().join("; ")
}
