//! What a judgement knows of the difference: one entry per band that can be corrected.

use fairtake_compare::{BandSpan, Judgement, PairTables};

/// Two-sided 95 % of the normal distribution, in standard deviations. Intervals of few degrees of freedom are wider; taken
/// as if they were not, they count for less, which is as it should be.
const SIGMAS_95: f64 = 1.96;

/// A band whose difference is known with its intervals.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Seen {
    /// Number of the band in the tables.
    pub index: usize,
    /// Its edges.
    pub band: BandSpan,
    /// Against minus reference after the match, in dB.
    pub difference_db: f64,
    /// Standard uncertainty of this, in dB.
    pub sd_db: f64,
    /// Half the width of its 95 % interval, in dB.
    pub half_db: f64,
    /// The 95 % interval that holds for all bands at once.
    pub simultaneous_db: [f64; 2],
}

impl Seen {
    /// Width in octaves: what a band weighs in a mean.
    pub fn octaves(&self) -> f64 {
        (self.band.to_hz / self.band.from_hz).log2()
    }

    /// Position in octaves re 1 Hz.
    pub fn position(&self) -> f64 {
        self.band.centre_hz().log2()
    }
}

/// An equaliser acts on no more than this share of its sampling rate: above, a digital one has no shape that it could keep.
pub(crate) const HIGHEST_SHARE: f64 = 0.45;

/// The bands that are supported, have intervals and lie below what a sampling rate can equalise, low to high.
pub(crate) fn seen(pair: &PairTables, judgement: &Judgement, rate_hz: f64) -> Vec<Seen> {
    let known = |(index, (band, judged)): (usize, (&BandSpan, &fairtake_compare::JudgedBand))| {
        let [low, high] = judged.pointwise_db.filter(|_| band.to_hz <= HIGHEST_SHARE * rate_hz)?;
        Some(Seen {
            index,
            band: *band,
            difference_db: judged.difference_db?,
            sd_db: (high - low) / (2.0 * SIGMAS_95),
            half_db: (high - low) / 2.0,
            simultaneous_db: judged.simultaneous_db?,
        })
    };
    pair.bands.iter().zip(&judgement.bands).enumerate().filter_map(known).collect()
}

/// Mean of a quantity over bands, an octave weighing as an octave.
pub(crate) fn mean(seen: &[Seen], of: impl Fn(usize, &Seen) -> f64) -> f64 {
    let total: f64 = seen.iter().map(Seen::octaves).sum();
    seen.iter().enumerate().map(|(i, s)| s.octaves() * of(i, s)).sum::<f64>() / total
}
