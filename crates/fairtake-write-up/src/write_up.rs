//! One write-up: pieces of work that do not need each other, a manifest over all of them, and the folder in its place.

use crate::jobs::{Job, Progress, at_once};
use crate::names::Names;
use crate::{Material, Wanted, WriteUpError};
use crate::{moving, pictures, reels, texts};
use fairtake_files::FolderInMaking;
use fairtake_files::wav::Replace;
use fairtake_report::figure::Many;
use std::path::{Path, PathBuf};

/// What was written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Written {
    /// The folder.
    pub folder: PathBuf,
    /// Its files with their sizes in bytes, by name.
    pub files: Vec<(String, u64)>,
    /// What is to be said of it: reels with their loudness, and whatever could not be made.
    pub remarks: Vec<String>,
}

/// Writes everything into a new folder at `target`, or in place of one that was made so and is unaltered where that is
/// allowed. The folder appears whole or not at all. What needs sound that is gone is left away and named.
///
/// # Errors
/// When something cannot be written, or a picture cannot be made as asked; nothing is then left of it.
pub fn write_up(
    m: &Material<'_>,
    wanted: &Wanted,
    target: &Path,
    replace: Replace,
    tell: &mut dyn FnMut(Progress),
) -> Result<Written, WriteUpError> {
    let making = FolderInMaking::begin(target, replace)?;
    let names = Names::new(m);
    let mut remarks: Vec<String> = m
        .gone
        .iter()
        .map(|(file, why)| format!("{file} is gone since the findings were made: {why}"))
        .collect();
    remarks.extend(at_once(jobs(m, wanted, &names, &making), tell)?);
    if let Some(licence) = &wanted.licence {
        making.put("LICENCE.txt", format!("{licence}\n").as_bytes())?;
    }
    making.put_manifest()?;
    let files = making.files()?.into_iter().collect();
    making.complete()?;
    Ok(Written { folder: target.into(), files, remarks })
}

fn jobs<'a>(
    m: &'a Material<'a>,
    wanted: &'a Wanted,
    names: &'a Names,
    into: &'a FolderInMaking,
) -> Vec<Job<'a>> {
    let mut jobs: Vec<Job<'a>> = Vec::new();
    let mut job =
        |name: String, work: Box<dyn FnOnce(&crate::jobs::Told) -> crate::jobs::Remarks + Send + 'a>| {
            jobs.push(Job { name, work });
        };
    let pairs = || m.findings.comparisons.iter().enumerate();
    // The longest first, so that none of them is left alone at the end.
    if let Some(picture) = &wanted.moving {
        for (i, c) in pairs() {
            let work = move |told: &crate::jobs::Told| {
                moving::moving(m, i, &names.pairs[i], &wanted.reels, picture, into, told)
            };
            job(format!("moving picture of {}", m.pair_name(c)), Box::new(work));
        }
    }
    job("the report as PDF".into(), Box::new(|_| texts::typeset(m, into)));
    for (place, source) in m.sources().into_iter().enumerate() {
        let work = move |_: &crate::jobs::Told| reels::reels(m, place, source, names, &wanted.reels, into);
        job(format!("reel of {}", m.source_name(source)), Box::new(work));
    }
    for (i, c) in pairs() {
        let work =
            move |_: &crate::jobs::Told| pictures::pictures(m, i, &names.pairs[i], &wanted.pictures, into);
        job(format!("pictures of {}", m.pair_name(c)), Box::new(work));
    }
    for source in m.sources() {
        let Some(many) = Many::new(m.findings, source, m.distances) else { continue };
        let name = names.source(source);
        let work = move |_: &crate::jobs::Told| pictures::together(m, &many, &name, &wanted.pictures, into);
        job(format!("picture of all microphones on {}", m.source_name(source)), Box::new(work));
    }
    job("the report as a page".into(), Box::new(|_| texts::report(m, into)));
    job("words".into(), Box::new(|_| texts::words(m, names, into)));
    job("equalisers".into(), Box::new(|_| texts::equalisers(m, names, into)));
    job("data".into(), Box::new(|_| texts::data(m, into)));
    jobs
}
