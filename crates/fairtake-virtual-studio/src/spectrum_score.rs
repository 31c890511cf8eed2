//! Edges, peaks and notches held against those of the true mean spectrum.
//!
//! The truth is found by the program's own definition of an edge and a peak, applied to the true spectrum: what is
//! asked is whether the interval holds it, not whether the definition is a good one.

use crate::curve::Case;
use crate::score::{CaseScore, Tally};
use fairtake_compare::{Feature, FeatureAt, FeatureKind, PairTables, Playing, Settings, Table, features};

/// A true peak further than this from the one that was found is another one, in octaves: what the program itself takes
/// for the same.
const SAME_WITHIN_OCTAVES: f64 = 0.25;

/// Rounding of a frequency that is the same in truth and finding.
const ROUNDING: f64 = 1e-9;

/// Adds what the features of a comparison hold to its score.
pub(crate) fn score_features(case: &Case, settings: &Settings, shrink: f64, out: &mut CaseScore) {
    let found = features(&case.tables, settings);
    // Without spread every resample is the mean itself, so few are enough.
    let truth = features(&noise_free(case), &Settings { resamples: 20, ..settings.clone() });
    for side in 0..2 {
        for feature in &found {
            let Some(found_at) = at(feature, side) else { continue };
            let nearest = truth
                .iter()
                .filter(|t| t.kind == feature.kind)
                .filter_map(|t| at(t, side))
                .min_by(|x, y| distance(x.hz, found_at.hz).total_cmp(&distance(y.hz, found_at.hz)));
            let edge = matches!(feature.kind, FeatureKind::LowEdge | FeatureKind::HighEdge);
            let tally: &mut Tally = if edge { &mut out.edges } else { &mut out.peaks };
            tally.add(nearest.is_some_and(|t| {
                (edge || distance(t.hz, found_at.hz) <= SAME_WITHIN_OCTAVES) && inside(found_at, t.hz, shrink)
            }));
        }
    }
}

fn at(feature: &Feature, side: usize) -> Option<&FeatureAt> {
    if side == 0 { feature.reference.as_ref() } else { feature.against.as_ref() }
}

fn distance(a_hz: f64, b_hz: f64) -> f64 {
    (a_hz / b_hz).log2().abs()
}

/// The interval, narrowed to both sides of what was found, holds the truth.
fn inside(at: &FeatureAt, truth_hz: f64, shrink: f64) -> bool {
    let off = (truth_hz / at.hz).log2();
    let reach = if off < 0.0 { (at.hz / at.low_hz).log2() } else { (at.high_hz / at.hz).log2() };
    off.abs() <= reach * shrink + ROUNDING
}

/// Tables without any spread, whose mean spectrum is the true one.
fn noise_free(case: &Case) -> PairTables {
    const N: usize = 8;
    let table = |spectrum: &[f64]| Table {
        placement: 1,
        performance: 1,
        position: None,
        order: None,
        band_db: spectrum.repeat(N),
        loudness_db: vec![0.0; N],
        midrange_db: vec![0.0; N],
        sample_peak_db: vec![0.0; N],
        true_peak_db: vec![0.0; N],
        rms_db: vec![0.0; N],
    };
    PairTables {
        playing: Playing::Percussive,
        reference: vec![table(&case.spectra_db[0])],
        against: vec![table(&case.spectra_db[1])],
        witness: Vec::new(),
        ..case.tables.clone()
    }
}
