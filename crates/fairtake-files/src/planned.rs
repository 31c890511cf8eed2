//! What taking a recording in would do, before anything is written: whole, by channels, or cut where microphones were
//! changed. Shown first, then carried out as a whole or not at all.

use crate::audio::AudioFile;
use crate::cut::{GapSettings, ListError, Proposal, channel_names, cut_at_gaps, cut_at_list, cut_at_markers};
use crate::error::AudioError;
use crate::log::{Log, TakeEntry};
use crate::log_error::LogError;
use crate::log_write::LogFile;
use crate::take_in::{Intake, key_of};
use fairtake_compare::{ReadError, Role};
use std::fmt;
use std::path::Path;

/// Seconds before a part that belong to it: the quiet before it is where its noise is measured.
const LEAD_S: u64 = 2;

/// One take that would be logged.
#[derive(Debug, Clone, PartialEq)]
pub struct Planned {
    /// First frame and the one after the last, where the file is cut.
    pub part: Option<(u64, u64)>,
    /// Its place in the log.
    pub entry: TakeEntry,
}

/// What is said of a recording that is taken in.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Wanted {
    /// Name or key of the source.
    pub source: String,
    /// Names or keys of the microphones: one per channel or part; empty: as the file names them.
    pub mics: Vec<String>,
    /// What the takes are for.
    pub role: Role,
    /// Named spot.
    pub position: Option<String>,
    /// Gain as set on the preamp, in dB.
    pub gain_db: Option<f64>,
    /// Setting-up; `None`: counted.
    pub placement: Option<u32>,
    /// Pass of playing; `None`: a new one.
    pub performance: Option<u32>,
}

/// Where a long recording is cut.
#[derive(Debug, Clone, PartialEq)]
pub enum CutAt {
    /// At gaps.
    Gaps(GapSettings),
    /// At cue markers.
    Markers,
    /// At the lines of a text: `seconds name` or `minutes:seconds name`.
    List(String),
}

/// Why a recording cannot be taken in as it was asked.
#[derive(Debug, Clone, PartialEq)]
pub enum PlanError {
    /// It cannot be read.
    Audio(AudioError),
    /// Its samples cannot be read.
    Read(ReadError),
    /// The typed list.
    List(ListError),
    /// As many microphones as channels are needed.
    Channels {
        /// In the file.
        channels: usize,
        /// Named.
        named: usize,
    },
    /// As many microphones as parts are needed.
    Parts {
        /// Found.
        parts: usize,
        /// Named.
        named: usize,
    },
    /// Nothing to cut at.
    NoCuts,
    /// The log would not be valid.
    Log(LogError),
}

impl fmt::Display for PlanError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            PlanError::Audio(e) => e.fmt(f),
            PlanError::Read(e) => e.fmt(f),
            PlanError::List(e) => e.fmt(f),
            PlanError::Channels { channels, named } => {
                write!(f, "channels {channels}, microphones named {named}")
            }
            PlanError::Parts { parts, named } => {
                write!(f, "{parts} parts were found, and {named} microphones are named")
            }
            PlanError::NoCuts => write!(f, "nothing to cut at was found"),
            PlanError::Log(e) => e.fmt(f),
        }
    }
}

impl std::error::Error for PlanError {}

impl PlanError {
    /// What to do about it.
    pub fn hint(&self) -> &str {
        match self {
            PlanError::Audio(e) => e.hint(),
            PlanError::Read(e) => &e.hint,
            PlanError::List(_) => "write lines such as `1:30 moorhen`, in order of time",
            PlanError::Channels { .. } => "name one microphone per channel: --mics A,B",
            PlanError::Parts { .. } => "name one per part, in order; look at the parts by leaving --mics out",
            PlanError::NoCuts => "try --cut gaps with another --gap or --quiet, or write a list",
            PlanError::Log(e) => &e.hint,
        }
    }
}

/// One take per channel of a file that is taken whole, to become `takes/NAME`.
///
/// # Errors
/// When there are not as many microphones as channels.
pub fn by_channels(
    wanted: &Wanted,
    name: &str,
    audio: &AudioFile,
    log: &Log,
) -> Result<Vec<Planned>, PlanError> {
    let n = usize::from(audio.n_channels());
    let names = match wanted.mics.len() {
        0 if !audio.metadata().track_names.is_empty() => channel_names(audio.metadata(), audio.n_channels()),
        given if given == n => wanted.mics.clone(),
        named => return Err(PlanError::Channels { channels: n, named }),
    };
    let performance = wanted.performance.unwrap_or(next(log, |t| t.performance));
    Ok(names
        .iter()
        .zip(1u16..)
        .map(|(mic, channel)| {
            let mut entry = entry(wanted, log, &format!("takes/{name}"), channel, &key_of(mic));
            entry.performance = performance;
            entry.placement = wanted.placement.unwrap_or(last_placement(log, &entry).max(1));
            Planned { part: None, entry }
        })
        .collect())
}

/// One take per part of a file that is cut, to become `takes/STEM-1-MIC.wav` and so on; a microphone that returns was set
/// up again.
///
/// # Errors
/// When nothing to cut at is found, or the microphones named are not as many as the parts.
pub fn by_parts(
    wanted: &Wanted,
    stem: &str,
    at: &CutAt,
    audio: &AudioFile,
    log: &Log,
) -> Result<Vec<Planned>, PlanError> {
    let proposals: Vec<Proposal> = match at {
        CutAt::Gaps(settings) => {
            cut_at_gaps(&audio.channel(1).map_err(PlanError::Audio)?, *settings).map_err(PlanError::Read)?
        }
        CutAt::Markers => cut_at_markers(audio.metadata(), audio.frames()),
        CutAt::List(text) => cut_at_list(text, audio.rate_hz(), audio.frames()).map_err(PlanError::List)?,
    };
    if proposals.is_empty() {
        return Err(PlanError::NoCuts);
    }
    if !wanted.mics.is_empty() && wanted.mics.len() != proposals.len() {
        return Err(PlanError::Parts { parts: proposals.len(), named: wanted.mics.len() });
    }
    let stem = key_of(stem);
    let first = next(log, |t| t.performance);
    let mut out: Vec<Planned> = Vec::new();
    for (i, proposal) in proposals.iter().enumerate() {
        let mic = key_of(wanted.mics.get(i).unwrap_or(&proposal.name));
        let file = format!("takes/{stem}-{}-{mic}.wav", i + 1);
        let mut entry = entry(wanted, log, &file, 1, &mic);
        entry.performance = wanted.performance.unwrap_or(first).saturating_add(i as u32);
        entry.order = entry.order.map(|o| o.saturating_add(i as u32));
        let earlier = out.iter().filter(|p| p.entry.mic == mic).count() as u32;
        let counted = last_placement(log, &entry).saturating_add(1 + earlier);
        entry.placement = wanted.placement.unwrap_or(counted);
        let from = if matches!(at, CutAt::Gaps(_)) {
            let before = if i == 0 { 0 } else { proposals[i - 1].end_frame };
            proposal.start_frame.saturating_sub(u64::from(audio.rate_hz()) * LEAD_S).max(before)
        } else {
            proposal.start_frame
        };
        out.push(Planned { part: Some((from, proposal.end_frame)), entry });
    }
    Ok(out)
}

/// Carries out what was planned with the recording at `from`, and enters it in the log: all of it or nothing.
///
/// # Errors
/// When a file of such a name is there, something cannot be read or written, or the log would not be valid.
pub fn take_in(
    folder: &Path,
    from: &Path,
    audio: &AudioFile,
    planned: &[Planned],
    log: &mut LogFile,
) -> Result<(), PlanError> {
    // The log has the first word: what it refuses is not copied.
    for take in planned {
        log.add_take(&take.entry).map_err(PlanError::Log)?;
    }
    let mut intake = Intake::new(folder);
    for (i, take) in planned.iter().enumerate() {
        let name = take.entry.file.trim_start_matches("takes/");
        match take.part {
            Some(part) => drop(intake.cut(audio, 1, part, name).map_err(PlanError::Audio)?),
            // Channels of one file share its copy.
            None if i == 0 => drop(intake.copy(from, name).map_err(PlanError::Audio)?),
            None => {}
        }
    }
    let placed = intake.place().map_err(PlanError::Audio)?;
    if let Err(e) = log.write() {
        // What this run put in place is of no use without its line in the log.
        placed.take_back();
        return Err(PlanError::Log(e));
    }
    Ok(())
}

fn entry(wanted: &Wanted, log: &Log, file: &str, channel: u16, mic: &str) -> TakeEntry {
    let mut entry = TakeEntry::new(file, channel, mic, &key_of(&wanted.source));
    entry.role = wanted.role;
    entry.position = wanted.position.clone();
    entry.chain.gain_db = wanted.gain_db;
    entry.order = Some(next(log, |t| t.order.unwrap_or(0)));
    entry
}

/// One more than the greatest number logged.
fn next(log: &Log, number: impl Fn(&TakeEntry) -> u32) -> u32 {
    log.takes.iter().map(number).max().unwrap_or(0).saturating_add(1)
}

/// The last setting-up logged of a microphone at a source; 0 where there is none.
fn last_placement(log: &Log, entry: &TakeEntry) -> u32 {
    let same = |t: &&TakeEntry| t.mic == entry.mic && t.source == entry.source;
    log.takes.iter().filter(same).map(|t| t.placement).max().unwrap_or(0)
}
