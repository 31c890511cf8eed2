//! What is offered for a blind test of what is in the folder.

use super::owner::TRIALS;
use crate::desk::Now;
use crate::views::Named;
use fairtake_bridge::{corrected_key, mic_name};
use fairtake_compare::{Role, Take};

/// Of more microphones than these, none is offered with an equaliser: the list would be long.
const MOST_CORRECTED: usize = 4;

/// As many control trials as trials that count, so that both shares are known equally well: where the first two microphones have no
/// performance in common, and one of them was played to twice.
pub(super) fn proposed_control(now: &Now, source: &str, mics: &[Named]) -> Option<u32> {
    let [one, other, ..] = mics else { return None };
    let passes = |mic: &Named| -> Vec<u32> {
        let of = |t: &&Take| t.source == source && t.mic == mic.key && t.role == Role::Compared;
        now.loaded.takes.iter().filter(of).map(|t| t.performance).collect()
    };
    let (a, b) = (passes(one), passes(other));
    let in_turn = !a.iter().any(|p| b.contains(p));
    (in_turn && (a.len() > 1 || b.len() > 1)).then_some(TRIALS)
}

/// Each of the first microphones towards each other one.
pub(super) fn corrected(now: &Now, mics: &[Named]) -> Vec<Named> {
    let mics = &mics[..mics.len().min(MOST_CORRECTED)];
    let towards = |from: &Named, to: &Named| {
        let key = corrected_key(&from.key, &to.key);
        Named { name: mic_name(&now.loaded.log.shootout, &key), key, hue: from.hue }
    };
    let pairs = mics.iter().flat_map(|from| mics.iter().map(move |to| (from, to)));
    pairs.filter(|(from, to)| from.key != to.key).map(|(from, to)| towards(from, to)).collect()
}
