//! How far two microphones are apart on one source, in a few numbers for a table of many pairs.

use crate::compare::{self, Comparison, Tabled, measured_and_checked, taking_part};
use crate::judge::judge;
use crate::measure::Measured;
use crate::parallel::in_parallel;
use crate::{
    Band, BandSpan, CompareError, ComparisonFindings, Findings, JudgedBand, PairTables, Remembered, Settings,
    Shootout, Take, Verdict,
};
use serde::{Deserialize, Serialize};

/// Distance over the frequency axis, after the level match.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Distance {
    /// Mean of the size of the difference over all octaves with a verdict, in dB; `None`: there are none. Repeats scatter,
    /// so that it is above 0 also for equal microphones.
    pub mean_db: Option<f64>,
    /// The same of what is left of the difference at the nearer bound of the simultaneous interval, in dB: 0 wherever that
    /// reaches 0. What the takes show at least.
    pub at_least_db: Option<f64>,
    /// Octaves called different.
    pub different_octaves: f64,
    /// Octaves called alike.
    pub alike_octaves: f64,
    /// Octaves undecided.
    pub undecided_octaves: f64,
}

/// How far two microphones are apart on a source.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PairDistance {
    /// Key of the source.
    pub source: String,
    /// Keys of the microphones.
    pub first: String,
    /// The other one.
    pub second: String,
    /// Their distance.
    pub distance: Distance,
}

/// One band, as far as distances need it.
struct Part {
    octaves: f64,
    difference_db: Option<f64>,
    simultaneous_db: Option<[f64; 2]>,
    verdict: Verdict,
}

impl Distance {
    fn over(parts: &[Part]) -> Distance {
        let octaves = |v: Verdict| -> f64 {
            // Adding zero turns the sum of nothing, −0, into 0.
            parts.iter().filter(|p| p.verdict == v).map(|p| p.octaves).sum::<f64>() + 0.0
        };
        let mean = |size: &dyn Fn(&Part) -> Option<f64>| {
            let (mut sum, mut width) = (0.0, 0.0);
            for part in parts.iter().filter(|p| p.verdict != Verdict::OutOfRange) {
                if let Some(size) = size(part) {
                    sum += size * part.octaves;
                    width += part.octaves;
                }
            }
            (width > 0.0).then(|| sum / width)
        };
        Distance {
            mean_db: mean(&|p| p.difference_db.map(f64::abs)),
            at_least_db: mean(&|p| p.simultaneous_db.map(|[low, high]| low.max(-high).max(0.0))),
            different_octaves: octaves(Verdict::Different),
            alike_octaves: octaves(Verdict::Alike),
            undecided_octaves: octaves(Verdict::Undecided),
        }
    }

    fn judged(pair: &PairTables, bands: &[JudgedBand]) -> Distance {
        let part = |(span, judged): (&BandSpan, &JudgedBand)| Part {
            octaves: (span.to_hz / span.from_hz).log2(),
            difference_db: judged.difference_db,
            simultaneous_db: judged.simultaneous_db,
            verdict: judged.verdict,
        };
        Distance::over(&pair.bands.iter().zip(bands).map(part).collect::<Vec<_>>())
    }
}

impl ComparisonFindings {
    /// The distance of this pair.
    pub fn distance(&self) -> Distance {
        let part = |b: &Band| Part {
            octaves: (b.to_hz / b.from_hz).log2(),
            difference_db: b.difference_db,
            simultaneous_db: b.simultaneous_low_db.zip(b.simultaneous_high_db).map(|(l, h)| [l, h]),
            verdict: b.verdict,
        };
        Distance::over(&self.bands.iter().map(part).collect::<Vec<_>>())
    }
}

/// Distances of many pairs of microphones on one source, in their order, as [`compare_remembering`] would find them: without
/// alignment, edges, peaks and sentences, which cost more than all the rest. Several at a time.
///
/// # Errors
/// As [`compare_remembering`].
///
/// [`compare_remembering`]: crate::compare_remembering
pub fn distances_remembering(
    takes: &[Take],
    shootout: &Shootout,
    settings: &Settings,
    source: &str,
    pairs: &[(String, String)],
    remembered: &mut Remembered,
) -> Result<Vec<Distance>, CompareError> {
    let (measures, checks) =
        measured_and_checked(takes, shootout, settings, None, remembered).map_err(CompareError::Read)?;
    let measured: Vec<Measured> = takes.iter().zip(&measures).collect();
    let here = taking_part(&measured, &checks, source);
    let distance = |pair: &(String, String)| -> Result<Distance, CompareError> {
        let asked = Comparison {
            reference: None,
            pair: Some(pair.clone()),
            source: Some(source.to_string()),
            recognised: None,
            version: String::new(),
        };
        compare::pairs(&here, &asked)?;
        let Tabled { made, setting_up, .. } =
            Tabled::new(&here, [&pair.0, &pair.1], shootout, settings, &asked);
        let judgement = judge(&made.pair, settings, setting_up.as_ref());
        Ok(Distance::judged(&made.pair, &judgement.bands))
    };
    in_parallel(pairs, |pair| Ok(distance(pair))).map_err(CompareError::Read)?.into_iter().collect()
}

/// Distances of all pairs of microphones that are compared with one and the same reference, source by source, in the order of
/// the findings; sources with two microphones are left away.
///
/// # Errors
/// As [`distances_remembering`].
pub fn all_distances(
    takes: &[Take],
    shootout: &Shootout,
    findings: &Findings,
    remembered: &mut Remembered,
) -> Result<Vec<PairDistance>, CompareError> {
    let mut by_source: Vec<(&str, Vec<&ComparisonFindings>)> = Vec::new();
    for c in &findings.comparisons {
        match by_source.iter_mut().find(|(source, _)| *source == c.source) {
            Some((_, all)) => all.push(c),
            None => by_source.push((&c.source, vec![c])),
        }
    }
    let mut out = Vec::new();
    for (source, comparisons) in by_source {
        let reference = &comparisons[0].reference;
        let from_reference: Vec<_> = comparisons.into_iter().filter(|c| c.reference == *reference).collect();
        if from_reference.len() < 2 {
            continue;
        }
        let of = |first: &str, second: &str, distance| PairDistance {
            source: source.to_string(),
            first: first.to_string(),
            second: second.to_string(),
            distance,
        };
        out.extend(from_reference.iter().map(|c| of(reference, &c.against, c.distance())));
        let pairs: Vec<(String, String)> = from_reference
            .iter()
            .enumerate()
            .flat_map(|(i, a)| from_reference[i + 1..].iter().map(|b| (a.against.clone(), b.against.clone())))
            .collect();
        let found = distances_remembering(takes, shootout, &findings.settings, source, &pairs, remembered)?;
        out.extend(pairs.iter().zip(found).map(|((a, b), distance)| of(a, b, distance)));
    }
    Ok(out)
}

#[cfg(test)]
mod tests {
    use crate::testing::{hits, take};
    use crate::{Comparison, Remembered, Settings, Shootout, Verdict, compare, distances_remembering};

    #[test]
    fn distances_of_many_pairs_are_those_of_each_compared_by_itself() {
        let takes =
            [take("heron", 1, hits(1, 1.0)), take("moorhen", 1, hits(1, 0.5)), take("coot", 2, hits(2, 1.0))];
        let (log, settings) = (Shootout::default(), Settings::standard());
        let pair = |a: &str, b: &str| (a.to_string(), b.to_string());
        let pairs = [pair("heron", "moorhen"), pair("heron", "coot"), pair("coot", "moorhen")];
        let source = &takes[0].source;
        let of = |pairs: &[(String, String)]| {
            distances_remembering(&takes, &log, &settings, source, pairs, &mut Remembered::default())
        };
        let found = of(&pairs).expect("three microphones");
        for (pair, distance) in pairs.into_iter().zip(found) {
            let asked = Comparison {
                reference: None,
                pair: Some(pair),
                source: None,
                recognised: None,
                version: "test".into(),
            };
            let compared = compare(&takes, &log, &settings, &asked).expect("compares").findings;
            assert_eq!(compared.comparisons[0].distance(), distance);
            assert!(distance.mean_db.is_some());
        }
        assert!(of(&[pair("heron", "teal")]).is_err());
    }

    #[test]
    fn a_distance_is_the_mean_over_octaves_and_never_more_than_is_shown() {
        let takes = vec![take("heron", 1, hits(1, 1.0)), take("moorhen", 2, hits(2, 1.0))];
        let asked = Comparison {
            reference: None,
            pair: None,
            source: None,
            recognised: None,
            version: "test".into(),
        };
        let mut found =
            compare(&takes, &Shootout::default(), &Settings::standard(), &asked).expect("compares").findings;
        let c = &mut found.comparisons[0];
        // Two octaves of +2 dB (1 to 3), one of −4 dB (−5 to −3), all else out of range.
        c.bands.truncate(3);
        let set =
            [(100.0, 200.0, 2.0, 1.0, 3.0), (200.0, 400.0, 2.0, -1.0, 5.0), (400.0, 800.0, -4.0, -5.0, -3.0)];
        for (b, (from, to, d, low, high)) in c.bands.iter_mut().zip(set) {
            (b.from_hz, b.to_hz, b.difference_db) = (from, to, Some(d));
            (b.simultaneous_low_db, b.simultaneous_high_db) = (Some(low), Some(high));
            b.verdict = if low < 0.0 && high > 0.0 { Verdict::Undecided } else { Verdict::Different };
        }
        let d = c.distance();
        // Exact: (2 + 2 + 4)/3 and (1 + 0 + 3)/3.
        assert!((d.mean_db.expect("known") - 8.0 / 3.0).abs() < 1e-12);
        assert!((d.at_least_db.expect("known") - 4.0 / 3.0).abs() < 1e-12);
        assert_eq!((d.different_octaves, d.alike_octaves, d.undecided_octaves), (2.0, 0.0, 1.0));
        c.bands.iter_mut().for_each(|b| b.verdict = Verdict::OutOfRange);
        assert_eq!(c.distance().mean_db, None);
    }
}
