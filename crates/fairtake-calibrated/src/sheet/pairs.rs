//! Pairs: microphones at the standard place, held against each other.

use super::Measuring;
use super::levels::{SAME_DB, one_gain, two_gains};
use crate::Quantity;
use crate::bench::Bench;
use crate::microphone::{PairMatch, SamePlace, pair_match};
use crate::proximity::speed_of_sound_m_s;
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
    /// How often each was set up: several sweeps of one placement are one setting-up.
    pub n_repeats: [usize; 2],
    /// Second less first. Its level is that in the files, whatever the gains.
    pub matched: PairMatch,
    /// Second less first at equal gain, in dB; `None`: a gain is not logged, or takes of one microphone differ in it.
    pub at_equal_gain_db: Option<Quantity>,
}

/// Every pair of microphones whose response was measured on the axis, in the order of their keys.
pub(super) fn pairs(bench: &Bench, all: &[Measuring]) -> Vec<MatchedPair> {
    let heard: Vec<&Measuring> = all.iter().filter(|m| m.averaged.is_some()).collect();
    let later = |i: usize| heard[i + 1..].iter().map(move |second| (i, *second));
    (0..heard.len())
        .flat_map(later)
        .filter_map(|(i, second)| {
            let first = heard[i];
            // What no pattern is logged of may be a gradient receiver as a whole.
            let shares = [first, second].map(|m| m.mic.gradient_share.unwrap_or(1.0));
            let place = SamePlace {
                distance_mm: first.axis.heard.first()?.take.distance_mm,
                within_mm: bench.place_within_mm,
                gradient_share: shares[0].max(shares[1]),
                speed_m_s: speed_of_sound_m_s(bench.temperature_or_usual_c()),
            };
            let settings = |m: &Measuring| Some(m.averaged.as_ref()?.settings_up.clone());
            let (of_first, of_second) = (settings(first)?, settings(second)?);
            let matched = pair_match(&of_first, &of_second, &place)?;
            let gains = gain_of(second).zip(gain_of(first));
            Some(MatchedPair {
                first: first.key.to_string(),
                second: second.key.to_string(),
                names: [first, second].map(|m| m.mic.name.clone()),
                n_repeats: [of_first.len(), of_second.len()],
                at_equal_gain_db: gains
                    .map(|(second, first)| at_equal_gain(&matched.level_db, second - first, bench)),
                matched,
            })
        })
        .collect()
}

/// A level as it would be with one gain.
///
/// Gains that are logged alike are taken as a knob that nobody touched, which has no doubt of its own. That is an assumption (common practice,
/// no source): a knob that was turned and set back to its mark is off by as much as any other.
fn at_equal_gain(level_db: &Quantity, change_db: f64, bench: &Bench) -> Quantity {
    let value = level_db.value - change_db;
    if level_db.half.is_none() {
        return Quantity::of_unknown_uncertainty(value);
    }
    let mut budget = level_db.budget.clone();
    if change_db.abs() > SAME_DB {
        budget.push(two_gains(change_db, bench.gain_within_db).contribution("two gains"));
    }
    Quantity::new(value, budget)
}

/// The gain that all takes on the axis share.
fn gain_of(m: &Measuring) -> Option<f64> {
    let takes: Vec<_> = m.axis.heard.iter().map(|h| h.take).collect();
    one_gain(&takes).ok().flatten()
}
