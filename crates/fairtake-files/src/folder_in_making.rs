//! A folder of results that appears whole or not at all: made under a hidden name beside its place, renamed when complete.

use crate::hash::sha256;
use crate::write::WriteError;
use std::path::{Path, PathBuf};

/// A folder on its way. Dropped before [`FolderInMaking::complete`], it leaves nothing.
#[derive(Debug)]
pub struct FolderInMaking {
    made: tempfile::TempDir,
    target: PathBuf,
}

impl FolderInMaking {
    /// Begins a folder that will appear at `target`.
    ///
    /// # Errors
    /// When there is something at `target` already, or the folder around it cannot be written to.
    pub fn begin(target: &Path) -> Result<FolderInMaking, WriteError> {
        if std::fs::symlink_metadata(target).is_ok() {
            return Err(exists(target));
        }
        let around = target.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
        let made = tempfile::Builder::new()
            .prefix(".in-making-")
            .tempdir_in(around)
            .map_err(|e| WriteError::of(target, e.to_string(), "name a folder that can be written"))?;
        Ok(FolderInMaking { made, target: target.into() })
    }

    /// Where to write until it is complete.
    pub fn path(&self) -> &Path {
        self.made.path()
    }

    /// One line per file, `SHA-256  path`, by path: what others check a copy against.
    ///
    /// # Errors
    /// When a file cannot be read again.
    pub fn manifest(&self) -> Result<String, WriteError> {
        let mut files = Vec::new();
        let mut waiting = vec![self.made.path().to_path_buf()];
        while let Some(folder) = waiting.pop() {
            let unreadable = |e: std::io::Error| WriteError::of(&folder, e.to_string(), "check the disk");
            for entry in std::fs::read_dir(&folder).map_err(unreadable)? {
                let path = entry.map_err(unreadable)?.path();
                if path.is_dir() {
                    waiting.push(path);
                } else {
                    files.push(path);
                }
            }
        }
        files.sort();
        files
            .iter()
            .map(|path| {
                let hash = sha256(path).map_err(|e| WriteError::of(path, e.to_string(), "check the disk"))?;
                let name = path.strip_prefix(self.made.path()).unwrap_or(path);
                Ok(format!("{hash}  {}\n", name.display()))
            })
            .collect()
    }

    /// Puts it in place.
    ///
    /// # Errors
    /// When something is there by now, or the folder around it cannot be written to; nothing is then left.
    pub fn complete(self) -> Result<(), WriteError> {
        if std::fs::symlink_metadata(&self.target).is_ok() {
            return Err(exists(&self.target));
        }
        readable(self.made.path());
        // An empty folder could be renamed over; anything that came meanwhile makes the system refuse.
        std::fs::rename(self.made.path(), &self.target)
            .map_err(|e| WriteError::of(&self.target, e.to_string(), "name a folder that can be written"))
    }
}

fn exists(target: &Path) -> WriteError {
    WriteError::of(
        target,
        "exists already; nothing was written".into(),
        "name another folder, or move it away",
    )
}

/// Temporary folders are their maker's alone; results are there to be shown.
fn readable(folder: &Path) {
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        let _ = std::fs::set_permissions(folder, std::fs::Permissions::from_mode(0o755));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_appears_whole_once_and_over_nothing() {
        let around = tempfile::tempdir().expect("a temporary folder");
        let target = around.path().join("results");
        let making = FolderInMaking::begin(&target).expect("begun");
        std::fs::create_dir(making.path().join("a")).expect("made");
        std::fs::write(making.path().join("a/x.txt"), "abc").expect("written");
        assert!(!target.exists());
        // SHA-256 of "abc": FIPS 180-4, example.
        let hash = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        assert_eq!(making.manifest().expect("reads"), format!("{hash}  a/x.txt\n"));
        making.complete().expect("in place");
        assert_eq!(std::fs::read_to_string(target.join("a/x.txt")).expect("there"), "abc");
        assert!(FolderInMaking::begin(&target).is_err());
        drop(FolderInMaking::begin(&around.path().join("other")).expect("begun"));
        let late = FolderInMaking::begin(&around.path().join("late")).expect("begun");
        std::fs::write(around.path().join("late"), "somebody's").expect("written");
        assert!(late.complete().is_err());
        let mut left: Vec<_> = std::fs::read_dir(around.path())
            .expect("lists")
            .map(|e| e.expect("an entry").file_name())
            .collect();
        left.sort();
        assert_eq!(left, ["late", "results"]);
    }
}
