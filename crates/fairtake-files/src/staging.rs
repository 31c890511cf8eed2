//! Where files of a shootout folder are written until they are complete: inside `.fairtake/`, so that a run that is
//! killed leaves nothing among the takes. What such a run left is removed by the next one.

use std::fs::{File, TryLockError};
use std::path::Path;
use tempfile::{Builder, NamedTempFile};

const PREFIX: &str = "incoming-";

/// A new file in `.fairtake/`, on the same file system as the folder. It is locked while its run lives.
pub(crate) fn staged(folder: &Path) -> std::io::Result<NamedTempFile> {
    let place = folder.join(".fairtake");
    std::fs::create_dir_all(&place)?;
    if !std::fs::symlink_metadata(&place)?.is_dir() {
        return Err(std::io::Error::other(
            "`.fairtake` is a link; it must be a folder of the shootout itself",
        ));
    }
    sweep(&place);
    let mut builder = Builder::new();
    builder.prefix(PREFIX);
    // As far as the user's mask allows: takes are there to be shared.
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        builder.permissions(std::fs::Permissions::from_mode(0o666));
    }
    loop {
        let made = builder.tempfile_in(&place)?;
        // Between making and locking, somebody else's sweep may have taken it for a dead run's: then another is made. Where the
        // file system knows no locks, nothing is swept.
        let is_taken = matches!(made.as_file().try_lock(), Err(TryLockError::WouldBlock));
        if !is_taken && made.path().exists() {
            return Ok(made);
        }
    }
}

/// Removes what no living run holds. What cannot be looked at or removed stays.
fn sweep(place: &Path) {
    let Ok(entries) = std::fs::read_dir(place) else { return };
    for entry in entries.flatten().filter(|e| e.file_name().to_string_lossy().starts_with(PREFIX)) {
        let path = entry.path();
        let Ok(file) = File::open(&path) else { continue };
        match file.try_lock() {
            Ok(()) => drop(std::fs::remove_file(&path)),
            Err(TryLockError::WouldBlock | TryLockError::Error(_)) => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn runs_that_begin_at_once_do_not_sweep_each_other_away() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        std::thread::scope(|scope| {
            for _ in 0..8 {
                scope.spawn(|| {
                    for _ in 0..200 {
                        let made = staged(folder.path()).expect("made");
                        assert!(made.path().exists());
                        drop(made);
                    }
                });
            }
        });
    }

    #[test]
    fn what_a_dead_run_left_is_removed_and_what_a_living_one_holds_is_not() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let living = staged(folder.path()).expect("made");
        let dead = folder.path().join(".fairtake/incoming-dead");
        let derived = folder.path().join(".fairtake/derived");
        std::fs::write(&dead, "half a take").expect("written");
        std::fs::write(&derived, "kept").expect("written");
        drop(staged(folder.path()).expect("made"));
        assert!(living.path().exists() && derived.exists() && !dead.exists());
    }
}
