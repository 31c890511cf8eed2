//! Findings that are kept in a shootout's folder, and found again when takes are gone.

use fairtake_compare::{Findings, Settings};
use fairtake_files::{Log, ShootoutFolder, TakeEntry, cache_key};

/// The key under which a folder keeps findings: changes whenever they could, with the program, the log, the takes' bytes
/// and what was asked.
pub fn findings_key(
    contents: &str,
    settings: &Settings,
    reference: Option<&String>,
    pair: Option<&String>,
) -> String {
    let asked =
        format!("{} {reference:?} {pair:?}", serde_json::to_string_pretty(settings).unwrap_or_default());
    cache_key(env!("CARGO_PKG_VERSION"), contents, &asked)
}

/// The newest findings that the folder keeps of the takes that the log lists, made with these settings. Of takes that are
/// at hand the files must still be the ones that were compared: `hash_of` gives the hash of a file that is at hand.
pub fn recall(
    folder: &ShootoutFolder,
    log: &Log,
    settings: &Settings,
    hash_of: impl Fn(&str) -> Option<String>,
) -> Option<Findings> {
    let of_log = |found: &Findings| {
        found.settings == *settings
            && found.takes.len() == log.takes.len()
            && log.takes.iter().all(|entry| found.takes.iter().any(|t| is_same(t, entry)))
            && found.takes.iter().all(|t| hash_of(&t.file).is_none_or(|hash| hash == t.sha256))
    };
    folder.cached().filter_map(|bytes| serde_json::from_slice(&bytes).ok()).find(of_log)
}

/// What decides about the comparison is logged as it was.
fn is_same(found: &fairtake_compare::TakeEntry, logged: &TakeEntry) -> bool {
    found.file == logged.file
        && found.channel == logged.channel
        && found.mic == logged.mic
        && found.source == logged.source
        && found.placement == logged.placement
        && found.performance == logged.performance
        && found.role == logged.role
        && found.position == logged.position
        && found.order == logged.order
        && found.gain_db == logged.chain.gain_db
}
