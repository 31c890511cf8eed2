//! What is offered for a blind test of what is in the folder.

use super::owner::TRIALS;
use crate::desk::Now;
use crate::views::Named;
use fairtake_bridge::{corrected_key, mic_name};
use fairtake_compare::{Role, Take};
use serde::Serialize;

/// Of more microphones than these, only the first are offered with an equaliser: the list would be long.
pub(super) const MOST_CORRECTED: usize = 4;

/// A microphone with the equaliser that carries it to another.
#[derive(Debug, Serialize)]
pub(crate) struct Equalised {
    #[serde(flatten)]
    pub named: Named,
    /// Key of the microphone that is corrected.
    pub from: String,
    /// Key of the one that it becomes like.
    pub to: String,
}

/// Each of the first microphones towards each other one.
pub(super) fn corrected(now: &Now, mics: &[Named]) -> Vec<Equalised> {
    let mics = &mics[..mics.len().min(MOST_CORRECTED)];
    let towards = |from: &Named, to: &Named| {
        let key = corrected_key(&from.key, &to.key);
        let named = Named { name: mic_name(&now.loaded.log.shootout, &key), key, hue: from.hue };
        Equalised { named, from: from.key.clone(), to: to.key.clone() }
    };
    let pairs = mics.iter().flat_map(|from| mics.iter().map(move |to| (from, to)));
    pairs.filter(|(from, to)| from.key != to.key).map(|(from, to)| towards(from, to)).collect()
}

/// Pairs of microphones that have no performance in common, and of which one was played to twice: without control trials a result
/// does not tell the microphone from the playing.
pub(super) fn played_in_turn(now: &Now, source: &str, mics: &[Named]) -> Vec<[String; 2]> {
    let passes = |mic: &Named| -> Vec<u32> {
        let of = |t: &&Take| t.source == source && t.mic == mic.key && t.role == Role::Compared;
        now.loaded.takes.iter().filter(of).map(|t| t.performance).collect()
    };
    let of: Vec<(&Named, Vec<u32>)> = mics.iter().map(|mic| (mic, passes(mic))).collect();
    let pairs = of.iter().enumerate().flat_map(|(i, one)| of[i + 1..].iter().map(move |other| (one, other)));
    let in_turn =
        pairs.filter(|((_, a), (_, b))| (a.len() > 1 || b.len() > 1) && !a.iter().any(|p| b.contains(p)));
    in_turn.map(|((one, _), (other, _))| [one.key.clone(), other.key.clone()]).collect()
}

/// As many control trials as trials that count, so that both shares are known equally well, where the first two microphones were played
/// to in turn.
pub(super) fn proposed_control(in_turn: &[[String; 2]], mics: &[Named]) -> Option<u32> {
    let [one, other, ..] = mics else { return None };
    in_turn.contains(&[one.key.clone(), other.key.clone()]).then_some(TRIALS)
}
