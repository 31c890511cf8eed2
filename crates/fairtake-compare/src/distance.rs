//! How far two microphones are apart on one source, in a few numbers for a table of many pairs.

use crate::{Band, ComparisonFindings, Verdict};
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

impl ComparisonFindings {
    /// The distance of this pair.
    pub fn distance(&self) -> Distance {
        let octaves = |v: Verdict| -> f64 {
            // Adding zero turns the sum of nothing, −0, into 0.
            self.bands.iter().filter(|b| b.verdict == v).map(|b| (b.to_hz / b.from_hz).log2()).sum::<f64>()
                + 0.0
        };
        let mean = |size: &dyn Fn(&Band) -> Option<f64>| {
            let (mut sum, mut width) = (0.0, 0.0);
            for band in self.bands.iter().filter(|b| b.verdict != Verdict::OutOfRange) {
                if let Some(size) = size(band) {
                    let octaves = (band.to_hz / band.from_hz).log2();
                    sum += size * octaves;
                    width += octaves;
                }
            }
            (width > 0.0).then(|| sum / width)
        };
        Distance {
            mean_db: mean(&|b| b.difference_db.map(f64::abs)),
            at_least_db: mean(&|b| {
                let (low, high) = b.simultaneous_low_db.zip(b.simultaneous_high_db)?;
                Some(low.max(-high).max(0.0))
            }),
            different_octaves: octaves(Verdict::Different),
            alike_octaves: octaves(Verdict::Alike),
            undecided_octaves: octaves(Verdict::Undecided),
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::testing::{hits, take};
    use crate::{Comparison, Settings, Shootout, Verdict, compare};

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
