//! A take added to any log that is read: what was there stays, and the new log is read again.
#![no_main]

use fairtake_files::{LogFile, TakeEntry, parse_log};

libfuzzer_sys::fuzz_target!(|text: &str| {
    let Ok(before) = parse_log("shootout.toml", text) else { return };
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = folder.path().join("shootout.toml");
    std::fs::write(&path, text).expect("it is written");
    let mut log = LogFile::read(&path).expect("what was parsed is read");
    if log.add_take(&TakeEntry::new("takes/new.wav", 1, "heron", "drum")).is_err() {
        assert_eq!(log.text(), text, "a refused take leaves the log as it was");
        return;
    }
    log.write().expect("the folder can be written");
    let after = std::fs::read_to_string(&path).expect("it is there");
    let after = parse_log("shootout.toml", &after).expect("what was written is read");
    assert_eq!(after.takes.len(), before.takes.len() + 1);
    assert_eq!(
        (after.shootout.title, after.shootout.margin_db),
        (before.shootout.title, before.shootout.margin_db)
    );
    for (old, new) in before.takes.iter().zip(&after.takes) {
        assert_eq!((&old.file, &old.mic, old.placement), (&new.file, &new.mic, new.placement));
    }
});
