//! From takes to the tables that the fit wants: two placements of one microphone, and the witness beside them.

use super::{CannotTell, LevelIs, Replaced, SetUp, replaced};
use crate::measure::{measure_performance, tabulate};
use crate::{Design, ReadError, Role, Settings, Shootout, Take, TakeMeasure};
use std::collections::BTreeSet;

/// Two placements of one microphone at one source.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Placements {
    /// Key of the microphone.
    pub mic: String,
    /// Key of the source.
    pub source: String,
    /// The last placement.
    pub last: u32,
    /// This one.
    pub now: u32,
}

/// How far the microphone stands from its last placement, from the takes of both; other takes are passed over.
///
/// The level counts only where a witness heard all of them and their gains are logged.
///
/// # Errors
/// When a take cannot be read to its end.
pub fn replaced_by_takes(
    takes: Vec<Take>,
    which: &Placements,
    shootout: &Shootout,
    settings: &Settings,
) -> Result<Result<Replaced, CannotTell>, ReadError> {
    let at = match SetUp::logged(shootout, &which.source, &which.mic) {
        Ok(at) => at,
        Err(cannot) => return Ok(Err(cannot)),
    };
    let of = |t: &Take, placement: u32| {
        t.mic == which.mic && t.source == which.source && t.role == Role::Compared && t.placement == placement
    };
    let concerned: Vec<u32> =
        takes.iter().filter(|t| of(t, which.last) || of(t, which.now)).map(|t| t.performance).collect();
    let witnesses =
        |t: &Take| t.source == which.source && t.role == Role::Witness && concerned.contains(&t.performance);
    let used: Vec<Take> =
        takes.into_iter().filter(|t| of(t, which.last) || of(t, which.now) || witnesses(t)).collect();
    let playing = shootout.playing(&which.source, settings.playing);
    let settings = &Settings { playing, ..settings.clone() };
    let mut measured_of: Vec<(&Take, TakeMeasure)> = Vec::new();
    let performances: BTreeSet<u32> = used.iter().map(|t| t.performance).collect();
    for performance in performances {
        let group: Vec<&Take> = used.iter().filter(|t| t.performance == performance).collect();
        let measures = measure_performance(&group, settings)?;
        measured_of.extend(group.into_iter().zip(measures));
    }
    let measured: Vec<(&Take, &TakeMeasure)> = measured_of.iter().map(|(t, m)| (*t, m)).collect();
    let pick = |holds: &dyn Fn(&Take) -> bool| -> Vec<(&Take, &TakeMeasure)> {
        measured.iter().copied().filter(|(t, _)| holds(t)).collect()
    };
    let (last, now) = (pick(&|t| of(t, which.last)), pick(&|t| of(t, which.now)));
    let witness = pick(&|t| witnesses(t));
    let design = if witness.is_empty() { Design::InTurn } else { Design::InTurnWithWitness };
    let pair = tabulate(&last, &now, &witness, design, settings).pair;
    let level = match (gain_db(&last), gain_db(&now)) {
        (Some(last), Some(now)) => LevelIs::Known { gain_change_db: now - last },
        _ => LevelIs::Free,
    };
    Ok(replaced(&pair, &at, level, settings))
}

/// The logged gain of takes that all have the same one.
fn gain_db(takes: &[(&Take, &TakeMeasure)]) -> Option<f64> {
    let first = takes.first()?.0.chain.gain_db?;
    takes.iter().all(|(t, _)| t.chain.gain_db == Some(first)).then_some(first)
}
