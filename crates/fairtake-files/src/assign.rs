//! Which takes a file holds that lies in the shootout folder: by the log, else by its name and what is stored in it.

use crate::audio::AudioFile;
use crate::log::{Log, TakeEntry};
use crate::naming::{Named, read_name};
use crate::take_in::key_of;
use crate::wav::Metadata;
use fairtake_compare::{Role, Shootout};
use std::collections::BTreeMap;
use std::path::Path;
use std::time::Duration;

/// Files of one recording stop together: their times of change lie no farther apart than a slow disk writes them out.
const STOP_TOGETHER: Duration = Duration::from_secs(3);

/// What the user said of every file that does not say it itself.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Said {
    /// Key of the source.
    pub source: Option<String>,
    /// Keys of the microphones: one, or one per channel.
    pub mics: Vec<String>,
    /// Setting-up.
    pub placement: Option<u32>,
}

/// What is not known of a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum NotKnown {
    /// Which microphone it is of.
    Mic,
    /// Which source.
    Source,
    /// Neither.
    Both,
    /// Which channel belongs to which microphone.
    Channels(u16),
}

impl NotKnown {
    /// As a short question.
    pub fn words(&self) -> String {
        match self {
            NotKnown::Mic => "which microphone?".into(),
            NotKnown::Source => "which source?".into(),
            NotKnown::Both => "which source and microphone?".into(),
            NotKnown::Channels(n) => format!("which microphone on each of {n} channels?"),
        }
    }

    /// How to say it, with a name made from what the log has.
    pub fn hint(&self, shootout: &Shootout) -> String {
        if let NotKnown::Channels(_) = self {
            return "name the tracks in the recorder, or start with --mics A,B".into();
        }
        match (shootout.sources.keys().next(), shootout.mics.keys().next()) {
            (Some(source), Some(mic)) => {
                let known: Vec<&str> = match self {
                    NotKnown::Source => shootout.sources.keys().map(String::as_str).collect(),
                    _ => shootout.mics.keys().map(String::as_str).collect(),
                };
                let known = known.join(", ");
                format!("name it SOURCE-MIC-PLACEMENT, such as {source}-{mic}-1; in the log: {known}")
            }
            _ => "log a source and a microphone first, or start with --source and --mics".into(),
        }
    }
}

/// The takes of a file that the log lists, or those that would be added to it.
///
/// # Errors
/// When it is not plain which source and microphone it is of.
pub fn assign(log: &Log, file: &str, audio: &AudioFile, said: &Said) -> Result<Vec<TakeEntry>, NotKnown> {
    let listed: Vec<TakeEntry> = log.takes.iter().filter(|t| t.file == file).cloned().collect();
    if !listed.is_empty() {
        return Ok(listed);
    }
    let metadata = audio.metadata();
    let named = named(file, metadata, &log.shootout);
    let only = |keys: Vec<&String>| match keys.as_slice() {
        [one] => Some((*one).clone()),
        _ => None,
    };
    let source = named
        .source
        .clone()
        .or(said.source.as_deref().map(key_of))
        .or(only(log.shootout.sources.keys().collect()));
    let n_channels = audio.n_channels();
    let mics = if n_channels == 1 {
        let one = said.mics.first().filter(|_| said.mics.len() == 1);
        let mic = named.mic.clone().or(one.map(|m| key_of(m)));
        match (&source, mic) {
            (Some(_), Some(mic)) => vec![mic],
            (Some(_), None) => return Err(NotKnown::Mic),
            (None, Some(_)) => return Err(NotKnown::Source),
            (None, None) => return Err(NotKnown::Both),
        }
    } else {
        by_channel(metadata, n_channels, said, &log.shootout).ok_or(NotKnown::Channels(n_channels))?
    };
    let Some(source) = source else { return Err(NotKnown::Source) };
    let order = log.takes.iter().map(|t| t.order.unwrap_or(0)).max().unwrap_or(0) + 1;
    let performance =
        named.performance.unwrap_or_else(|| log.takes.iter().map(|t| t.performance).max().unwrap_or(0) + 1);
    Ok((1u16..)
        .zip(mics)
        .map(|(channel, mic)| {
            let mut entry = TakeEntry::new(file, channel, &mic, &source);
            let earlier: Vec<&TakeEntry> =
                log.takes.iter().filter(|t| t.mic == mic && t.source == source).collect();
            let last = earlier.iter().map(|t| t.placement).max().unwrap_or(1);
            entry.placement = named.placement.or(said.placement).unwrap_or(last);
            entry.performance = performance;
            entry.order = Some(order);
            // A microphone that was the witness of this source is so still.
            let witnesses = earlier.last().is_some_and(|t| t.role == Role::Witness);
            entry.role = named.role.unwrap_or(if witnesses { Role::Witness } else { Role::Compared });
            entry
        })
        .collect())
}

/// What is known of a channel of a file that the log does not list yet; what is `None` must be said.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Suggested {
    /// Channel, counted from 1.
    pub channel: u16,
    /// Key of the microphone.
    pub mic: Option<String>,
    /// Key of the source.
    pub source: Option<String>,
    /// Setting-up: as named, else the last one logged.
    pub placement: u32,
    /// Pass of playing: as named, else a new one.
    pub performance: u32,
    /// Next number in the order of the takes.
    pub order: u32,
    /// What it is for.
    pub role: Role,
}

/// The pass of playing that each of several files that the log does not list holds, counted on from the log: every file
/// its own, but for those whose recorder stored that it started them at one moment.
pub fn passes(log: &Log, files: &[&AudioFile]) -> Vec<u32> {
    let started = |audio: &AudioFile| {
        let bext = audio.metadata().bext.as_ref().filter(|b| b.time_reference_frames > 0)?;
        Some((bext.date.clone(), bext.time_reference_frames, audio.rate_hz()))
    };
    let mut next = log.takes.iter().map(|t| t.performance).max().unwrap_or(0);
    let mut known = BTreeMap::new();
    let mut number = |audio: &AudioFile| {
        let start = started(audio);
        if let Some(same) = start.as_ref().and_then(|s| known.get(s)) {
            return *same;
        }
        next += 1;
        if let Some(start) = start {
            known.insert(start, next);
        }
        next
    };
    files.iter().map(|audio| number(audio)).collect()
}

/// What name and metadata of a file suggest, channel by channel. `pass`: its number among all passes (see [`passes`]),
/// where the name says nothing.
pub fn suggest(log: &Log, file: &str, audio: &AudioFile, pass: u32) -> Vec<Suggested> {
    let whole = named(file, audio.metadata(), &log.shootout);
    let n_channels = audio.n_channels();
    let last = |number: fn(&TakeEntry) -> u32| log.takes.iter().map(number).max().unwrap_or(0);
    // Passes that are new are taken in as they were played.
    let order = (last(|t| t.order.unwrap_or(0)) + pass).saturating_sub(last(|t| t.performance)).max(1);
    (1..=n_channels)
        .map(|channel| {
            let track = audio.metadata().track_names.iter().find(|(c, _)| *c == channel);
            let of_track = track.map(|(_, name)| read_name(name, &log.shootout)).unwrap_or_default();
            let mic = if n_channels == 1 { whole.mic.clone() } else { of_track.mic };
            let source = whole.source.clone().or(of_track.source);
            let same = |t: &&TakeEntry| Some(&t.mic) == mic.as_ref() && Some(&t.source) == source.as_ref();
            let earlier: Vec<&TakeEntry> = log.takes.iter().filter(same).collect();
            let last = earlier.iter().map(|t| t.placement).max().unwrap_or(1);
            let witnesses = earlier.last().is_some_and(|t| t.role == Role::Witness);
            Suggested {
                channel,
                placement: whole.placement.unwrap_or(last),
                performance: whole.performance.unwrap_or(pass),
                order,
                role: whole.role.unwrap_or(if witnesses { Role::Witness } else { Role::Compared }),
                mic,
                source,
            }
        })
        .collect()
}

/// The name of the file; what it leaves open may stand in the description that the recorder stored.
fn named(file: &str, metadata: &Metadata, shootout: &Shootout) -> Named {
    let stem = Path::new(file).file_stem().map(|s| s.to_string_lossy().into_owned()).unwrap_or_default();
    let mut named = read_name(&stem, shootout);
    let inside = metadata.bext.iter().map(|b| b.description.as_str()).chain(
        metadata.track_names.iter().filter(|_| metadata.track_names.len() == 1).map(|(_, n)| n.as_str()),
    );
    for text in inside {
        let more = read_name(text, shootout);
        if named.mic.is_none() && named.source.is_none() {
            named = more;
        } else {
            named.mic = named.mic.or(more.mic);
            named.source = named.source.or(more.source);
        }
    }
    named
}

/// Microphones by channel: as said, else by track names that the log knows, each once.
fn by_channel(metadata: &Metadata, n_channels: u16, said: &Said, shootout: &Shootout) -> Option<Vec<String>> {
    if said.mics.len() == usize::from(n_channels) {
        return Some(said.mics.iter().map(|m| key_of(m)).collect());
    }
    let mut mics: Vec<String> = Vec::new();
    for channel in 1..=n_channels {
        let (_, name) = metadata.track_names.iter().find(|(c, _)| *c == channel)?;
        let mic = read_name(name, shootout).mic?;
        if mics.contains(&mic) {
            return None;
        }
        mics.push(mic);
    }
    Some(mics)
}

/// True when two files in a folder show that they were started at the same moment by one recorder; `None` when they do
/// not say, but stopped together, so that their sound may tell.
pub fn started_together(folder: &Path, one: &str, other: &str) -> Option<bool> {
    let open = |file: &str| AudioFile::open(&folder.join(file)).ok();
    let (a, b) = (open(one)?, open(other)?);
    if let (Some(x), Some(y)) = (&a.metadata().bext, &b.metadata().bext)
        && x.time_reference_frames > 0
        && y.time_reference_frames > 0
    {
        let same = x.time_reference_frames == y.time_reference_frames && x.date == y.date;
        return Some(same && a.rate_hz() == b.rate_hz());
    }
    let changed = |file: &str| std::fs::metadata(folder.join(file)).and_then(|m| m.modified()).ok();
    let (x, y) = (changed(one)?, changed(other)?);
    let apart = x.duration_since(y).or_else(|_| y.duration_since(x)).ok()?;
    if apart <= STOP_TOGETHER { None } else { Some(false) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::log::parse_log;
    use crate::wav::{Bext, Replace, StoreAs, WavSpec, WavWriter};

    const LOG: &str = "[mics.moorhen]\nname = \"Moorhen 12\"\n[mics.coot]\n[sources.drum]\n[sources.voice]\n\
                       [[takes]]\nfile = \"takes/a.wav\"\nmic = \"coot\"\nsource = \"voice\"\nplacement = 3\n\
                       performance = 4\norder = 7\nrole = \"witness\"\n";

    fn log(text: &str) -> Log {
        parse_log("shootout.toml", text).expect("a good log")
    }

    fn audio(folder: &Path, name: &str, n_channels: u16) -> AudioFile {
        let path = folder.join(name);
        let spec = WavSpec {
            rate_hz: 8000,
            n_channels,
            store_as: StoreAs::Int16,
            bext: None,
            cue_markers: Vec::new(),
        };
        let mut w = WavWriter::create(&path, spec, Replace::Never).expect("made");
        w.write(&[0.0; 800]).expect("written");
        w.finish().expect("finished");
        AudioFile::open(&path).expect("opens")
    }

    #[test]
    fn a_file_is_assigned_by_the_log_by_its_name_or_by_what_was_said() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let mono = audio(folder.path(), "mono.wav", 1);
        let stereo = audio(folder.path(), "stereo.wav", 2);
        let log = log(LOG);
        let nothing = Said::default();
        let one = |file: &str, said: &Said| assign(&log, file, &mono, said).map(|mut e| e.remove(0));
        assert_eq!(one("takes/a.wav", &nothing).expect("is listed").order, Some(7));
        let new = one("takes/drum-moorhen-2.wav", &nothing).expect("is named");
        assert_eq!((new.mic.as_str(), new.source.as_str(), new.placement), ("moorhen", "drum", 2));
        assert_eq!((new.performance, new.order, new.role), (5, Some(8), Role::Compared));
        // Placement and role of the last take of this microphone at this source.
        let again = one("voice-coot.wav", &nothing).expect("is named");
        assert_eq!((again.placement, again.role), (3, Role::Witness));
        assert_eq!(one("TAKE007.wav", &nothing), Err(NotKnown::Both));
        assert_eq!(one("drum 7.wav", &nothing), Err(NotKnown::Mic));
        assert_eq!(one("coot 7.wav", &nothing), Err(NotKnown::Source));
        let said = Said { source: Some("Snare".into()), mics: vec!["Heron 3".into()], placement: Some(2) };
        let told = one("TAKE007.wav", &said).expect("was said");
        assert_eq!((told.mic.as_str(), told.source.as_str(), told.placement), ("heron-3", "snare", 2));
        // What the name says goes before what was said.
        assert_eq!(one("drum-moorhen-1.wav", &said).expect("is named").mic, "moorhen");
        assert_eq!(assign(&log, "drum.wav", &stereo, &nothing), Err(NotKnown::Channels(2)));
        let both = Said { mics: vec!["moorhen".into(), "coot".into()], ..nothing };
        let two = assign(&log, "drum.wav", &stereo, &both).expect("was said");
        let found: Vec<(u16, &str, u32)> =
            two.iter().map(|t| (t.channel, t.mic.as_str(), t.performance)).collect();
        assert_eq!(found, [(1, "moorhen", 5), (2, "coot", 5)]);
    }

    #[test]
    fn every_file_is_a_pass_of_its_own_but_those_that_a_recorder_started_together() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let at = |name: &str, time_reference_frames: u64| {
            let path = folder.path().join(name);
            let bext = Bext { time_reference_frames, date: "2026-11-02".into(), ..Bext::default() };
            let spec = WavSpec {
                rate_hz: 8000,
                n_channels: 2,
                store_as: StoreAs::Int16,
                bext: Some(bext),
                cue_markers: Vec::new(),
            };
            let mut w = WavWriter::create(&path, spec, Replace::Never).expect("made");
            w.write(&[0.0; 800]).expect("written");
            w.finish().expect("finished");
            AudioFile::open(&path).expect("opens")
        };
        let files = [at("a.wav", 500), at("b.wav", 900), at("c.wav", 500), at("d.wav", 0), at("e.wav", 0)];
        let log = log(LOG);
        let numbers = passes(&log, &files.iter().collect::<Vec<_>>());
        assert_eq!(numbers, [5, 6, 5, 7, 8]);
        let suggested = suggest(&log, "b.wav", &files[1], numbers[1]);
        let of: Vec<(u16, u32, u32)> =
            suggested.iter().map(|s| (s.channel, s.performance, s.order)).collect();
        assert_eq!(of, [(1, 6, 9), (2, 6, 9)], "channels of one file are one pass");
        assert_eq!(suggest(&log, "drum-coot-2.wav", &files[3], 7)[0].placement, 2);
    }

    #[test]
    fn what_is_not_known_is_asked_with_a_name_that_would_do() {
        let log = log(LOG);
        assert_eq!(NotKnown::Mic.words(), "which microphone?");
        assert_eq!(
            NotKnown::Mic.hint(&log.shootout),
            "name it SOURCE-MIC-PLACEMENT, such as drum-coot-1; in the log: coot, moorhen"
        );
        assert!(NotKnown::Both.hint(&Shootout::default()).contains("--source"));
    }
}
