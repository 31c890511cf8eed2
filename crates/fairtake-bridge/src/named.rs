//! A microphone with the equaliser that carries it to another, as a contestant: its key, its name, how it was set.

use crate::{Equaliser, in_words};
use fairtake_compare::Shootout;
use serde::{Deserialize, Serialize};

/// A microphone with an equaliser as it was heard.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Corrected {
    /// Its key, one of [`corrected_key`].
    pub key: String,
    /// Sampling rate at which the bands are evaluated, in Hz.
    pub rate_hz: f64,
    /// What was set.
    pub equaliser: Equaliser,
}

/// The key of a microphone with the equaliser that carries it to another.
pub fn corrected_key(from: &str, to: &str) -> String {
    format!("{from}~{to}")
}

/// Which microphone is corrected and which it becomes like, where a key is one of [`corrected_key`] and no logged microphone's
/// own; where it can be read in several ways, two logged microphones.
pub fn corrected_pair<'k>(log: &Shootout, key: &'k str) -> Option<(&'k str, &'k str)> {
    let logged = |key: &str| log.mics.contains_key(key);
    let pairs = key.match_indices('~').map(|(at, sign)| (&key[..at], &key[at + sign.len()..]));
    pairs.filter(|_| !logged(key)).min_by_key(|(from, to)| !(logged(from) && logged(to)))
}

/// Name for people; of a microphone with an equaliser too.
pub fn mic_name(log: &Shootout, key: &str) -> String {
    match corrected_pair(log, key) {
        Some((from, to)) => {
            format!("{} with an equaliser towards {}", mic_name(log, from), mic_name(log, to))
        }
        None => log.mics.get(key).map_or(key, |m| m.name.as_str()).to_string(),
    }
}

/// How the equaliser of each corrected microphone among these was set, in words; that it was not kept where it was not.
pub fn equalisers_heard(log: &Shootout, mics: &[String], kept: &[Corrected]) -> Vec<String> {
    let of = |key: &String| {
        corrected_pair(log, key)?;
        let name = mic_name(log, key);
        Some(match kept.iter().find(|c| c.key == *key) {
            Some(c) => format!("{name}, as it was heard: {}", set(&c.equaliser)),
            None => format!("{name}: how the equaliser was set was not kept when this test was made"),
        })
    };
    mics.iter().filter_map(of).collect()
}

/// Its bands; of its gain nothing is heard in a test, where all are equally loud.
fn set(equaliser: &Equaliser) -> String {
    let bands: Vec<String> = equaliser.bands.iter().map(in_words).collect();
    if bands.is_empty() { "no band".to_string() } else { bands.join("; ") }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{EqualiserBand, Shape};
    use fairtake_compare::Mic;

    #[test]
    fn a_key_of_a_corrected_microphone_is_never_taken_for_a_logged_one() {
        let mut log = Shootout::default();
        for key in ["heron", "moorhen", "a~b"] {
            log.mics.insert(key.into(), Mic { name: key.to_uppercase(), ..Mic::default() });
        }
        for (from, to) in [("heron", "moorhen"), ("a~b", "heron"), ("heron", "a~b")] {
            assert_eq!(corrected_pair(&log, &corrected_key(from, to)), Some((from, to)));
        }
        assert_eq!(corrected_pair(&log, "a~b"), None);
        assert_eq!(mic_name(&log, "a~b"), "A~B");
        assert_eq!(mic_name(&log, "heron~a~b"), "HERON with an equaliser towards A~B");
        assert_eq!(corrected_pair(&log, "coot~heron"), Some(("coot", "heron")));
        assert_eq!(corrected_pair(&log, "heron"), None);
    }

    #[test]
    fn an_equaliser_that_was_heard_is_said_and_one_that_was_not_kept_is_not_made_up() {
        let log = Shootout::default();
        let mics = ["heron", "heron~moorhen", "moorhen~heron"].map(String::from);
        let band = EqualiserBand { shape: Shape::Peak, hz: 2500.0, gain_db: -3.0, q: 1.5 };
        let equaliser = Equaliser { gain_db: 0.25, bands: vec![band] };
        let kept = [Corrected { key: "heron~moorhen".into(), rate_hz: 48e3, equaliser }];
        assert_eq!(
            equalisers_heard(&log, &mics, &kept),
            [
                "heron with an equaliser towards moorhen, as it was heard: peak at 2.50 kHz, −3.0 dB, Q 1.50",
                "moorhen with an equaliser towards heron: how the equaliser was set was not kept when this test was made"
            ]
        );
    }
}
