//! A recording that arrives piece by piece, as from a browser: out of sight until it is whole, hashed on the way, and never
//! in place of another file.

use crate::audio::AudioFile;
use crate::error::{AudioError, AudioProblem};
use crate::hash::{hex, sha256};
use crate::staging::staged;
use sha2::{Digest, Sha256};
use std::io::Write;
use std::path::{Path, PathBuf};
use tempfile::NamedTempFile;

/// So much of the disk stays free, in bytes: the log must still be written, and other programs live there too.
pub const KEPT_FREE_BYTES: u64 = 64 << 20;
/// Longest name of a file in bytes; file systems end at 255.
const LONGEST_NAME: usize = 200;

/// A file on its way in.
#[derive(Debug)]
pub struct Receiving {
    folder: PathBuf,
    name: String,
    file: NamedTempFile,
    hasher: Sha256,
    n_bytes: u64,
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
        let fail = |problem| AudioError { file: name.into(), problem };
        if let Some(why) = no_name(name) {
            return Err(fail(AudioProblem::System(why.into())));
        }
        let takes = folder.join("takes");
        let system = |e: std::io::Error| fail(AudioProblem::System(e.to_string()));
        std::fs::create_dir_all(&takes).map_err(system)?;
        let target = takes.join(name);
        // Before gigabytes are sent for nothing.
        if let (Ok(there), Some(n)) = (std::fs::symlink_metadata(&target), announced)
            && there.len() != n
        {
            return Err(fail(AudioProblem::Exists));
        }
        room(folder, announced.unwrap_or(0)).map_err(|what| fail(AudioProblem::System(what)))?;
        let file = staged(folder).map_err(system)?;
        Ok(Receiving { folder: folder.into(), name: name.into(), file, hasher: Sha256::new(), n_bytes: 0 })
    }

    /// The next bytes.
    ///
    /// # Errors
    /// When the disk is full or fails; what came so far is then removed.
    pub fn write(&mut self, bytes: &[u8]) -> Result<(), AudioError> {
        let before = self.n_bytes;
        self.n_bytes += bytes.len() as u64;
        // Asked now and then: a disk may fill from elsewhere.
        if before >> 24 != self.n_bytes >> 24 {
            room(&self.folder, 0).map_err(|what| self.fail(AudioProblem::System(what)))?;
        }
        self.hasher.update(bytes);
        self.file.write_all(bytes).map_err(|e| self.fail(AudioProblem::System(e.to_string())))
    }

    /// Looks at what came, and puts it into `takes/`.
    ///
    /// # Errors
    /// When it is no audio that is read here, or another file of that name is there.
    pub fn finish(mut self) -> Result<Received, AudioError> {
        let hash = hex(&std::mem::take(&mut self.hasher).finalize());
        self.file.as_file().sync_all().map_err(|e| self.fail(AudioProblem::System(e.to_string())))?;
        AudioFile::open(self.file.path()).map_err(|e| self.fail(e.problem))?;
        let target = self.folder.join("takes").join(&self.name);
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
            Err(e) if e.error.kind() == std::io::ErrorKind::AlreadyExists => {
                if sha256(&target)? == hash {
                    Ok(missing)
                } else {
                    Err(fail(AudioProblem::Exists))
                }
            }
            Err(e) => Err(fail(AudioProblem::System(e.error.to_string()))),
        }
    }

    fn fail(&self, problem: AudioProblem) -> AudioError {
        AudioError { file: self.name.clone(), problem }
    }
}

/// Why a file in `takes/` may not be called so.
fn no_name(name: &str) -> Option<&'static str> {
    if name.is_empty() || name.starts_with('.') {
        return Some("a name begins with a letter or a number");
    }
    if name.contains(['/', '\\', '\0']) || name.chars().any(char::is_control) {
        return Some("a name holds no slashes and no control characters");
    }
    (name.len() > LONGEST_NAME).then_some("the name is too long")
}

/// Whether so many bytes more may come.
fn room(folder: &Path, n_bytes: u64) -> Result<(), String> {
    let Ok(there) = rustix::fs::statvfs(folder) else { return Ok(()) };
    let free = there.f_bavail.saturating_mul(there.f_frsize);
    if free >= n_bytes.saturating_add(KEPT_FREE_BYTES) {
        return Ok(());
    }
    let mb = |bytes: u64| bytes / 1_000_000;
    Err(format!(
        "the disk has {} MB free, the file needs {} MB and {} MB are kept free",
        mb(free),
        mb(n_bytes),
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
        for name in ["", "../b.wav", ".hidden.wav", "a/b.wav", "a\nb.wav", &"x".repeat(300)] {
            assert!(receive(folder.path(), name, &whole).is_err(), "{name:?}");
        }
        assert_eq!(std::fs::read_dir(folder.path().join("takes")).expect("there").count(), 0);
        assert_eq!(std::fs::read_dir(folder.path().join(".fairtake")).expect("there").count(), 0);
        // More than any disk holds.
        let none = Receiving::begin(folder.path(), "a.wav", Some(u64::MAX)).expect_err("no room");
        assert!(none.to_string().contains("MB free"), "{none}");
    }
}
