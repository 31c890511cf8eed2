//! How much each microphone is turned down, so that all are equally loud.

use crate::AuditionError;
use fairtake_compare::{ComparisonFindings, Findings, MatchBy};
use serde::Serialize;

/// How much one microphone is turned down.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PlaybackGain {
    /// Key of the microphone.
    pub mic: String,
    /// Gain in dB, 0 or less: nothing is played louder than it was recorded.
    pub gain_db: f64,
    /// Why the microphone is not matched, in words; `None` where it is.
    pub remark: Option<String>,
}

/// Gains for `mics`, by the level match of the comparisons on `source`: the microphone that the match would raise most
/// stays as recorded, and the others are turned down to it.
///
/// Shape: one per entry of `mics`, in their order. A microphone whose match is not known is played as recorded, with a
/// remark; so are all where the levels were not matched.
///
/// # Errors
/// When a microphone takes part in no comparison on the source.
pub fn gains_db(
    findings: &Findings,
    source: &str,
    mics: &[String],
) -> Result<Vec<PlaybackGain>, AuditionError> {
    let here: Vec<&ComparisonFindings> = findings.comparisons.iter().filter(|c| c.source == source).collect();
    let stranger = mics.iter().find(|m| !here.iter().any(|c| c.reference == **m || c.against == **m));
    if let Some(mic) = stranger {
        return Err(AuditionError::NotCompared { mic: mic.clone(), source: source.to_string() });
    }
    let raised = raised_db(&here, mics);
    let most = raised.iter().flatten().copied().fold(f64::NEG_INFINITY, f64::max);
    let remark = |matched: bool| {
        if findings.settings.match_by == MatchBy::None {
            Some("the levels were not matched: played as recorded".to_string())
        } else {
            (!matched).then(|| "the level match is not known: played as recorded, not matched".to_string())
        }
    };
    let gain = |(mic, raised): (&String, &Option<f64>)| PlaybackGain {
        mic: mic.clone(),
        // Adding zero turns −0 into 0.
        gain_db: raised.map_or(0.0, |db| db - most + 0.0),
        remark: remark(raised.is_some()),
    };
    Ok(mics.iter().zip(&raised).map(gain).collect())
}

/// By how much the match raises each microphone: along comparisons, since two may have been compared with a third only.
/// Where they fall apart into groups that were never compared, those of the largest are known.
fn raised_db(here: &[&ComparisonFindings], mics: &[String]) -> Vec<Option<f64>> {
    let nothing = vec![None; mics.len()];
    if mics.len() == 1 {
        return vec![Some(0.0)];
    }
    let n_known = |of: &Vec<Option<f64>>| of.iter().flatten().count();
    mics.iter()
        .map(|first| raised_from_db(here, first, mics))
        .fold(nothing, |best, found| if n_known(&found) > n_known(&best).max(1) { found } else { best })
}

/// The same from one microphone on, which is not raised.
fn raised_from_db(here: &[&ComparisonFindings], first: &str, mics: &[String]) -> Vec<Option<f64>> {
    let mut known: Vec<(&str, f64)> = vec![(first, 0.0)];
    let of = |known: &[(&str, f64)], mic: &str| known.iter().find(|(m, _)| *m == mic).map(|(_, db)| *db);
    let mut seen = 0;
    while seen < known.len() {
        seen = known.len();
        for c in here {
            let Some(gain_db) = c.level_match.gain_db.filter(|db| db.is_finite()) else { continue };
            match (of(&known, &c.reference), of(&known, &c.against)) {
                (Some(db), None) => known.push((&c.against, db + gain_db)),
                (None, Some(db)) => known.push((&c.reference, db - gain_db)),
                _ => {}
            }
        }
    }
    mics.iter().map(|m| of(&known, m)).collect()
}

#[cfg(test)]
mod tests;
