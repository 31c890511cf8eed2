//! A recording that arrives piece by piece, as from a browser: out of sight until it is whole, hashed on the way, and never
//! in place of another file.

use crate::audio::AudioFile;
use crate::error::{AudioError, AudioProblem};
use crate::hash::{hex, sha256};
use crate::staging::staged;
use crate::watch::ENDINGS;
use sha2::{Digest, Sha256};
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};
use tempfile::NamedTempFile;

/// So much of the disk stays free, in bytes: the log must still be written, and other programs live there too.
pub const KEPT_FREE_BYTES: u64 = 64 << 20;
/// After so many bytes the free disk is asked for again: it may fill from elsewhere.
const LOOK_EVERY_BYTES: u64 = 16 << 20;
/// Longest name of a file in bytes; file systems end at 255.
const LONGEST_NAME: usize = 200;

/// How many bytes are free where a folder lies; `None` where the system does not say.
type Free = fn(&Path) -> Option<u64>;

/// A file on its way in.
#[derive(Debug)]
pub struct Receiving {
    folder: PathBuf,
    name: String,
    file: NamedTempFile,
    hasher: Sha256,
    n_bytes: u64,
    free: Free,
}

/// A file that came in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Received {
    /// Path from the folder, as the log names it.
    pub file: String,
    /// SHA-256, lower-case hexadecimal.
    pub sha256: String,
    /// Length in bytes.
    pub n_bytes: u64,
    /// The same file was there already.
    pub was_there: bool,
}

impl Receiving {
    /// Begins. `announced`: length in bytes, where it is known.
    ///
    /// # Errors
    /// When the name is none that a file in `takes/` may have, another file has it, or the disk has no room.
    pub fn begin(folder: &Path, name: &str, announced: Option<u64>) -> Result<Receiving, AudioError> {
        Receiving::begin_where(folder, name, announced, free_bytes)
    }

    fn begin_where(
        folder: &Path,
        name: &str,
        announced: Option<u64>,
        free: Free,
    ) -> Result<Receiving, AudioError> {
        let fail = |problem| AudioError { file: name.into(), problem };
        if let Some(why) = no_name(name) {
            return Err(fail(AudioProblem::Name(why)));
        }
        let system = |e: std::io::Error| fail(AudioProblem::System(e.to_string()));
        let target = takes_of(folder).map_err(system)?.join(name);
        // Before gigabytes are sent for nothing.
        if let (Ok(there), Some(n)) = (std::fs::symlink_metadata(&target), announced)
            && there.len() != n
        {
            return Err(fail(AudioProblem::Exists));
        }
        if let Some(words) = no_room(free(folder), announced.unwrap_or(0)) {
            return Err(fail(AudioProblem::NoRoom(words)));
        }
        let file = staged(folder).map_err(system)?;
        let (folder, name) = (folder.into(), name.into());
        Ok(Receiving { folder, name, file, hasher: Sha256::new(), n_bytes: 0, free })
    }

    /// The next bytes.
    ///
    /// # Errors
    /// When the disk is full or fails; what came so far is then removed.
    pub fn write(&mut self, bytes: &[u8]) -> Result<(), AudioError> {
        let before = self.n_bytes;
        self.n_bytes += bytes.len() as u64;
        if before / LOOK_EVERY_BYTES != self.n_bytes / LOOK_EVERY_BYTES
            && let Some(words) = no_room((self.free)(&self.folder), 0)
        {
            return Err(self.fail(AudioProblem::NoRoom(words)));
        }
        self.hasher.update(bytes);
        self.file.write_all(bytes).map_err(|e| self.of_disk(&e))
    }

    /// Looks at what came, and puts it into `takes/`.
    ///
    /// # Errors
    /// When it is no audio that is read here, or another file of that name is there.
    pub fn finish(mut self) -> Result<Received, AudioError> {
        let hash = hex(&std::mem::take(&mut self.hasher).finalize());
        self.file.as_file().sync_all().map_err(|e| self.of_disk(&e))?;
        AudioFile::open(self.file.path()).map_err(|e| self.fail(e.problem))?;
        // Once more: the folder may have gone while the file came.
        let target = takes_of(&self.folder).map_err(|e| self.of_disk(&e))?.join(&self.name);
        let received = |was_there| Received {
            file: format!("takes/{}", self.name),
            sha256: hash.clone(),
            n_bytes: self.n_bytes,
            was_there,
        };
        let (made, missing) = (received(false), received(true));
        let name = self.name.clone();
        let fail = |problem| AudioError { file: name.clone(), problem };
        match self.file.persist_noclobber(&target) {
            Ok(_) => Ok(made),
            Err(e) if e.error.kind() == ErrorKind::AlreadyExists => {
                if sha256(&target)? == hash {
                    Ok(missing)
                } else {
                    Err(fail(AudioProblem::Exists))
                }
            }
            Err(e) => Err(fail(AudioProblem::System(e.error.to_string()))),
        }
    }

    fn of_disk(&self, e: &std::io::Error) -> AudioError {
        self.fail(match e.kind() {
            ErrorKind::StorageFull | ErrorKind::QuotaExceeded => {
                AudioProblem::NoRoom(format!("the disk was full after {} MB of it", self.n_bytes / 1_000_000))
            }
            _ => AudioProblem::System(e.to_string()),
        })
    }

    fn fail(&self, problem: AudioProblem) -> AudioError {
        AudioError { file: self.name.clone(), problem }
    }
}

/// The folder of the takes, made where it is missing. One that leads elsewhere by a link is refused: what comes in over the
/// network stays in the shootout.
fn takes_of(folder: &Path) -> std::io::Result<PathBuf> {
    let takes = folder.join("takes");
    std::fs::create_dir_all(&takes)?;
    if takes.canonicalize()?.starts_with(folder.canonicalize()?) {
        return Ok(takes);
    }
    Err(std::io::Error::other(
        "the folder `takes` is a link that leads out of the shootout; copy the file there by hand",
    ))
}

/// Why a file in `takes/` may not be called so.
fn no_name(name: &str) -> Option<String> {
    if name.is_empty() || name.starts_with('.') {
        return Some("a name begins with a letter or a number".into());
    }
    if name.contains(['/', '\\']) || name.chars().any(char::is_control) {
        return Some("a name holds no slashes and no control characters".into());
    }
    if name.len() > LONGEST_NAME {
        return Some(format!("a name has {LONGEST_NAME} bytes at most"));
    }
    let ending = Path::new(name).extension().and_then(|e| e.to_str()).unwrap_or_default();
    // What the page would not find again in the folder does not come in.
    let is_known = ENDINGS.contains(&ending.to_ascii_lowercase().as_str());
    (!is_known).then(|| format!("the name of a recording ends in one of {}", ENDINGS.join(", ")))
}

/// How many bytes are free where a folder lies; `None` where the system does not say.
pub fn free_bytes(folder: &Path) -> Option<u64> {
    let there = rustix::fs::statvfs(folder).ok()?;
    Some(there.f_bavail.saturating_mul(there.f_frsize))
}

/// Why so many bytes more may not come.
fn no_room(free: Option<u64>, n_bytes: u64) -> Option<String> {
    let free = free.filter(|free| *free < n_bytes.saturating_add(KEPT_FREE_BYTES))?;
    let mb = |bytes: u64| bytes / 1_000_000;
    let needs = if n_bytes > 0 { format!("the file needs {} MB, ", mb(n_bytes)) } else { String::new() };
    Some(format!(
        "{needs}the disk has {} MB free, of which {} MB are kept free",
        mb(free),
        mb(KEPT_FREE_BYTES)
    ))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wav::clip_bytes;

    fn receive(folder: &Path, name: &str, bytes: &[u8]) -> Result<Received, AudioError> {
        let mut receiving = Receiving::begin(folder, name, Some(bytes.len() as u64))?;
        bytes.chunks(1000).try_for_each(|piece| receiving.write(piece))?;
        receiving.finish()
    }

    #[test]
    fn a_recording_comes_in_whole_once_and_replaces_nothing() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let (one, other) = (clip_bytes(8000, &[0.25; 4000]), clip_bytes(8000, &[0.5; 4000]));
        let received = receive(folder.path(), "a.wav", &one).expect("comes in");
        assert_eq!((received.file.as_str(), received.was_there), ("takes/a.wav", false));
        assert_eq!(received.sha256, sha256(&folder.path().join("takes/a.wav")).expect("there"));
        assert!(receive(folder.path(), "a.wav", &one).expect("the same").was_there);
        assert_eq!(
            receive(folder.path(), "a.wav", &other).expect_err("another").problem,
            AudioProblem::Exists
        );
        assert_eq!(std::fs::read(folder.path().join("takes/a.wav")).expect("there"), one);
    }

    #[test]
    fn no_audio_and_no_names_are_refused_and_leave_nothing() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let refused = receive(folder.path(), "a.wav", b"no audio at all").expect_err("no audio");
        assert_eq!(refused.problem, AudioProblem::NotAudio);
        let whole = clip_bytes(8000, &[0.25; 4000]);
        assert!(matches!(
            receive(folder.path(), "a.wav", &whole[..whole.len() - 100]).expect_err("cut off").problem,
            AudioProblem::CutOff { .. }
        ));
        let long = format!("{}.wav", "x".repeat(197));
        for name in ["", "../b.wav", ".hidden.wav", "a/b.wav", "a\\b.wav", "a\nb.wav", "a.txt", "wav", &long]
        {
            let refused = receive(folder.path(), name, &whole).expect_err("no name");
            assert!(matches!(refused.problem, AudioProblem::Name(_)), "{name:?}: {refused}");
        }
        assert_eq!(std::fs::read_dir(folder.path().join("takes")).expect("there").count(), 0);
        assert_eq!(std::fs::read_dir(folder.path().join(".fairtake")).expect("there").count(), 0);
        // More than any disk holds.
        let none = Receiving::begin(folder.path(), "a.wav", Some(u64::MAX)).expect_err("no room");
        assert!(none.to_string().contains("MB free"), "{none}");
    }

    #[test]
    fn a_disk_that_fills_on_the_way_is_noticed_before_it_is_full_and_leaves_nothing() {
        use std::sync::atomic::{AtomicU64, Ordering};
        static FREE: AtomicU64 = AtomicU64::new(1 << 30);
        let folder = tempfile::tempdir().expect("a temporary folder");
        let free: Free = |_| Some(FREE.load(Ordering::Relaxed));
        let mut receiving = Receiving::begin_where(folder.path(), "a.wav", None, free).expect("has room");
        let piece = vec![0u8; 1 << 20];
        receiving.write(&piece).expect("fits");
        FREE.store(KEPT_FREE_BYTES - 1, Ordering::Relaxed);
        let n_more = (1..=(2 * LOOK_EVERY_BYTES) >> 20).find(|_| receiving.write(&piece).is_err());
        assert_eq!(n_more, Some((LOOK_EVERY_BYTES >> 20) - 1), "noticed when it is looked at next");
        let refused = receiving.fail(AudioProblem::NoRoom(no_room(free(folder.path()), 0).expect("is full")));
        assert_eq!(
            refused.to_string(),
            "a.wav: does not fit: the disk has 67 MB free, of which 67 MB are kept free"
        );
        drop(receiving);
        assert_eq!(std::fs::read_dir(folder.path().join(".fairtake")).expect("there").count(), 0);
        // What is announced is held against what is free before a byte comes.
        FREE.store(KEPT_FREE_BYTES + 999, Ordering::Relaxed);
        assert!(Receiving::begin_where(folder.path(), "a.wav", Some(1000), free).is_err());
        assert!(Receiving::begin_where(folder.path(), "a.wav", Some(999), free).is_ok());
    }

    #[test]
    fn takes_that_are_a_link_out_of_the_folder_take_nothing_in() {
        let (folder, elsewhere) = (tempfile::tempdir().expect("made"), tempfile::tempdir().expect("made"));
        let whole = clip_bytes(8000, &[0.25; 4000]);
        std::os::unix::fs::symlink(elsewhere.path(), folder.path().join("takes")).expect("linked");
        let refused = receive(folder.path(), "a.wav", &whole).expect_err("leads out");
        assert!(refused.to_string().contains("leads out of the shootout"), "{refused}");
        // Also where it becomes one while the file comes.
        std::fs::remove_file(folder.path().join("takes")).expect("removed");
        let mut receiving = Receiving::begin(folder.path(), "a.wav", None).expect("begins");
        receiving.write(&whole).expect("written");
        std::fs::remove_dir(folder.path().join("takes")).expect("removed");
        std::os::unix::fs::symlink(elsewhere.path(), folder.path().join("takes")).expect("linked");
        assert!(receiving.finish().is_err());
        // And the place where it waits until it is whole.
        std::fs::remove_file(folder.path().join("takes")).expect("removed");
        std::fs::remove_dir_all(folder.path().join(".fairtake")).expect("removed");
        std::os::unix::fs::symlink(elsewhere.path(), folder.path().join(".fairtake")).expect("linked");
        assert!(receive(folder.path(), "a.wav", &whole).is_err());
        assert_eq!(std::fs::read_dir(elsewhere.path()).expect("there").count(), 0);
    }

    #[test]
    fn takes_that_vanished_are_made_again() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let whole = clip_bytes(8000, &[0.25; 4000]);
        let mut receiving = Receiving::begin(folder.path(), "a.wav", None).expect("begins");
        receiving.write(&whole).expect("written");
        std::fs::remove_dir(folder.path().join("takes")).expect("removed");
        assert!(!receiving.finish().expect("comes in").was_there);
        assert_eq!(std::fs::read(folder.path().join("takes/a.wav")).expect("there"), whole);
    }
}
