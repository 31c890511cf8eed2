//! Which microphone and source a name speaks of: `drum-moorhen-2` is the source `drum`, the microphone `moorhen`, its
//! second setting-up; `drum-3-moorhen` its third pass of playing. Only keys and names that the log knows count.

use crate::take_in::key_of;
use fairtake_compare::{Role, Shootout};

/// What a name says; `None` for what it does not.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Named {
    /// Key of the source.
    pub source: Option<String>,
    /// Key of the microphone.
    pub mic: Option<String>,
    /// Number behind both.
    pub placement: Option<u32>,
    /// Number between both.
    pub performance: Option<u32>,
    /// A role that is written out.
    pub role: Option<Role>,
}

/// Where a key was found in a name, in words.
struct Found {
    key: String,
    from: usize,
    to: usize,
}

/// Reads a name, the file's without its ending, or one that a recorder stored inside.
pub fn read_name(name: &str, shootout: &Shootout) -> Named {
    let key = key_of(name);
    let words: Vec<&str> = key.split('-').collect();
    let sources = shootout.sources.iter().map(|(key, s)| (key.as_str(), s.name.as_str()));
    let mics = shootout.mics.iter().map(|(key, m)| (key.as_str(), m.name.as_str()));
    let source = only_longest(&words, sources);
    let mic = only_longest(&words, mics);
    // One word cannot be both.
    let overlap = source.as_ref().zip(mic.as_ref()).is_some_and(|(s, m)| s.from < m.to && m.from < s.to);
    let (source, mic) = if overlap { (None, None) } else { (source, mic) };
    let (mut placement, mut performance) = (None, None);
    if let (Some(s), Some(m)) = (&source, &mic) {
        let number = |from: usize, to: usize| {
            let numbers: Vec<u32> = words[from..to].iter().filter_map(|w| w.parse().ok()).collect();
            numbers.first().copied().filter(|n| *n > 0)
        };
        performance = number(s.to.min(m.to), s.from.max(m.from));
        placement = number(s.to.max(m.to), words.len());
    }
    let taken =
        |i: usize| [&source, &mic].iter().any(|f| f.as_ref().is_some_and(|f| (f.from..f.to).contains(&i)));
    let says = |w: &[&str]| {
        (0..words.len()).any(|i| words[i..].starts_with(w) && (i..i + w.len()).all(|i| !taken(i)))
    };
    let role = [
        (Role::Witness, vec!["witness"]),
        (Role::RoomTone, vec!["room", "tone"]),
        (Role::RoomTone, vec!["roomtone"]),
        (Role::Bleed, vec!["bleed"]),
    ]
    .into_iter()
    .find(|(_, w)| says(w))
    .map(|(role, _)| role);
    Named { source: source.map(|f| f.key), mic: mic.map(|f| f.key), placement, performance, role }
}

/// The key whose words, or whose name's words, stand in the name. Of several the longest; `None` where two are as long.
fn only_longest<'k>(words: &[&str], known: impl Iterator<Item = (&'k str, &'k str)>) -> Option<Found> {
    let mut found: Vec<Found> = Vec::new();
    for (key, name) in known {
        for plain in [key_of(key), key_of(name)] {
            let wanted: Vec<&str> = plain.split('-').collect();
            let at = (0..words.len()).find(|i| words[*i..].starts_with(&wanted));
            if let Some(from) = at {
                found.push(Found { key: key.into(), from, to: from + wanted.len() });
            }
        }
    }
    let longest = found.iter().map(|f| f.to - f.from).max()?;
    found.retain(|f| f.to - f.from == longest);
    let first = found.remove(0);
    found.iter().all(|f| f.key == first.key).then_some(first)
}

#[cfg(test)]
mod tests {
    use super::*;
    use fairtake_compare::{Mic, Source};

    fn log() -> Shootout {
        let mut log = Shootout::default();
        for (key, name) in
            [("drum", "frame drum, 40 cm"), ("drum-together", "drum"), ("voice", "speaking voice")]
        {
            log.sources.insert(key.into(), Source { name: name.into(), ..Source::default() });
        }
        for (key, name) in [("moorhen", "Moorhen 12"), ("heron", "Heron 3"), ("coot", "Coot")] {
            log.mics.insert(key.into(), Mic { name: name.into(), ..Mic::default() });
        }
        log
    }

    fn check(
        name: &str,
        source: Option<&str>,
        mic: Option<&str>,
        placement: Option<u32>,
        performance: Option<u32>,
    ) {
        let named = read_name(name, &log());
        let found = (named.source.as_deref(), named.mic.as_deref(), named.placement, named.performance);
        assert_eq!(found, (source, mic, placement, performance), "{name}");
    }

    #[test]
    fn source_microphone_and_placement_are_read_from_a_name() {
        let (drum, moorhen) = (Some("drum"), Some("moorhen"));
        check("voice-moorhen-2", Some("voice"), moorhen, Some(2), None);
        check("Voice_Moorhen 2", Some("voice"), moorhen, Some(2), None);
        check("moorhen-voice-2", Some("voice"), moorhen, Some(2), None);
        check("voice-3-heron", Some("voice"), Some("heron"), None, Some(3));
        check("voice-3-heron-2", Some("voice"), Some("heron"), Some(2), Some(3));
        // Names count like keys, and their numbers are no placements.
        check("voice-Moorhen 12", Some("voice"), moorhen, None, None);
        check("voice-moorhen-12-3", Some("voice"), moorhen, Some(3), None);
        // Of two keys the longer one; of two as long, none.
        check("drum-together-coot-1", Some("drum-together"), Some("coot"), Some(1), None);
        check("frame drum, 40 cm, moorhen 1", drum, moorhen, Some(1), None);
        check("voice-heron-coot-1", Some("voice"), None, None, None);
        // A date in front and words behind do no harm; placement 0 is none.
        check("2026-11-25-voice-moorhen-1-good", Some("voice"), moorhen, Some(1), None);
        check("voice-moorhen-0", Some("voice"), moorhen, None, None);
        check("take 0007", None, None, None, None);
        check("moorhens-voices", None, None, None, None);
    }

    #[test]
    fn a_role_is_read_where_it_is_written_out() {
        let role = |name| read_name(name, &log()).role;
        assert_eq!(role("voice-coot-witness-1"), Some(Role::Witness));
        assert_eq!(role("voice-coot-room-tone"), Some(Role::RoomTone));
        assert_eq!(role("voice-coot-1"), None);
    }
}
