//! Which crate may use which, and that all share the lints of the workspace.

use super::{Problem, Tree};
use toml::{Table, Value};

/// The crates from the lowest to the highest: each may use only those before it.
const ORDER: [&str; 15] = [
    "fairtake-transform",
    "fairtake-signal",
    "fairtake-stats",
    "fairtake-compare",
    "fairtake-virtual-studio",
    "fairtake-bridge",
    "fairtake-calibrated",
    "fairtake-listen",
    "fairtake-report",
    "fairtake-audition",
    "fairtake-files",
    "fairtake-record",
    "fairtake-write-up",
    "fairtake-page",
    "fairtake",
];

/// Tables of a manifest that name other crates.
const DEPENDENCY_TABLES: [&str; 3] = ["dependencies", "dev-dependencies", "build-dependencies"];

/// A crate depends only on crates before it.
pub fn layers(tree: &Tree) -> Vec<Problem> {
    let mut problems = Vec::new();
    for (path, name, manifest) in manifests(tree) {
        let Some(own) = ORDER.iter().position(|c| *c == name) else {
            problems.push(Problem::of(path, format!("{name} has no place in the order of the crates")));
            continue;
        };
        let used = DEPENDENCY_TABLES
            .iter()
            .filter_map(|table| manifest.get(*table).and_then(Value::as_table))
            .flat_map(|table| table.keys());
        for used_name in used.filter(|n| n.starts_with("fairtake")) {
            let allowed = ORDER.iter().position(|c| c == used_name).is_some_and(|other| other < own);
            if !allowed {
                problems
                    .push(Problem::of(path, format!("{name} may not use {used_name}, which is above it")));
            }
        }
    }
    problems
}

/// Every crate takes the lints of the workspace.
pub fn shared_lints(tree: &Tree) -> Vec<Problem> {
    manifests(tree)
        .filter(|(_, _, manifest)| {
            let lints = manifest.get("lints").and_then(|l| l.get("workspace"));
            lints.and_then(Value::as_bool) != Some(true)
        })
        .map(|(path, _, _)| {
            Problem::of(path, "takes no lints from the workspace: add [lints] workspace = true")
        })
        .collect()
}

/// Path, crate and content of each crate's manifest; one that cannot be parsed counts as empty, since cargo
/// itself complains about it.
fn manifests(tree: &Tree) -> impl Iterator<Item = (&str, &str, Table)> {
    tree.between("crates/", "/Cargo.toml").filter_map(|(path, text)| {
        let name = path.strip_prefix("crates/")?.strip_suffix("/Cargo.toml")?;
        (!name.contains('/')).then(|| (path, name, text.parse().unwrap_or_default()))
    })
}
