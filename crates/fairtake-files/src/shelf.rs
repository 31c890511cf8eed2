//! Files that stay open while a page is worked on: what did not change is neither opened, decoded nor hashed again.

use crate::audio::AudioFile;
use crate::error::AudioError;
use crate::log::{Log, TakeEntry};
use fairtake_compare::{StoredAs, Take};
use std::collections::HashMap;
use std::fs::Metadata;
use std::path::{Path, PathBuf};
use std::thread;
use std::time::{Duration, SystemTime};

/// Opened files of one run of the program.
#[derive(Debug, Default)]
pub struct Shelf {
    files: HashMap<PathBuf, OnShelf>,
}

#[derive(Debug, Clone)]
struct OnShelf {
    stamp: Stamp,
    audio: AudioFile,
    stored_as: Option<StoredAs>,
    /// It was changed so shortly before that another change might bear the same times.
    is_fresh: bool,
}

/// Within this time two changes of a file may bear the same time: the coarsest that file systems keep.
const SAME_TIME: Duration = Duration::from_secs(2);

/// What changes whenever a file's content does while the program runs: besides size and time of change, which a copy may
/// restore, the time at which the system itself noted a change.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Stamp {
    n_bytes: u64,
    changed: Option<SystemTime>,
    noted: (i64, i64),
    inode: u64,
}

/// A log with its takes opened, as far as they can be.
pub struct Loaded {
    /// The log.
    pub log: Log,
    /// Takes in the order of the log, those that cannot be opened left out.
    pub takes: Vec<Take>,
    /// Those, and why.
    pub not_opened: Vec<(TakeEntry, AudioError)>,
}

impl Shelf {
    /// Opens a file, or gives the one that is open already.
    ///
    /// # Errors
    /// As [`AudioFile::open`].
    pub fn open(&mut self, path: &Path) -> Result<AudioFile, AudioError> {
        let stamp = std::fs::metadata(path).ok().map(|about| stamp(&about));
        if let (Some(there), Some(stamp)) = (self.files.get(path), stamp)
            && there.stamp == stamp
            && !there.is_fresh
        {
            return Ok(there.audio.clone());
        }
        self.files.remove(path);
        let audio = AudioFile::open(path)?;
        if let Some(stamp) = stamp {
            let is_fresh = stamp.is_fresh(SystemTime::now());
            self.files
                .insert(path.into(), OnShelf { stamp, audio: audio.clone(), stored_as: None, is_fresh });
        }
        Ok(audio)
    }

    /// How each of these files is stored, with its hash; several at a time.
    pub(crate) fn stored_as(&mut self, files: &[(PathBuf, AudioFile)]) -> Vec<Result<StoredAs, AudioError>> {
        let known: Vec<Option<StoredAs>> =
            files.iter().map(|(path, _)| self.files.get(path).and_then(|f| f.stored_as.clone())).collect();
        let unknown: Vec<usize> = (0..files.len()).filter(|i| known[*i].is_none()).collect();
        let n_threads = thread::available_parallelism().map_or(1, |n| n.get()).min(unknown.len());
        let hash = &|worker: usize| -> Vec<(usize, Result<StoredAs, AudioError>)> {
            unknown.iter().skip(worker).step_by(n_threads).map(|i| (*i, files[*i].1.stored_as())).collect()
        };
        let mut hashed: HashMap<usize, Result<StoredAs, AudioError>> = thread::scope(|scope| {
            let workers: Vec<_> = (0..n_threads).map(|w| scope.spawn(move || hash(w))).collect();
            workers.into_iter().flat_map(|w| w.join().expect("hashing does not panic")).collect()
        });
        let found = known.into_iter().enumerate().map(|(i, known)| match known {
            Some(stored_as) => Ok(stored_as),
            None => hashed.remove(&i).expect("what is unknown is hashed"),
        });
        let found: Vec<Result<StoredAs, AudioError>> = found.collect();
        for ((path, _), stored_as) in files.iter().zip(&found) {
            if let (Some(there), Ok(stored_as)) = (self.files.get_mut(path), stored_as) {
                there.stored_as = Some(stored_as.clone());
            }
        }
        found
    }
}

impl Stamp {
    /// True when the last change was noted about now: by a clock that runs ahead too, as on a network drive.
    fn is_fresh(&self, now: SystemTime) -> bool {
        let now = now.duration_since(SystemTime::UNIX_EPOCH).map_or(0.0, |d| d.as_secs_f64());
        (now - (self.noted.0 as f64 + self.noted.1 as f64 * 1e-9)).abs() < SAME_TIME.as_secs_f64()
    }
}

#[cfg(unix)]
fn stamp(about: &Metadata) -> Stamp {
    use std::os::unix::fs::MetadataExt;
    Stamp {
        n_bytes: about.len(),
        changed: about.modified().ok(),
        noted: (about.ctime(), about.ctime_nsec()),
        inode: about.ino(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wav::{Replace, StoreAs, WavSpec, WavWriter};

    fn write(path: &Path, value: f32) {
        let spec = WavSpec {
            rate_hz: 8000,
            n_channels: 1,
            store_as: StoreAs::Int16,
            bext: None,
            cue_markers: Vec::new(),
        };
        let mut w = WavWriter::create(path, spec, Replace::Allowed).expect("made");
        w.write(&vec![value; 800]).expect("written");
        w.finish().expect("finished");
    }

    #[test]
    fn what_changed_just_now_is_not_trusted_to_be_the_same_next_time() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let path = folder.path().join("a.wav");
        write(&path, 0.25);
        let noted = stamp(&std::fs::metadata(&path).expect("known"));
        let second = |s: f64| {
            let at = noted.noted.0 as f64 + noted.noted.1 as f64 * 1e-9 + s;
            SystemTime::UNIX_EPOCH + Duration::from_secs_f64(at)
        };
        // Also by a clock that runs ahead.
        assert!([0.0, 1.9, -1.9].iter().all(|s| noted.is_fresh(second(*s))));
        assert!([2.1, 1e6, -2.1].iter().all(|s| !noted.is_fresh(second(*s))));
        let mut shelf = Shelf::default();
        let mut is_kept = |is_fresh: bool| {
            let audio = shelf.open(&path).expect("opens");
            shelf.stored_as(&[(path.clone(), audio)]).remove(0).expect("hashed");
            shelf.files.get_mut(&path).expect("lies there").is_fresh = is_fresh;
            shelf.open(&path).expect("opens");
            shelf.files[&path].stored_as.is_some()
        };
        assert!(!is_kept(true));
        assert!(is_kept(false));
    }

    #[test]
    fn a_file_that_is_written_over_in_place_within_the_same_moment_is_noticed() {
        use std::os::unix::fs::FileExt;
        let folder = tempfile::tempdir().expect("a temporary folder");
        let path = folder.path().join("a.wav");
        write(&path, 0.25);
        let file = std::fs::File::options().write(true).open(&path).expect("opens");
        let n_bytes = file.metadata().expect("known").len();
        let mut shelf = Shelf::default();
        let mut last = String::new();
        // Faster than the clock of a file system ticks.
        for value in 0..50u8 {
            file.write_at(&[value], n_bytes - 1).expect("written");
            let audio = shelf.open(&path).expect("opens");
            let hash =
                shelf.stored_as(&[(path.clone(), audio)]).remove(0).expect("hashed").sha256.to_string();
            assert_ne!(hash, last);
            assert_eq!(hash, crate::hash::sha256(&path).expect("reads"));
            last = hash;
        }
    }

    #[test]
    fn a_file_that_changed_under_the_same_name_size_and_time_is_noticed() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let path = folder.path().join("a.wav");
        write(&path, 0.25);
        let mut shelf = Shelf::default();
        let mut hash = || {
            let audio = shelf.open(&path).expect("opens");
            shelf.stored_as(&[(path.clone(), audio)]).remove(0).expect("hashed").sha256
        };
        let (first, again) = (hash(), hash());
        assert_eq!(first, again);
        let time = std::fs::metadata(&path).and_then(|about| about.modified()).expect("known");
        write(&path, 0.5);
        let file = std::fs::File::options().write(true).open(&path).expect("opens");
        file.set_modified(time).expect("set");
        assert_ne!(hash(), first);
        std::fs::remove_file(&path).expect("removed");
        assert!(shelf.open(&path).is_err());
    }
}
