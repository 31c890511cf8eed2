//! Holding a judgement against the truth: what the coverage table counts.

use crate::curve::Case;
use fairtake_compare::{Claim, JudgedBand, Judgement, Verdict};
use serde::{Deserialize, Serialize};

/// Number of octaves that coverage is tabled for: 20 Hz to 20 kHz.
pub const N_OCTAVES: usize = 10;

/// So many were asked, so many of them held.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Tally {
    /// Intervals that were given.
    pub n: u32,
    /// Those that hold the truth.
    pub held: u32,
}

impl Tally {
    /// Counts one more.
    pub fn add(&mut self, held: bool) {
        self.n += 1;
        self.held += u32::from(held);
    }
}

/// How one comparison's judgement compares with its truth.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CaseScore {
    /// What the intervals speak about.
    pub claim: Claim,
    /// Bands with a known interval and those whose pointwise interval covers, per octave from 20 Hz up.
    pub octaves: [Tally; N_OCTAVES],
    /// Bands whose interval is unknown.
    pub unknown: u32,
    /// The simultaneous band covers the truth everywhere; `None`: unknown.
    pub simultaneous: Option<bool>,
    /// Some band is called different although the truth there is exactly zero.
    pub false_different: bool,
    /// Some band is called different with the wrong sign.
    pub wrong_sign: bool,
    /// Some band is called alike although the truth exceeds the margin.
    pub wrong_alike: bool,
    /// Median half-width over that of an oracle that knows the true standard deviation (normal quantile).
    pub width_ratio: Option<f64>,
    /// The interval of the match gain covers its truth.
    pub match_held: Option<bool>,
    /// Intervals of the level differences.
    pub levels: Tally,
    /// All intervals of region averages cover the true averages; `None`: there was none.
    pub regions_held: Option<bool>,
    /// Most of the bands whose truth is at least 2 dB are called different with the right sign.
    pub found: Option<bool>,
    /// Share of those bands in which an oracle finds the difference.
    pub oracle_finds: Option<f64>,
    /// Edges of the captured range.
    pub edges: Tally,
    /// Peaks and notches.
    pub peaks: Tally,
    /// The session went on as advised, and the region was settled; `None`: no advice was given or tried.
    pub settled: Option<bool>,
    /// Bands whose conditional interval holds the difference between the microphones, with the allowance at half its
    /// sizes, as it stands, at twice.
    pub conditional: [Tally; 3],
}

/// Quantile of the normal distribution at 97.5 %.
const Z: f64 = 1.959964;

/// The standard deviation of an oracle whose half-width is one decibel.
pub(crate) const SD_OF_ONE_DB: f64 = 1.0 / Z;

/// What the oracle's simultaneous band is wider by than ±sd: the 95 % point of the greatest of about 25 independent
/// normal errors, which 120 bands with half-octave correlation are worth: Φ⁻¹(1 − 0.05/50).
const ORACLE_SIMULTANEOUS: f64 = 3.09;

/// Quantile of the normal distribution at 90 %: the oracle finds a difference with this probability.
const ORACLE_POWER: f64 = 1.2816;

/// Truths from this size on count for power, in dB.
const CLEAR_DB: f64 = 2.0;

/// Scores one judgement. `shrink` multiplies every half-width: 1 for the real score, less to prove that the
/// score notices intervals that are too narrow.
pub fn score(case: &Case, judgement: &Judgement, margin_db: f64, shrink: f64) -> CaseScore {
    let truth = case.truth(judgement.claim);
    let mut out = CaseScore {
        claim: judgement.claim,
        octaves: Default::default(),
        unknown: 0,
        simultaneous: None,
        false_different: false,
        wrong_sign: false,
        wrong_alike: false,
        width_ratio: None,
        match_held: None,
        levels: Tally::default(),
        regions_held: None,
        found: None,
        oracle_finds: None,
        edges: Tally::default(),
        peaks: Tally::default(),
        settled: None,
        conditional: Default::default(),
    };
    let mut ratios = Vec::new();
    let (mut all_inside, mut any_known) = (true, false);
    let (mut clear, mut found, mut oracle) = (0u32, 0u32, 0.0);
    for (b, band) in judgement.bands.iter().enumerate() {
        let (Some(d), true) = (band.difference_db, case.tables.supported[b]) else { continue };
        let t = truth.difference_db[b];
        let sd = truth.oracle_sd_db[b].max(1e-9);
        match (band.pointwise_db, band.simultaneous_db) {
            (Some(pointwise), Some(simultaneous)) => {
                any_known = true;
                out.octaves[octave(case.tables.bands[b].centre_hz())].add(holds(pointwise, t, shrink));
                all_inside &= holds(simultaneous, t, shrink);
                ratios.push((pointwise[1] - pointwise[0]) / 2.0 * shrink / (Z * sd));
            }
            _ => out.unknown += 1,
        }
        let different = band.verdict == Verdict::Different;
        out.false_different |= different && t.abs() < 1e-9;
        out.wrong_sign |= different && t * d < 0.0;
        out.wrong_alike |= band.verdict == Verdict::Alike && t.abs() > margin_db;
        if t.abs() >= CLEAR_DB {
            clear += 1;
            found += u32::from(different && t * d > 0.0);
            oracle += f64::from(u8::from(t.abs() / sd > ORACLE_SIMULTANEOUS + ORACLE_POWER));
        }
    }
    out.simultaneous = any_known.then_some(all_inside);
    ratios.sort_by(f64::total_cmp);
    out.width_ratio = ratios.get(ratios.len() / 2).copied();
    let gain = judgement.match_gain;
    out.match_held = gain.low.zip(gain.high).map(|(l, h)| holds([l, h], truth.match_gain_db, shrink));
    for (level, truth) in judgement.levels.iter().zip(truth.levels_db) {
        if let (Some(low), Some(high), Some(truth)) = (level.low, level.high, truth) {
            out.levels.add(holds([low, high], truth, shrink));
        }
    }
    out.regions_held = regions_held(case, judgement, &truth.difference_db, shrink);
    if clear > 0 && any_known {
        out.found = Some(2 * found > clear);
        out.oracle_finds = Some(oracle / f64::from(clear));
    }
    out
}

/// Counts the bands whose conditional interval holds what the microphones' own difference is.
pub fn conditional(case: &Case, bands: &[JudgedBand]) -> Tally {
    let mut out = Tally::default();
    for (band, truth) in bands.iter().zip(&case.microphones.difference_db) {
        if let Some(c) = band.conditional {
            out.add(c.low_db <= *truth && *truth <= c.high_db);
        }
    }
    out
}

/// The octave that a frequency counts for, from 20 Hz up.
pub(crate) fn octave(centre_hz: f64) -> usize {
    (centre_hz / 20.0).log2().floor().clamp(0.0, N_OCTAVES as f64 - 1.0) as usize
}

/// True when the interval, narrowed around its middle, holds the truth.
pub(crate) fn holds([low, high]: [f64; 2], truth: f64, shrink: f64) -> bool {
    (truth - (low + high) / 2.0).abs() <= (high - low) / 2.0 * shrink
}

fn regions_held(case: &Case, judgement: &Judgement, truth: &[f64], shrink: f64) -> Option<bool> {
    let mut all = None;
    for region in &judgement.regions {
        let (Some(low), Some(high)) = (region.low_db, region.high_db) else { continue };
        let inside: Vec<f64> = case
            .tables
            .bands
            .iter()
            .zip(truth)
            .zip(&case.tables.supported)
            .filter(|((band, _), s)| {
                **s && band.centre_hz() > region.from_hz && band.centre_hz() < region.to_hz
            })
            .map(|((_, t), _)| *t)
            .collect();
        let mean = inside.iter().sum::<f64>() / inside.len().max(1) as f64;
        all = Some(all.unwrap_or(true) & holds([low, high], mean, shrink));
    }
    all
}
