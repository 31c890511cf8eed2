//! A folder of results that appears whole or not at all: made under a hidden name beside its place, renamed when complete.

use crate::hash::sha256;
use crate::wav::{Replace, WavSpec, WavWriter};
use crate::write::WriteError;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// The file that lists all others with their hashes.
pub const MANIFEST: &str = "manifest.sha256";

/// What to do where the folder cannot be written to.
const NO_ROOM: &str = "make room on the disk, or name a folder that can be written";

/// A folder on its way. Dropped before [`FolderInMaking::complete`], it leaves nothing.
#[derive(Debug)]
pub struct FolderInMaking {
    made: tempfile::TempDir,
    target: PathBuf,
    replace: Replace,
}

impl FolderInMaking {
    /// Begins a folder that will appear at `target`. One that was made so before may be replaced where that is allowed and
    /// nothing was changed in it since.
    ///
    /// # Errors
    /// When there is something at `target` already that may not be replaced, or the folder around it cannot be written to.
    pub fn begin(target: &Path, replace: Replace) -> Result<FolderInMaking, WriteError> {
        may_appear(target, replace)?;
        let around = around(target);
        let made = tempfile::Builder::new()
            .prefix(".in-making-")
            .tempdir_in(around)
            .map_err(|e| WriteError::of(target, e.to_string(), "name a folder that can be written"))?;
        Ok(FolderInMaking { made, target: target.into(), replace })
    }

    /// Where to write until it is complete.
    pub fn path(&self) -> &Path {
        self.made.path()
    }

    /// The path of a file in it, by its name with slashes; the folders on the way are made.
    ///
    /// # Errors
    /// When a folder on the way cannot be made.
    pub fn place(&self, name: &str) -> Result<PathBuf, WriteError> {
        let path = self.made.path().join(name);
        let folder = path.parent().unwrap_or(self.made.path());
        std::fs::create_dir_all(folder).map_err(|e| self.fail(name, &e.to_string()))?;
        Ok(path)
    }

    /// Writes a file of it.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn put(&self, name: &str, bytes: &[u8]) -> Result<(), WriteError> {
        let path = self.place(name)?;
        // The whole folder is out of sight: a file that is cut short goes with it.
        std::fs::write(path, bytes).map_err(|e| self.fail(name, &e.to_string()))
    }

    /// Writes sound.
    ///
    /// # Errors
    /// When it cannot be written, or the samples are none.
    pub fn put_wav(&self, name: &str, spec: WavSpec, interleaved: &[f32]) -> Result<(), WriteError> {
        let path = self.place(name)?;
        WavWriter::create(&path, spec, Replace::Never)
            .and_then(|mut w| w.write(interleaved).and_then(|()| w.finish()))
            .map_err(|e| self.fail(name, &e.problem.to_string()))
    }

    /// An error names the file as it would be called.
    fn fail(&self, name: &str, what: &str) -> WriteError {
        WriteError::of(&self.target.join(name), what.to_string(), NO_ROOM)
    }

    /// Every file so far with its size in bytes, by name.
    ///
    /// # Errors
    /// When a folder cannot be read.
    pub fn files(&self) -> Result<BTreeMap<String, u64>, WriteError> {
        files_in(self.made.path()).map_err(|e| self.fail("", &e.to_string()))
    }

    /// Writes the manifest, one line per file, `SHA-256  path`, by path: what others check a copy against.
    ///
    /// # Errors
    /// When a file cannot be read again, or the manifest not be written.
    pub fn put_manifest(&self) -> Result<(), WriteError> {
        let mut text = String::new();
        for name in self.files()?.keys() {
            let hash = sha256(&self.made.path().join(name)).map_err(|e| self.fail(name, &e.to_string()))?;
            text.push_str(&format!("{hash}  {name}\n"));
        }
        self.put(MANIFEST, text.as_bytes())
    }

    /// Puts it in place.
    ///
    /// # Errors
    /// When something is there by now that may not be replaced, or the folder around it cannot be written to; nothing is
    /// then left.
    pub fn complete(self) -> Result<(), WriteError> {
        let system = |e: std::io::Error| WriteError::of(&self.target, e.to_string(), NO_ROOM);
        may_appear(&self.target, self.replace)?;
        readable(self.made.path());
        if std::fs::symlink_metadata(&self.target).is_err() {
            // An empty folder could be renamed over; anything that came meanwhile makes the system refuse.
            return std::fs::rename(self.made.path(), &self.target).map_err(system);
        }
        // The older one steps aside first, and comes back where the new one cannot take its place.
        let aside =
            tempfile::Builder::new().prefix(".replaced-").tempdir_in(around(&self.target)).map_err(system)?;
        let older = aside.path().join("older");
        std::fs::rename(&self.target, &older).map_err(system)?;
        std::fs::rename(self.made.path(), &self.target).map_err(|e| {
            if std::fs::rename(&older, &self.target).is_err() {
                // Better a hidden folder that stays than a result that is gone.
                let kept = aside.keep();
                return WriteError::of(&kept, format!("{e}; the older folder lies here"), NO_ROOM);
            }
            system(e)
        })
    }
}

fn around(target: &Path) -> &Path {
    target.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."))
}

/// Whether a folder may come to be here.
fn may_appear(target: &Path, replace: Replace) -> Result<(), WriteError> {
    if std::fs::symlink_metadata(target).is_err() {
        return Ok(());
    }
    let hint = "name another folder, or move it away";
    if replace == Replace::Never {
        return Err(WriteError::of(target, "exists already; nothing was written".into(), hint));
    }
    match altered(target) {
        None => Ok(()),
        Some(why) => {
            Err(WriteError::of(target, format!("is not replaced: {why}; nothing was written"), hint))
        }
    }
}

/// What of a folder is not as it was when it was made; `None`: it holds what its manifest lists and nothing else.
fn altered(target: &Path) -> Option<String> {
    let is_folder = std::fs::symlink_metadata(target).is_ok_and(|about| about.is_dir());
    let manifest = std::fs::read_to_string(target.join(MANIFEST)).ok();
    let Some(manifest) = manifest.filter(|_| is_folder) else {
        return Some(format!("it is no folder with a {MANIFEST} of this program"));
    };
    let listed: BTreeMap<&str, &str> =
        manifest.lines().filter_map(|l| l.split_once("  ").map(|(hash, name)| (name, hash))).collect();
    let there = match files_in(target) {
        Ok(there) => there,
        Err(e) => return Some(e.to_string()),
    };
    let own = |name: &str| name == MANIFEST;
    if let Some(name) = there.keys().find(|n| !own(n) && !listed.contains_key(n.as_str())) {
        return Some(format!("{name} is not listed in its {MANIFEST}"));
    }
    let is_same = |name: &str, hash: &str| sha256(&target.join(name)).is_ok_and(|found| found == hash);
    let changed = listed.iter().find(|(name, hash)| !is_same(name, hash))?;
    Some(format!("{} is not as it was written", changed.0))
}

/// The files that a folder's manifest lists and that are there, with their sizes in bytes; `None` where it has no manifest or
/// is a link.
pub fn listed(folder: &Path) -> Option<Vec<(String, u64)>> {
    if !std::fs::symlink_metadata(folder).ok()?.is_dir() {
        return None;
    }
    let manifest = std::fs::read_to_string(folder.join(MANIFEST)).ok()?;
    let names = manifest.lines().filter_map(|l| l.split_once("  ")).map(|(_, name)| name);
    let there = |name: &str| {
        let about = std::fs::symlink_metadata(folder.join(name)).ok().filter(|a| a.is_file())?;
        Some((name.to_string(), about.len()))
    };
    Some(names.filter_map(there).collect())
}

/// Every file below a folder with its size, names with slashes. Links and anything else that is no file count as files of
/// no size: they are not followed.
fn files_in(folder: &Path) -> std::io::Result<BTreeMap<String, u64>> {
    let mut files = BTreeMap::new();
    let mut waiting = vec![(folder.to_path_buf(), String::new())];
    while let Some((path, before)) = waiting.pop() {
        for entry in std::fs::read_dir(&path)? {
            let entry = entry?;
            let name = format!("{before}{}", entry.file_name().to_string_lossy());
            let about = entry.path().symlink_metadata()?;
            if about.is_dir() {
                waiting.push((entry.path(), format!("{name}/")));
            } else {
                files.insert(name, if about.is_file() { about.len() } else { 0 });
            }
        }
    }
    Ok(files)
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

    fn begin(target: &Path) -> FolderInMaking {
        FolderInMaking::begin(target, Replace::Never).expect("begun")
    }

    fn names(folder: &Path) -> Vec<String> {
        let entries = std::fs::read_dir(folder).expect("lists");
        let mut names: Vec<String> =
            entries.map(|e| e.expect("an entry").file_name().to_string_lossy().into_owned()).collect();
        names.sort();
        names
    }

    fn made(target: &Path, text: &str, replace: Replace) -> Result<(), WriteError> {
        let making = FolderInMaking::begin(target, replace)?;
        making.put("a/x.txt", text.as_bytes())?;
        making.put_manifest()?;
        making.complete()
    }

    #[test]
    fn it_appears_whole_once_and_over_nothing() {
        let around = tempfile::tempdir().expect("a temporary folder");
        let target = around.path().join("results");
        let making = begin(&target);
        making.put("a/x.txt", b"abc").expect("written");
        assert!(!target.exists());
        making.put_manifest().expect("written");
        assert_eq!(making.files().expect("lists").get("a/x.txt"), Some(&3));
        making.complete().expect("in place");
        // SHA-256 of "abc": FIPS 180-4, example.
        let hash = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        let manifest = std::fs::read_to_string(target.join(MANIFEST)).expect("there");
        assert_eq!(manifest, format!("{hash}  a/x.txt\n"));
        assert!(FolderInMaking::begin(&target, Replace::Never).is_err());
        drop(begin(&around.path().join("other")));
        let late = begin(&around.path().join("late"));
        std::fs::write(around.path().join("late"), "somebody's").expect("written");
        assert!(late.complete().is_err());
        assert_eq!(names(around.path()), ["late", "results"]);
    }

    #[test]
    fn only_what_was_made_here_and_left_alone_is_replaced() {
        let around = tempfile::tempdir().expect("a temporary folder");
        let target = around.path().join("results");
        made(&target, "one", Replace::Allowed).expect("new");
        made(&target, "two", Replace::Allowed).expect("replaced");
        let text = || std::fs::read_to_string(target.join("a/x.txt")).expect("there");
        assert_eq!(text(), "two");
        // Something of the user's beside it, or in it, and it stays.
        std::fs::write(target.join("note.txt"), "mine").expect("written");
        let why = made(&target, "three", Replace::Allowed).expect_err("refused").to_string();
        assert!(why.contains("note.txt is not listed"), "{why}");
        std::fs::remove_file(target.join("note.txt")).expect("removed");
        std::fs::write(target.join("a/x.txt"), "mine").expect("written");
        let why = made(&target, "three", Replace::Allowed).expect_err("refused").to_string();
        assert!(why.contains("a/x.txt is not as it was written"), "{why}");
        assert_eq!(text(), "mine");
        let other = around.path().join("other");
        std::fs::create_dir(&other).expect("made");
        assert!(made(&other, "three", Replace::Allowed).is_err());
        std::os::unix::fs::symlink(&target, around.path().join("link")).expect("linked");
        assert!(made(&around.path().join("link"), "three", Replace::Allowed).is_err());
        assert_eq!(names(around.path()), ["link", "other", "results"]);
    }
}
