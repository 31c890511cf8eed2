//! Holding a judgement against the truth: what the coverage table counts.

use crate::curve::Case;
use fairtake_compare::{Claim, Judgement, Verdict};

/// Number of octaves that coverage is tabled for: 20 Hz to 20 kHz.
pub const N_OCTAVES: usize = 10;

/// How one comparison's judgement compares with its truth.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct CaseScore {
    /// Bands with a known interval, per octave from 20 Hz up.
    pub known: [u32; N_OCTAVES],
    /// Of these, how many pointwise intervals cover the truth.
    pub covered: [u32; N_OCTAVES],
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
    pub match_covered: Option<bool>,
    /// Share of the region averages whose interval covers the true average.
    pub regions_covered: Option<f64>,
    /// Most of the bands whose truth is at least 2 dB are called different with the right sign.
    pub found: Option<bool>,
    /// Probability that an oracle finds the same.
    pub oracle_finds: Option<f64>,
}

/// Quantile of the normal distribution at 97.5 %.
const Z: f64 = 1.959964;

/// What the oracle's simultaneous band is wider by than ±sd: the 95 % point of the greatest of about 25 independent
/// normal errors, which 120 bands with half-octave correlation are worth: Φ⁻¹(1 − 0.05/50).
const ORACLE_SIMULTANEOUS: f64 = 3.09;

/// Truths from this size on count for power, in dB.
const CLEAR_DB: f64 = 2.0;

/// Scores one judgement. `shrink` multiplies every half-width: 1 for the real score, less to prove that the
/// score notices intervals that are too narrow.
pub fn score(case: &Case, judgement: &Judgement, margin_db: f64, shrink: f64) -> CaseScore {
    let (truth, oracle_sd, true_match) = match judgement.claim {
        Claim::TheseTakes => {
            (&case.truth_these_takes_db, &case.oracle_sd_these_takes_db, case.truth_match_gain_these_takes_db)
        }
        Claim::Microphones => {
            (&case.truth_microphones_db, &case.oracle_sd_microphones_db, case.truth_match_gain_microphones_db)
        }
    };
    let mut out = CaseScore::default();
    let mut ratios = Vec::new();
    let (mut all_inside, mut any_known) = (true, false);
    let (mut clear, mut found, mut oracle) = (0u32, 0u32, 0.0);
    for (b, band) in judgement.bands.iter().enumerate() {
        let (Some(d), true) = (band.difference_db, case.tables.supported[b]) else { continue };
        let t = truth[b];
        let octave =
            (case.tables.bands[b].centre_hz() / 20.0).log2().floor().clamp(0.0, N_OCTAVES as f64 - 1.0);
        let octave = octave as usize;
        match (band.pointwise_db, band.simultaneous_db) {
            (Some([low, high]), Some([slow, shigh])) => {
                any_known = true;
                out.known[octave] += 1;
                let half = (high - low) / 2.0 * shrink;
                out.covered[octave] += u32::from((t - d).abs() <= half);
                all_inside &= (t - d).abs() <= (shigh - slow) / 2.0 * shrink;
                ratios.push(half / (Z * oracle_sd[b]).max(1e-9));
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
            oracle += f64::from(u8::from(t.abs() / oracle_sd[b].max(1e-9) > ORACLE_SIMULTANEOUS + 1.2816));
        }
    }
    out.simultaneous = any_known.then_some(all_inside);
    ratios.sort_by(f64::total_cmp);
    out.width_ratio = ratios.get(ratios.len() / 2).copied();
    out.match_covered =
        match (judgement.match_gain.estimate, judgement.match_gain.low, judgement.match_gain.high) {
            (Some(e), Some(low), Some(high)) => Some((true_match - e).abs() <= (high - low) / 2.0 * shrink),
            _ => None,
        };
    out.regions_covered = regions_covered(case, judgement, truth, shrink);
    if clear > 0 && any_known {
        out.found = Some(2 * found > clear);
        out.oracle_finds = Some(oracle / f64::from(clear));
    }
    out
}

fn regions_covered(case: &Case, judgement: &Judgement, truth: &[f64], shrink: f64) -> Option<f64> {
    let (mut n, mut covered) = (0.0, 0.0);
    for region in &judgement.regions {
        let (Some(d), Some(low), Some(high)) = (region.difference_db, region.low_db, region.high_db) else {
            continue;
        };
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
        n += 1.0;
        covered += f64::from(u8::from((mean - d).abs() <= (high - low) / 2.0 * shrink));
    }
    (n > 0.0).then(|| covered / n)
}
