//! A shootout folder: its log, its takes with open samples, and the derived cache in `.fairtake/`.
//!
//! File hashes are not remembered between runs: size and time of change can stay the same while the content
//! changes, and hashing is cheap beside being wrong.

use crate::audio::AudioFile;
use crate::error::{AudioError, AudioProblem};
use crate::hash::hex;
use crate::log::{Log, TakeEntry, parse_log};
use crate::log_error::LogError;
use crate::log_write::{new_log, read_text, replace_file};
use crate::shelf::{Loaded, Shelf};
use fairtake_compare::{ChainEntry, FileHash, Role, Shootout, StoredAs, Take};
use sha2::{Digest, Sha256};
use std::collections::{HashMap, HashSet};
use std::fmt;
use std::path::{Path, PathBuf};

/// A folder with a log.
#[derive(Debug, Clone)]
pub struct ShootoutFolder {
    path: PathBuf,
}

/// What can go wrong with a folder.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum FolderError {
    /// In the log.
    Log(LogError),
    /// In an audio file.
    Audio(AudioError),
    /// With the folder itself.
    Folder {
        /// Which.
        folder: String,
        /// What was found.
        what: String,
    },
}

impl fmt::Display for FolderError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            FolderError::Log(e) => e.fmt(f),
            FolderError::Audio(e) => e.fmt(f),
            FolderError::Folder { folder, what } => write!(f, "{folder}: {what}"),
        }
    }
}

impl std::error::Error for FolderError {}

impl FolderError {
    /// What to do about it.
    pub fn hint(&self) -> &str {
        match self {
            FolderError::Log(e) => &e.hint,
            FolderError::Audio(e) => e.hint(),
            FolderError::Folder { .. } => "choose another folder, or check its permissions",
        }
    }
}

impl ShootoutFolder {
    /// Makes a folder with an empty log and a place for takes.
    ///
    /// # Errors
    /// When it holds a log already or cannot be made.
    pub fn create(path: &Path, title: &str) -> Result<ShootoutFolder, FolderError> {
        let made = ShootoutFolder { path: path.into() };
        if made.log_path().exists() {
            return Err(made.fail("holds a shootout.toml already".into()));
        }
        std::fs::create_dir_all(path.join("takes")).map_err(|e| made.fail(format!("cannot be made: {e}")))?;
        replace_file(path, &made.log_path(), new_log(title).as_bytes())
            .map_err(|e| made.fail(format!("cannot be written to: {e}")))?;
        Ok(made)
    }

    /// Opens a folder that holds a log.
    ///
    /// # Errors
    /// When there is no log.
    pub fn open(path: &Path) -> Result<ShootoutFolder, FolderError> {
        let folder = ShootoutFolder { path: path.into() };
        read_text(&folder.log_path()).map_err(FolderError::Log)?;
        Ok(folder)
    }

    /// Where it is.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Where the log is.
    pub fn log_path(&self) -> PathBuf {
        self.path.join("shootout.toml")
    }

    /// Reads the log and nothing else.
    ///
    /// # Errors
    /// When it cannot be read or is faulty.
    pub fn log(&self) -> Result<Log, FolderError> {
        let text = read_text(&self.log_path()).map_err(FolderError::Log)?;
        parse_log(&self.log_path().display().to_string(), &text).map_err(FolderError::Log)
    }

    /// Reads the log and opens every take; each file is hashed once.
    ///
    /// # Errors
    /// When the log is faulty, or a take that it names cannot be opened.
    pub fn load(&self) -> Result<(Shootout, Vec<Take>), FolderError> {
        let loaded = self.load_onto(&mut Shelf::default())?;
        let Some((entry, e)) = loaded.not_opened.into_iter().next() else {
            return Ok((loaded.log.shootout, loaded.takes));
        };
        Err(match e.problem {
            AudioProblem::NotFound => {
                let text = read_text(&self.log_path()).map_err(FolderError::Log)?;
                let what = format!("there is no file `{}` in the folder", entry.file);
                let hint = "paths are counted from the folder of the log";
                let name = self.log_path().display().to_string();
                FolderError::Log(LogError::at(&name, &text, entry.span, what, hint))
            }
            _ => FolderError::Audio(e),
        })
    }

    /// Reads the log and opens the takes that can be opened; what lies on the shelf and did not change is taken from there.
    ///
    /// # Errors
    /// When the log is faulty.
    pub fn load_onto(&self, shelf: &mut Shelf) -> Result<Loaded, FolderError> {
        let log = self.log()?;
        let (mut opened, mut not_opened) = (Vec::new(), Vec::new());
        for entry in &log.takes {
            match shelf.open(&self.path.join(&entry.file)) {
                Ok(audio) => opened.push((entry.clone(), audio)),
                Err(e) => not_opened.push((entry.clone(), e)),
            }
        }
        let mut takes = Vec::new();
        for (entry, take) in open_takes(&self.path, opened, shelf) {
            match take {
                Ok(take) => takes.push(take),
                Err(e) => not_opened.push((entry, e)),
            }
        }
        Ok(Loaded { log, takes, not_opened })
    }

    /// Opens takes that the log lists, or that could be added to it. Their hashes become known once they are compared.
    ///
    /// # Errors
    /// When one cannot be opened.
    pub fn open_entries(&self, entries: Vec<TakeEntry>) -> Result<Vec<Take>, AudioError> {
        open_to_be_hashed(self.opened(entries)?)
    }

    /// The same where nothing is compared and a quick answer is due: hashes stay unknown.
    ///
    /// # Errors
    /// When one cannot be opened.
    pub fn open_unhashed(&self, entries: Vec<TakeEntry>) -> Result<Vec<Take>, AudioError> {
        let unhashed = |(entry, audio): (TakeEntry, AudioFile)| {
            let stored_as = audio.stored_as_with(FileHash::default());
            open_take(entry, &audio, stored_as)
        };
        self.opened(entries)?.into_iter().map(unhashed).collect()
    }

    fn opened(&self, entries: Vec<TakeEntry>) -> Result<Vec<(TakeEntry, AudioFile)>, AudioError> {
        let open = |entry: TakeEntry| {
            let audio = AudioFile::open(&self.path.join(&entry.file))?;
            Ok((entry, audio))
        };
        entries.into_iter().map(open).collect()
    }

    /// What was stored under a key, `None` if nothing was, it cannot be read or is no longer what was stored.
    pub fn cache_get(&self, key: &str) -> Option<Vec<u8>> {
        let stored = std::fs::read(self.cache_path(key)?).ok()?;
        let (hash, bytes) = stored.split_at_checked(64)?;
        (hex(&Sha256::digest(bytes)).as_bytes() == hash).then(|| bytes.to_vec())
    }

    /// Stores derived bytes under a key of [`cache_key`].
    ///
    /// # Errors
    /// When the key is none of `cache_key`'s, or the folder cannot be written to.
    pub fn cache_put(&self, key: &str, bytes: &[u8]) -> Result<(), FolderError> {
        let path =
            self.cache_path(key).ok_or_else(|| self.fail(format!("`{key}` is no key of the cache")))?;
        let stored = [hex(&Sha256::digest(bytes)).as_bytes(), bytes].concat();
        replace_file(&self.path, &path, &stored).map_err(|e| self.fail(format!("cannot be written to: {e}")))
    }

    /// Everything that is stored and still is what was stored, the newest first.
    pub fn cached(&self) -> impl Iterator<Item = Vec<u8>> + use<'_> {
        let entries = std::fs::read_dir(self.path.join(".fairtake")).into_iter().flatten().flatten();
        let mut keys: Vec<(std::time::SystemTime, String)> = entries
            .filter_map(|e| Some((e.metadata().ok()?.modified().ok()?, e.file_name().into_string().ok()?)))
            .collect();
        keys.sort();
        keys.into_iter().rev().filter_map(|(_, key)| self.cache_get(&key))
    }

    fn cache_path(&self, key: &str) -> Option<PathBuf> {
        let plain = key.len() == 64 && key.bytes().all(|b| b.is_ascii_hexdigit());
        plain.then(|| self.path.join(".fairtake").join(key))
    }

    fn fail(&self, what: String) -> FolderError {
        FolderError::Folder { folder: self.path.display().to_string(), what }
    }
}

/// Key of the derived cache: changes with program, log, content of the takes and settings.
pub fn cache_key(program_version: &str, contents: &str, settings_json: &str) -> String {
    let mut hasher = Sha256::new();
    for part in [program_version, contents, settings_json] {
        // Lengths first, so that no two triples run together to the same bytes.
        hasher.update((part.len() as u64).to_le_bytes());
        hasher.update(part);
    }
    hex(&hasher.finalize())
}

/// Everything that a result depends on beside the settings, in words that change when it does: the log without plans and
/// own words, and the takes with their files' hashes.
pub fn contents_of(shootout: &Shootout, takes: &[Take]) -> String {
    let line = |t: &Take| {
        let placed = (&t.mic, &t.source, t.placement, t.performance, t.order, &t.position, t.role);
        line(&t.id, &t.stored_as.sha256, placed, &t.chain, (&t.hand_set_events_s, t.keep_although_unfair))
    };
    contents(shootout, takes.iter().map(line))
}

/// The same of a log whose takes need not be at hand: `known` gives the id of a take, and the hash of its file. `None` where
/// it does not know one.
pub fn contents_of_log<'k>(
    log: &Log,
    known: impl Fn(&TakeEntry) -> Option<(&'k str, String)>,
) -> Option<String> {
    let line = |t: &TakeEntry| {
        let (id, sha256) = known(t)?;
        let placed = (&t.mic, &t.source, t.placement, t.performance, t.order, &t.position, t.role);
        Some(line(id, &sha256, placed, &t.chain, (&t.hand_set_events_s, t.keep_although_unfair)))
    };
    let lines: Option<Vec<String>> = log.takes.iter().map(line).collect();
    Some(contents(&log.shootout, lines?.into_iter()))
}

/// Whose a take is, how often, in which order, where, and what for.
type Placed<'t> = (&'t String, &'t String, u32, u32, Option<u32>, &'t Option<String>, Role);

fn line(
    id: &str,
    sha256: &str,
    placed: Placed<'_>,
    chain: &ChainEntry,
    by_hand: (&Option<Vec<f64>>, bool),
) -> String {
    format!("{id} {sha256} {placed:?} {chain:?} {by_hand:?}")
}

fn contents(shootout: &Shootout, lines: impl Iterator<Item = String>) -> String {
    let computed_from =
        Shootout { plans: Default::default(), own_words: Default::default(), ..shootout.clone() };
    format!("{computed_from:?}\n{}", lines.collect::<Vec<_>>().join("\n"))
}

/// Takes for bare files, one microphone a file, named by its stem; equal stems are numbered.
///
/// # Errors
/// When a file cannot be opened or has no such channel.
pub fn bare_takes(paths: &[PathBuf], channel: u16) -> Result<Vec<Take>, AudioError> {
    let mut used = HashSet::new();
    let mut opened = Vec::new();
    for (idx, path) in paths.iter().enumerate() {
        let audio = AudioFile::open(path)?;
        let stem = path.file_stem().map_or("take".into(), |s| s.to_string_lossy().into_owned());
        let mut mic = stem.clone();
        let mut number = 2;
        while !used.insert(mic.clone()) {
            mic = format!("{stem}-{number}");
            number += 1;
        }
        let entry = TakeEntry {
            performance: idx as u32 + 1,
            ..TakeEntry::new(&path.display().to_string(), channel, &mic, "source")
        };
        opened.push((entry, audio));
    }
    let mut takes = open_to_be_hashed(opened)?;
    takes.iter_mut().for_each(|t| t.id.clone_from(&t.mic));
    Ok(takes)
}

/// Takes of opened files whose hash becomes known once they are measured. Takes of one file share it: the first to be
/// listed hears what is read.
fn open_to_be_hashed(opened: Vec<(TakeEntry, AudioFile)>) -> Result<Vec<Take>, AudioError> {
    let mut known: HashMap<String, StoredAs> = HashMap::new();
    opened
        .into_iter()
        .map(|(entry, audio)| {
            let stored_as = match known.get(&entry.file) {
                Some(stored_as) => stored_as.clone(),
                None => audio.stored_as_once_read()?,
            };
            known.insert(entry.file.clone(), stored_as.clone());
            open_take(entry, &audio, stored_as)
        })
        .collect()
}

/// Takes of opened files. Each file is hashed once, several at a time.
fn open_takes(
    folder: &Path,
    opened: Vec<(TakeEntry, AudioFile)>,
    shelf: &mut Shelf,
) -> Vec<(TakeEntry, Result<Take, AudioError>)> {
    let mut files: Vec<(PathBuf, AudioFile)> = Vec::new();
    for (entry, audio) in &opened {
        let path = folder.join(&entry.file);
        if files.iter().all(|(known, _)| *known != path) {
            files.push((path, audio.clone()));
        }
    }
    let stored_as = shelf.stored_as(&files);
    let stored_as: HashMap<&PathBuf, &Result<StoredAs, AudioError>> =
        files.iter().map(|(path, _)| path).zip(&stored_as).collect();
    opened
        .into_iter()
        .map(|(entry, audio)| {
            let take = match stored_as[&folder.join(&entry.file)] {
                Ok(stored_as) => open_take(entry.clone(), &audio, stored_as.clone()),
                Err(e) => Err(e.clone()),
            };
            (entry, take)
        })
        .collect()
}

fn open_take(entry: TakeEntry, audio: &AudioFile, stored_as: StoredAs) -> Result<Take, AudioError> {
    let samples = audio.channel(entry.channel)?;
    Ok(Take {
        // File and channel are unique in a log, so this is too.
        id: format!("{}:{}", entry.file, entry.channel),
        file: entry.file,
        channel: entry.channel,
        mic: entry.mic,
        source: entry.source,
        placement: entry.placement,
        performance: entry.performance,
        order: entry.order,
        position: entry.position,
        role: entry.role,
        chain: entry.chain,
        hand_set_events_s: entry.hand_set_events_s,
        keep_although_unfair: entry.keep_although_unfair,
        stored_as,
        samples: Box::new(samples),
    })
}
