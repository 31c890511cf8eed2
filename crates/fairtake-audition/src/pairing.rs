//! Which takes of the microphones are set side by side.

use crate::AuditionError;
use crate::moments::Paired;
use fairtake_compare::{Findings, Role, Take, TakeMeasure};

/// One take of one microphone.
#[derive(Clone, Copy)]
pub(crate) struct Lane<'a> {
    pub take: &'a Take,
    pub measure: &'a TakeMeasure,
}

/// Takes to be heard side by side, one per microphone in the order of the findings, for each set of them: performance by
/// performance, or placement by placement.
pub(crate) fn lanes_of<'a>(
    takes: &'a [Take],
    measures: &'a [TakeMeasure],
    findings: &Findings,
    source: &str,
    paired: Paired,
) -> Result<Vec<Vec<Lane<'a>>>, AuditionError> {
    let mics = compared_mics(findings, source);
    let mut of_mics: Vec<Vec<Lane>> = Vec::new();
    for mic in &mics {
        let mut lanes = Vec::new();
        for entry in findings.takes.iter().filter(|t| t.source == source && t.mic == *mic) {
            if entry.role != Role::Compared || entry.left_out {
                continue;
            }
            let take = takes.iter().find(|t| t.id == entry.id);
            let measure = measures.iter().find(|m| m.take == entry.id);
            let take = take.ok_or_else(|| AuditionError::NoSamples { take: entry.id.clone() })?;
            let measure = measure.ok_or_else(|| AuditionError::NoMeasure { take: entry.id.clone() })?;
            lanes.push(Lane { take, measure });
        }
        if lanes.is_empty() {
            let why = format!("no take by '{mic}' is used");
            return Err(AuditionError::NothingPairs { source: source.to_string(), why });
        }
        of_mics.push(lanes);
    }
    Ok(match paired {
        Paired::SamePerformance => by_performance(&of_mics),
        Paired::SameRecording | Paired::PlayedAgain => by_placement(&of_mics),
    })
}

/// Microphones that take part in a comparison on the source, in the order of the findings' microphones.
pub(crate) fn compared_mics(findings: &Findings, source: &str) -> Vec<String> {
    let compared = |mic: &str| {
        findings.comparisons.iter().any(|c| c.source == source && (c.reference == mic || c.against == mic))
    };
    findings.mics.iter().map(|m| m.id.clone()).filter(|m| compared(m)).collect()
}

/// Performances that every microphone recorded.
fn by_performance<'a>(of_mics: &[Vec<Lane<'a>>]) -> Vec<Vec<Lane<'a>>> {
    let mut done: Vec<u32> = Vec::new();
    let mut out = Vec::new();
    for performance in of_mics.iter().flatten().map(|l| l.take.performance) {
        if done.contains(&performance) {
            continue;
        }
        done.push(performance);
        let found: Option<Vec<Lane>> = of_mics
            .iter()
            .map(|lanes| lanes.iter().find(|l| l.take.performance == performance).copied())
            .collect();
        out.extend(found);
    }
    out
}

/// The first take of a placement beside the first of the placement with the same number, the second beside the second. A
/// microphone without that many goes on with its last of the placement; one without the placement is heard at the last
/// it has up to that number, or at its first.
fn by_placement<'a>(of_mics: &[Vec<Lane<'a>>]) -> Vec<Vec<Lane<'a>>> {
    let keyed: Vec<Vec<((u32, usize), Lane)>> = of_mics.iter().map(|lanes| numbered(lanes)).collect();
    let mut keys: Vec<(u32, usize)> = keyed.iter().flatten().map(|(key, _)| *key).collect();
    keys.sort_unstable();
    keys.dedup();
    let mut out: Vec<Vec<Lane>> = Vec::new();
    for key in keys {
        let set: Vec<Lane> = keyed
            .iter()
            .filter_map(|lanes| {
                lanes.iter().rev().find(|(k, _)| *k <= key).or(lanes.first()).map(|(_, l)| *l)
            })
            .collect();
        let same = |other: &Vec<Lane>| other.iter().zip(&set).all(|(a, b)| a.take.id == b.take.id);
        if !out.iter().any(same) {
            out.push(set);
        }
    }
    out
}

/// Takes with the number of their placement and how many of the placement came before, in that order.
fn numbered<'a>(lanes: &[Lane<'a>]) -> Vec<((u32, usize), Lane<'a>)> {
    let mut out: Vec<((u32, usize), Lane)> = Vec::new();
    for lane in lanes {
        let placement = lane.take.placement;
        let before = out.iter().filter(|((p, _), _)| *p == placement).count();
        out.push(((placement, before), *lane));
    }
    out.sort_by_key(|(key, _)| *key);
    out
}
