//! Pairs: microphones at the standard place, held against each other.

use super::Measuring;
use crate::microphone::{PairMatch, pair_match};
use serde::{Deserialize, Serialize};

/// Two microphones that were recorded on the axis at one place, with one loudspeaker, excitation and gate.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MatchedPair {
    /// Key of the first.
    pub first: String,
    /// Key of the second.
    pub second: String,
    /// Their names for people.
    pub names: [String; 2],
    /// How often each was set up.
    pub n_repeats: [usize; 2],
    /// Second less first. Its level is that in the files, whatever the gains.
    pub matched: PairMatch,
    /// Second less first at equal gain, in dB; `None`: a gain is not logged, or takes of one microphone differ in it.
    pub at_equal_gain_db: Option<f64>,
}

/// Every pair of microphones whose response was measured on the axis, in the order of their keys.
pub(super) fn pairs(all: &[Measuring]) -> Vec<MatchedPair> {
    let heard: Vec<&Measuring> = all.iter().filter(|m| m.averaged.is_some()).collect();
    let later = |i: usize| heard[i + 1..].iter().map(move |second| (i, *second));
    (0..heard.len())
        .flat_map(later)
        .filter_map(|(i, second)| {
            let first = heard[i];
            let points = |m: &Measuring| Some(m.averaged.as_ref()?.gated.points.clone());
            let matched = pair_match(&points(first)?, &points(second)?)?;
            let gains = one_gain(second).zip(one_gain(first));
            Some(MatchedPair {
                first: first.key.to_string(),
                second: second.key.to_string(),
                names: [first, second].map(|m| m.mic.name.clone()),
                n_repeats: [first, second].map(|m| m.axis.heard.len()),
                at_equal_gain_db: gains.map(|(second, first)| matched.level_db - (second - first)),
                matched,
            })
        })
        .collect()
}

/// The gain that all takes on the axis share.
fn one_gain(m: &Measuring) -> Option<f64> {
    let mut gains = m.axis.heard.iter().map(|h| h.take.gain_db);
    let first = gains.next()??;
    gains.all(|g| g.is_some_and(|g| (g - first).abs() < 0.01)).then_some(first)
}
