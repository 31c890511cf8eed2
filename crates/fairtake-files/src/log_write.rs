//! Changes to `shootout.toml` that keep comments and order, and put the file in place as a whole.

use crate::log::{TakeEntry, parse_log};
use crate::log_error::LogError;
use crate::staging::staged;
use fairtake_compare::Role;
use serde::Serialize;
use std::fs::File;
use std::io::Write;
use std::path::{Path, PathBuf};
use toml_edit::{ArrayOfTables, DocumentMut, Item, Table, value};

/// A log read from disk, to be changed and written back.
#[derive(Debug, Clone)]
pub struct LogFile {
    pub(crate) path: PathBuf,
    /// The bytes as read: if the file on disk differs when writing, somebody else changed it.
    as_read: String,
    pub(crate) document: DocumentMut,
}

/// Text of a new log.
pub fn new_log(title: &str) -> String {
    let mut document = DocumentMut::new();
    document["title"] = value(title);
    document.to_string()
}

impl LogFile {
    /// Reads a log for changing.
    ///
    /// # Errors
    /// When it cannot be read or [`parse_log`] refuses it.
    pub fn read(path: &Path) -> Result<LogFile, LogError> {
        let file = path.display().to_string();
        let as_read = read_text(path)?;
        parse_log(&file, &as_read)?;
        let document = as_read.parse().map_err(|e: toml_edit::TomlError| {
            LogError::at(&file, &as_read, e.span().unwrap_or(0..0), e.message().into(), "mend the TOML here")
        })?;
        Ok(LogFile { path: path.into(), as_read, document })
    }

    /// The log as it would be written.
    pub fn text(&self) -> String {
        self.document.to_string()
    }

    /// Adds a take at the end, and its microphone and source where they are new.
    ///
    /// # Errors
    /// When the log would not be valid afterwards; it is then left as it was.
    pub fn add_take(&mut self, take: &TakeEntry) -> Result<(), LogError> {
        let mut changed = self.document.clone();
        for (group, key) in [("mics", &take.mic), ("sources", &take.source)] {
            let groups = changed.entry(group).or_insert_with(|| {
                let mut table = Table::new();
                table.set_implicit(true);
                Item::Table(table)
            });
            if let Some(groups) = groups.as_table_like_mut()
                && !groups.contains_key(key)
            {
                let mut table = Table::new();
                table["name"] = value(key.as_str());
                groups.insert(key, Item::Table(table));
            }
        }
        let takes = changed.entry("takes").or_insert_with(|| Item::ArrayOfTables(ArrayOfTables::new()));
        if let Some(takes) = takes.as_array_of_tables_mut() {
            takes.push(take_table(take));
        }
        let text = changed.to_string();
        let log = parse_log(&self.path.display().to_string(), &text)?;
        if !log.takes.last().is_some_and(|t| t.file == take.file && t.channel == take.channel) {
            let what = "the take cannot be added to the list as it is written".into();
            return Err(self.fail(what, "write the takes as [[takes]]"));
        }
        // Parsed again, so that the places of new tables are settled.
        self.document = text.parse().map_err(|e: toml_edit::TomlError| self.fail(e.to_string(), ""))?;
        Ok(())
    }

    /// True when the file on disk is no longer what was read.
    ///
    /// # Errors
    /// When it cannot be read.
    pub fn is_outdated(&self) -> Result<bool, LogError> {
        Ok(read_text(&self.path)? != self.as_read)
    }

    /// Puts the changed log in place: temporary file, flushed, renamed. Between looking at what is on disk and replacing it
    /// no other program of ours does the same.
    ///
    /// # Errors
    /// When the file on disk is no longer what was read, or cannot be written; it is then left as it is.
    pub fn write(&mut self) -> Result<(), LogError> {
        let text = self.text();
        let folder = self.path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
        let _alone = alone_in(folder);
        if self.is_outdated()? {
            let what = "was changed by somebody else since it was read; nothing was written";
            return Err(self.fail(what.into(), "run the command again"));
        }
        replace_file(folder, &self.path, text.as_bytes())
            .map_err(|e| self.fail(format!("cannot be written: {e}"), "check space and permissions"))?;
        self.as_read = text;
        Ok(())
    }

    pub(crate) fn fail(&self, what: String, hint: &str) -> LogError {
        LogError::whole_file(&self.path.display().to_string(), what, hint)
    }
}

pub(crate) fn read_text(path: &Path) -> Result<String, LogError> {
    std::fs::read_to_string(path).map_err(|e| {
        let hint = "name a folder that holds a shootout.toml, or begin one with `fairtake new`";
        LogError::whole_file(&path.display().to_string(), format!("cannot be read: {e}"), hint)
    })
}

/// Waits until no other run writes a log in this folder, and keeps others waiting while it lives. Where the file system
/// knows no locks, two runs that write within the same millisecond could still miss each other.
fn alone_in(folder: &Path) -> Option<File> {
    let handle = File::open(folder).ok()?;
    handle.lock().ok()?;
    Some(handle)
}

/// Writes a file of a shootout folder as a whole: nobody ever sees half of it, or anything else.
pub(crate) fn replace_file(folder: &Path, path: &Path, bytes: &[u8]) -> std::io::Result<()> {
    let mut made = staged(folder)?;
    made.write_all(bytes)?;
    // The log keeps the permissions it had.
    if let Ok(about) = std::fs::metadata(path) {
        made.as_file().set_permissions(about.permissions())?;
    }
    made.as_file().sync_all()?;
    made.persist(path).map_err(|e| e.error)?;
    if let Some(parent) = path.parent().filter(|p| !p.as_os_str().is_empty()) {
        File::open(parent)?.sync_all()?;
    }
    Ok(())
}

fn take_table(take: &TakeEntry) -> Table {
    let mut t = Table::new();
    t["file"] = value(take.file.as_str());
    if take.channel != 1 {
        t["channel"] = value(i64::from(take.channel));
    }
    t["mic"] = value(take.mic.as_str());
    t["source"] = value(take.source.as_str());
    t["placement"] = value(i64::from(take.placement));
    t["performance"] = value(i64::from(take.performance));
    if let Some(order) = take.order {
        t["order"] = value(i64::from(order));
    }
    let chain = &take.chain;
    let texts = [
        ("position", &take.position),
        ("preamp", &chain.preamp),
        ("converter", &chain.converter),
        ("cable", &chain.cable),
    ];
    for (key, text) in texts {
        if let Some(text) = text {
            t[key] = value(text.as_str());
        }
    }
    for (key, number) in
        [("gain_db", chain.gain_db), ("pad_db", chain.pad_db), ("filter_hz", chain.filter_hz)]
    {
        if let Some(number) = number {
            t[key] = value(number);
        }
    }
    if take.role != Role::Compared
        && let Some(word) = role_word(take.role)
    {
        t["role"] = value(word);
    }
    if let Some(times) = &take.hand_set_events_s {
        t["events_s"] = value(times.iter().copied().collect::<toml_edit::Array>());
    }
    if take.keep_although_unfair {
        t["keep_although_unfair"] = value(true);
    }
    t
}

fn role_word(role: Role) -> Option<String> {
    role.serialize(serde_json::value::Serializer).ok()?.as_str().map(str::to_string)
}
