//! What can be listened to on a source: moments in which every microphone has a stretch of sound.

use crate::AuditionError;
use crate::pairing::{Lane, lanes_of};
use fairtake_compare::{Design, Findings, Playing, Take, TakeMeasure};
use serde::Serialize;

/// A passage holds as many events as go into this many seconds: what can be kept in mind while switching. Common
/// practice, no source.
const PASSAGE_S: f64 = 8.0;
/// The whole of a performance is offered up to this length in seconds.
const WHOLE_S: f64 = 30.0;
/// A moment begins this long before its first onset, in seconds: longer than the fade, so that no attack is faded.
pub(crate) const LEAD_S: f64 = 0.05;
/// Hits ring on for this long after their measured end, where nothing else begins, in seconds.
const RING_S: f64 = 0.25;
/// Passages in turn hold several events only where their onsets agree to this, in seconds: more would be heard as a
/// double stroke when switching. Common practice, no source.
const AGREES_S: f64 = 0.01;

/// Consecutive frames of one take. They may reach beyond either end of it, where there is silence.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Stretch {
    /// First frame; negative: before the take begins.
    pub start: i64,
    /// Number of frames.
    pub frames: u64,
}

/// What one microphone has of a moment.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Part {
    /// Key of the microphone.
    pub mic: String,
    /// Id of the take.
    pub take: String,
    /// Sampling rate of the take in Hz; rates may differ within a moment.
    pub rate_hz: u32,
    /// Which frames of it.
    pub stretch: Stretch,
}

/// How much is played.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum MomentKind {
    /// One hit, or one block of sustained sound.
    Event,
    /// Several in a row.
    Passage,
    /// All that was played and counted.
    Whole,
    /// Sustained sound from where playing begins.
    Beginning,
}

/// What makes the parts of a moment belong together.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Paired {
    /// They are the same seconds of one performance.
    SamePerformance,
    /// They are the same seconds of one recording that was played back for each.
    SameRecording,
    /// They were played one after the other and differ as playing does.
    PlayedAgain,
}

/// Something to listen to with every microphone of a source.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Moment {
    /// Key of the source.
    pub source: String,
    /// How much is played.
    pub kind: MomentKind,
    /// What the parts have in common.
    pub paired: Paired,
    /// Length in seconds, the same for all parts to within one frame.
    pub duration_s: f64,
    /// Onsets in seconds from the beginning of the moment, as in the first part; the first lies at the same offset in all
    /// parts to within one frame, later ones to within 10 ms where they were played again. For sustained sound, in which
    /// no onsets are counted, the beginning alone.
    pub onsets_s: Vec<f64>,
    /// One per microphone compared on the source, in the order of the findings' microphones.
    pub parts: Vec<Part>,
}

/// What can be listened to on `source`: in order of takes and time, the whole of a performance after its passages.
///
/// `takes` and `measures` are looked up by id, those that the findings left out are passed over. Onsets are known to the
/// step of the envelope they were found on, 2.5 ms; takes of one performance, and replays, are in step to a frame.
///
/// # Errors
/// When nothing was compared on the source, a take or measure that the findings know is not at hand, or no event of one
/// microphone can be set beside one of every other.
///
/// # Source
/// Own derivation: docs/methods/audition.md.
pub fn moments(
    takes: &[Take],
    measures: &[TakeMeasure],
    findings: &Findings,
    source: &str,
) -> Result<Vec<Moment>, AuditionError> {
    let mut paired = paired(findings, source)?;
    let mut sets = lanes_of(takes, measures, findings, source, paired)?;
    if sets.is_empty() {
        // Some share a performance, but not all.
        paired = Paired::PlayedAgain;
        sets = lanes_of(takes, measures, findings, source, paired)?;
    }
    let out: Vec<Moment> =
        sets.into_iter().flat_map(|lanes| SideBySide::new(source, paired, lanes).moments()).collect();
    if out.is_empty() {
        let why = "no event that was used in one take has a counterpart in the others".to_string();
        return Err(AuditionError::NothingPairs { source: source.to_string(), why });
    }
    Ok(out)
}

/// What the takes of a source have in common, by the design of its comparisons.
fn paired(findings: &Findings, source: &str) -> Result<Paired, AuditionError> {
    let designs: Vec<Design> =
        findings.comparisons.iter().filter(|c| c.source == source).map(|c| c.design).collect();
    if designs.is_empty() {
        let mut there_are: Vec<String> = findings.comparisons.iter().map(|c| c.source.clone()).collect();
        there_are.dedup();
        return Err(AuditionError::NoSuchSource { asked: source.to_string(), there_are });
    }
    let in_step = designs.iter().all(|d| matches!(d, Design::Together | Design::Replayed));
    Ok(if in_step && designs.contains(&Design::Replayed) {
        Paired::SameRecording
    } else if designs.contains(&Design::Together) {
        Paired::SamePerformance
    } else {
        Paired::PlayedAgain
    })
}

/// One take of each microphone, and which of their events stand side by side.
struct SideBySide<'a> {
    source: &'a str,
    paired: Paired,
    lanes: Vec<Lane<'a>>,
    /// Index of the event in each lane, one row per event.
    rows: Vec<Vec<usize>>,
    sustained: bool,
}

impl<'a> SideBySide<'a> {
    fn new(source: &'a str, paired: Paired, lanes: Vec<Lane<'a>>) -> SideBySide<'a> {
        let sustained = lanes.iter().any(|l| l.measure.playing == Playing::Sustained);
        let rows = match paired {
            Paired::PlayedAgain => counted(&lanes),
            Paired::SamePerformance | Paired::SameRecording => in_step(&lanes),
        };
        let mut all = SideBySide { source, paired, lanes, rows, sustained };
        // Onsets set by hand may stand in any order: what ends before it begins is not played.
        let heard: Vec<bool> = (0..all.rows.len()).map(|row| all.length_s(row, row) > 0.0).collect();
        let mut heard = heard.into_iter();
        all.rows.retain(|_| heard.next() == Some(true));
        all
    }

    fn moments(&self) -> Vec<Moment> {
        if self.sustained && self.paired == Paired::PlayedAgain {
            return self.beginning().into_iter().collect();
        }
        let mut out: Vec<Moment> =
            self.runs(PASSAGE_S).into_iter().map(|(from, to)| self.moment(from, to)).collect();
        if out.len() > 1 {
            let whole = self.runs(WHOLE_S);
            out.extend(whole.iter().filter(|_| whole.len() == 1).map(|(from, to)| self.moment(*from, *to)));
        }
        out
    }

    /// Rows that can be played in one go of at most `most_s` seconds, as first and last: nothing that was left out lies
    /// between them, and their onsets agree.
    fn runs(&self, most_s: f64) -> Vec<(usize, usize)> {
        let mut out: Vec<(usize, usize)> = Vec::new();
        for row in 0..self.rows.len() {
            match out.last_mut() {
                Some((from, to)) if self.goes_on(*from, row, most_s) => *to = row,
                _ => out.push((row, row)),
            }
        }
        out
    }

    fn goes_on(&self, from: usize, row: usize, most_s: f64) -> bool {
        let next = (0..self.lanes.len()).all(|l| self.rows[row][l] == self.rows[row - 1][l] + 1);
        let later_s = |lane: usize| self.onset_s(lane, row) - self.onset_s(lane, from);
        let agree = (1..self.lanes.len()).all(|l| (later_s(l) - later_s(0)).abs() <= AGREES_S);
        // A millionth of a second: sums of block lengths are not whole in binary.
        next && agree && self.lead_s(from) + self.length_s(from, row) <= most_s + 1e-6
    }

    fn onset_s(&self, lane: usize, row: usize) -> f64 {
        self.lanes[lane].measure.events[self.rows[row][lane]].onset_s
    }

    /// From the beginning of a moment to its first onset; less where the last hit before it would be heard.
    fn lead_s(&self, row: usize) -> f64 {
        if self.sustained {
            return 0.0;
        }
        self.lanes.iter().zip(&self.rows[row]).fold(LEAD_S, |least, (lane, event)| {
            let events = &lane.measure.events;
            match event.checked_sub(1).map(|before| events[*event].onset_s - events[before].onset_s) {
                Some(gap_s) if gap_s > 0.0 => least.min(gap_s / 2.0),
                _ => least,
            }
        })
    }

    /// From the onset of one row to where the last of another has rung out, or the next event begins, in any lane.
    fn length_s(&self, from: usize, to: usize) -> f64 {
        let ring_s = if self.sustained { 0.0 } else { RING_S };
        let of = |lane: usize| {
            let events = &self.lanes[lane].measure.events;
            let last = self.rows[to][lane];
            let rung_out_s = events[last].end_s + ring_s;
            let end_s = events.get(last + 1).map_or(rung_out_s, |next| rung_out_s.min(next.start_s));
            end_s - self.onset_s(lane, from)
        };
        (0..self.lanes.len()).map(of).fold(f64::INFINITY, f64::min)
    }

    fn moment(&self, from: usize, to: usize) -> Moment {
        let lead_s = self.lead_s(from);
        let kind = match (from, to) {
            (from, to) if from == to => MomentKind::Event,
            (0, to) if to + 1 == self.rows.len() => MomentKind::Whole,
            _ => MomentKind::Passage,
        };
        let onsets = if self.sustained { from..=from } else { from..=to };
        let onsets_s = onsets.map(|row| lead_s + self.onset_s(0, row) - self.onset_s(0, from)).collect();
        let starts_s: Vec<f64> = (0..self.lanes.len()).map(|l| self.onset_s(l, from) - lead_s).collect();
        self.made(kind, lead_s + self.length_s(from, to), onsets_s, &starts_s)
    }

    /// Sustained sound that was played again: equally long stretches from where playing begins, up to what was left out.
    fn beginning(&self) -> Option<Moment> {
        let first = self.rows.first()?;
        let (mut starts_s, mut duration_s) = (Vec::new(), PASSAGE_S);
        for (lane, first) in self.lanes.iter().zip(first) {
            let events = &lane.measure.events;
            let used = events[*first..].iter().take_while(|e| e.left_out.is_none());
            let end_s = used.last().map_or(events[*first].end_s, |e| e.end_s);
            starts_s.push(events[*first].start_s);
            duration_s = duration_s.min(end_s - events[*first].start_s);
        }
        Some(self.made(MomentKind::Beginning, duration_s, vec![0.0], &starts_s))
    }

    fn made(&self, kind: MomentKind, duration_s: f64, onsets_s: Vec<f64>, starts_s: &[f64]) -> Moment {
        let part = |(lane, start_s): (&Lane, &f64)| {
            let rate_hz = lane.take.samples.rate_hz();
            let frames = |seconds: f64| (seconds * f64::from(rate_hz)).round();
            Part {
                mic: lane.take.mic.clone(),
                take: lane.take.id.clone(),
                rate_hz,
                stretch: Stretch {
                    start: frames(*start_s) as i64,
                    frames: frames(duration_s).max(1.0) as u64,
                },
            }
        };
        Moment {
            source: self.source.to_string(),
            kind,
            paired: self.paired,
            duration_s,
            onsets_s,
            parts: self.lanes.iter().zip(starts_s).map(part).collect(),
        }
    }
}

/// Events that were found on one take for all of them: those used in every one.
fn in_step(lanes: &[Lane]) -> Vec<Vec<usize>> {
    let n = lanes.iter().map(|l| l.measure.events.len()).min().unwrap_or(0);
    (0..n)
        .filter(|event| lanes.iter().all(|l| l.measure.events[*event].left_out.is_none()))
        .map(|event| vec![event; lanes.len()])
        .collect()
}

/// The first used event of one beside the first of the others, and so on.
fn counted(lanes: &[Lane]) -> Vec<Vec<usize>> {
    let used: Vec<Vec<usize>> = lanes
        .iter()
        .map(|l| (0..l.measure.events.len()).filter(|i| l.measure.events[*i].left_out.is_none()).collect())
        .collect();
    let n = used.iter().map(Vec::len).min().unwrap_or(0);
    (0..n).map(|row| used.iter().map(|u| u[row]).collect()).collect()
}

#[cfg(test)]
mod tests;
