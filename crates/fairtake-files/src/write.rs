//! Writing a derived file whole or not at all.

use crate::wav::Replace;
use std::fmt;
use std::io::Write;
use std::path::Path;

/// A file could not be written; what was there is as it was.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WriteError {
    what: String,
    hint: String,
}

impl WriteError {
    pub(crate) fn of(path: &Path, what: String, hint: &str) -> WriteError {
        WriteError { what: format!("{}: {what}", path.display()), hint: hint.into() }
    }

    /// What to do about it.
    pub fn hint(&self) -> &str {
        &self.hint
    }
}

impl fmt::Display for WriteError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.what)
    }
}

impl std::error::Error for WriteError {}

/// Writes `bytes` to `path` by way of a temporary file beside it.
///
/// # Errors
/// When the file exists and may not be replaced, or the folder cannot be written.
pub fn write_whole(path: &Path, bytes: &[u8], replace: Replace) -> Result<(), WriteError> {
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let fail = |what: String, hint: &str| WriteError {
        what: format!("{}: {what}", path.display()),
        hint: hint.into(),
    };
    let system = |e: std::io::Error| fail(e.to_string(), "name a folder that exists and can be written");
    let mut made = readable(folder).map_err(system)?;
    made.write_all(bytes).and_then(|()| made.as_file().sync_all()).map_err(system)?;
    match replace {
        Replace::Allowed => made.persist(path).map(drop).map_err(|e| system(e.error)),
        Replace::Never => made.persist_noclobber(path).map(drop).map_err(|e| {
            if e.error.kind() == std::io::ErrorKind::AlreadyExists {
                fail("exists already".to_string(), "name another file, or allow it with --overwrite")
            } else {
                system(e.error)
            }
        }),
    }
}

/// A temporary file that others may read, as far as the user's mask allows: a report is there to be shown.
pub(crate) fn readable(folder: &Path) -> std::io::Result<tempfile::NamedTempFile> {
    let mut builder = tempfile::Builder::new();
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        builder.permissions(std::fs::Permissions::from_mode(0o666));
    }
    builder.tempfile_in(folder)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_existing_file_is_kept_unless_replacing_is_allowed() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let path = folder.path().join("table.csv");
        write_whole(&path, b"one", Replace::Never).expect("new");
        assert!(write_whole(&path, b"two", Replace::Never).is_err());
        assert_eq!(std::fs::read(&path).expect("is there"), b"one");
        write_whole(&path, b"two", Replace::Allowed).expect("allowed");
        assert_eq!(std::fs::read(&path).expect("is there"), b"two");
    }
}
