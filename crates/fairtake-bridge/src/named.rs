//! A microphone with the equaliser that carries it to another, as a contestant: its key and its name.

use fairtake_compare::Shootout;

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

#[cfg(test)]
mod tests {
    use super::*;
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
}
