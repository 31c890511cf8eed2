//! What the experiment has found so far: a file per cell, replaced as a whole, gone on from when started again.

use super::Work;
use fairtake_virtual_studio::coverage::on_all_cores;
use fairtake_virtual_studio::score::CaseScore;
use std::path::{Path, PathBuf};
use std::time::Instant;
use std::{fs, io};

/// Comparisons between two writings of a cell's file.
const STEP: usize = 20;

/// One cell's comparisons so far.
pub struct Part {
    /// The cell.
    pub work: Work,
    /// Scores of its comparisons, in order.
    pub scores: Vec<CaseScore>,
    path: PathBuf,
    seed: u64,
}

impl Part {
    /// What the folder holds of a cell; nothing when there is none yet.
    pub fn read(folder: &Path, work: Work, seed: u64) -> Result<Part, String> {
        let tier = if matches!(work, Work::Curve(_)) { "curve" } else { "audio" };
        let path = folder.join(format!("{tier}-{seed}-{}.json", work.name().replace([' ', '.'], "-")));
        let scores = match fs::read_to_string(&path) {
            Ok(text) => serde_json::from_str(&text).map_err(|e| format!("{}: {e}", path.display()))?,
            Err(e) if e.kind() == io::ErrorKind::NotFound => Vec::new(),
            Err(e) => return Err(format!("{}: {e}", path.display())),
        };
        Ok(Part { work, scores, path, seed })
    }

    /// Written beside it and renamed, so that a kill at any moment leaves the old or the new file.
    fn write(&self) -> Result<(), Box<dyn std::error::Error>> {
        if let Some(folder) = self.path.parent() {
            fs::create_dir_all(folder)?;
        }
        let beside = self.path.with_extension("new");
        fs::write(&beside, serde_json::to_string(&self.scores)?)?;
        Ok(fs::rename(&beside, &self.path)?)
    }
}

/// Fills every part up to `n` comparisons, all evenly: every round brings each of them one step further.
pub fn fill(parts: &mut [Part], n: usize) -> Result<(), Box<dyn std::error::Error>> {
    let missing = |parts: &[Part]| parts.iter().map(|p| n.saturating_sub(p.scores.len())).sum::<usize>();
    let (to_do, start) = (missing(parts), Instant::now());
    if to_do > 0 {
        same_program(parts)?;
    }
    for upto in (STEP..n + STEP).step_by(STEP).map(|k| k.min(n)) {
        for part in parts.iter_mut() {
            let from = part.scores.len();
            let new = on_all_cores(upto.saturating_sub(from), |i| part.work.score(from + i, part.seed));
            if !new.is_empty() {
                part.scores.extend(new);
                part.write()?;
            }
        }
        let done = to_do - missing(parts);
        if done > 0 {
            let minutes = start.elapsed().as_secs_f64() / 60.0;
            let left = minutes / done as f64 * (to_do - done) as f64;
            eprintln!("{upto} of {n} in every cell, {minutes:.1} min, about {left:.0} min to go");
        }
    }
    Ok(())
}

/// What was kept must be what this program finds: results of two methods are never mixed.
fn same_program(parts: &[Part]) -> Result<(), String> {
    let begun: Vec<&Part> = parts.iter().filter(|p| !p.scores.is_empty()).collect();
    let again = on_all_cores(begun.len(), |k| begun[k].work.score(0, begun[k].seed));
    match begun.iter().zip(&again).find(|(p, a)| p.scores.first() != Some(*a)) {
        Some((part, _)) => Err(format!(
            "{} was made by another state of the program; begin in an empty folder",
            part.path.display()
        )),
        None => Ok(()),
    }
}
