//! Findings that are kept in a shootout's folder, and found again when takes are gone.

use fairtake_compare::{Findings, Settings};
use fairtake_files::{Log, ShootoutFolder, TakeEntry, cache_key, contents_of_log};

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

/// The newest findings that the folder keeps of this log, made with these settings while all takes were there: `hash_of` gives
/// the hash of a file that is at hand; of one that is gone it is that of the findings.
pub fn recall(
    folder: &ShootoutFolder,
    log: &Log,
    (settings, reference, pair): (&Settings, Option<&String>, Option<&String>),
    hash_of: impl Fn(&str) -> Option<String>,
) -> Option<Findings> {
    let newest = folder.cached().filter_map(|bytes| serde_json::from_slice::<Findings>(&bytes).ok());
    newest.into_iter().find_map(|found| {
        let known = |entry: &TakeEntry| {
            let take = found.takes.iter().find(|t| t.file == entry.file && t.channel == entry.channel)?;
            Some((take.id.as_str(), hash_of(&entry.file).unwrap_or_else(|| take.sha256.clone())))
        };
        // The key says all that findings depend on: the one of this log, with these hashes, is there or it is not.
        let key = findings_key(&contents_of_log(log, known)?, settings, reference, pair);
        serde_json::from_slice(&folder.cache_get(&key)?).ok()
    })
}
