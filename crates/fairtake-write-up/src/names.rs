//! Names of files: from the keys of the log, which may hold anything, to what every system takes; each once.

use crate::Material;
use fairtake_files::key_of;
use std::collections::{HashMap, HashSet};

/// Longest part of a name in letters: three of them and an ending must fit into 255 bytes, of four a letter at most.
const LONGEST: usize = 16;

/// File names of sources, microphones and pairs.
pub(crate) struct Names {
    sources: HashMap<String, String>,
    mics: HashMap<String, String>,
    /// In the order of the findings' comparisons.
    pub pairs: Vec<String>,
}

impl Names {
    pub fn new(material: &Material<'_>) -> Names {
        let sources = distinct(material.sources().into_iter());
        let mics = distinct(material.findings.mics.iter().map(|m| m.id.as_str()));
        let part =
            |of: &HashMap<String, String>, key: &str| of.get(key).cloned().unwrap_or_else(|| short(key));
        let pairs = material.findings.comparisons.iter().map(|c| {
            format!(
                "{}-{}-against-{}",
                part(&sources, &c.source),
                part(&mics, &c.against),
                part(&mics, &c.reference)
            )
        });
        let mut used = HashSet::new();
        let pairs = pairs.map(|name| free(name, &mut used)).collect();
        Names { pairs, sources, mics }
    }

    pub fn source(&self, key: &str) -> String {
        self.sources.get(key).cloned().unwrap_or_else(|| short(key))
    }

    pub fn mic(&self, key: &str) -> String {
        self.mics.get(key).cloned().unwrap_or_else(|| short(key))
    }
}

/// A plain, short name for each key, none twice.
pub fn distinct<'k>(keys: impl Iterator<Item = &'k str>) -> HashMap<String, String> {
    let mut used = HashSet::new();
    keys.map(|key| (key.to_string(), free(short(key), &mut used))).collect()
}

fn short(key: &str) -> String {
    key_of(key).chars().take(LONGEST).collect::<String>().trim_end_matches('-').to_string()
}

/// The name, or the name with a number where it is taken.
fn free(name: String, used: &mut HashSet<String>) -> String {
    let numbered = (2u32..).map(|n| format!("{name}-{n}"));
    let free = std::iter::once(name.clone()).chain(numbered).find(|n| !used.contains(n)).unwrap_or(name);
    used.insert(free.clone());
    free
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_key_gets_a_name_of_its_own_that_is_short_and_plain() {
        let keys = ["drum", "Drum", "dr/um", "../..", "تم", "a very long key of a source, far too long"];
        let named = distinct(keys.into_iter());
        let mut names: Vec<&str> = keys.iter().map(|k| named[*k].as_str()).collect();
        assert_eq!(names, ["drum", "drum-2", "dr-um", "mic", "تم", "a-very-long-key"]);
        names.dedup();
        assert_eq!(names.len(), keys.len());
    }
}
