//! Edges of the captured range, peaks and notches of each microphone's average spectrum, with intervals.
//!
//! All are found on the mean spectrum of the counted units and again on resampled ones, drawn with the spread and
//! the correlation between bands that the units show.

mod scan;

use super::supported;
use super::units::microphone_fit;
use crate::{Feature, FeatureAt, FeatureKind, PairTables, SetBy, Settings};
use fairtake_stats::curve::{CurveSettings, resampled};
use scan::{Cut, Found, Grid, RANGE_DB, Room, Scan, look_at};

/// A feature is kept when this share of the resamples shows it.
const KEPT_FROM: f64 = 0.8;

/// The same feature in a resample, or in the other microphone, lies within this many octaves.
const SAME_WITHIN_OCTAVES: f64 = 0.25;

/// No more peaks and no more notches than this per microphone are reported, the most prominent first.
const MOST_PER_KIND: usize = 4;

/// Features of both microphones, matched with each other.
pub fn features(pair: &PairTables, settings: &Settings) -> Vec<Feature> {
    let octaves: Vec<f64> = supported(pair).map(|b| pair.bands[b].centre_hz().log2()).collect();
    if octaves.len() < 6 {
        return Vec::new();
    }
    let cut = Cut::new(pair);
    let grid = Grid::new(octaves);
    let side_of = |side| Side::new(pair, side, &grid, &cut, settings);
    // Two thousand spectra are looked through for each microphone: on a thread each.
    let sides: [Side; 2] = rayon::join(|| side_of(0), || side_of(1)).into();
    let mut out = Vec::new();
    for kind in [FeatureKind::LowEdge, FeatureKind::HighEdge] {
        let [a, b] = [&sides[0], &sides[1]].map(|s| s.edge(kind));
        if a.is_none() && b.is_none() {
            continue;
        }
        // Where a spectrum has not fallen by the end of what is measured, nothing is known to set an edge.
        let end =
            if kind == FeatureKind::LowEdge { grid.octaves[0] } else { grid.octaves[grid.octaves.len() - 1] };
        let open =
            [&a, &b].into_iter().flatten().any(|(at, hidden)| !hidden && (at.hz.log2() - end).abs() < 1e-9);
        let set_by = if open { None } else { set_by(a.as_ref(), b.as_ref()) };
        out.push(Feature { kind, reference: a.map(|e| e.0), against: b.map(|e| e.0), set_by });
    }
    for kind in [FeatureKind::Peak, FeatureKind::Notch] {
        let [a, mut b] = [&sides[0], &sides[1]].map(|s| s.stable(kind));
        for reference in a {
            let near = b.iter().position(|f| (f.hz / reference.hz).log2().abs() <= SAME_WITHIN_OCTAVES);
            let against = near.map(|i| b.remove(i));
            out.push(Feature { kind, reference: Some(reference), against, set_by: None });
        }
        out.extend(b.into_iter().map(|f| Feature { kind, reference: None, against: Some(f), set_by: None }));
    }
    out
}

/// An edge is the source's where both microphones share it, the noise's where nothing below can be seen.
fn set_by(a: Option<&(FeatureAt, bool)>, b: Option<&(FeatureAt, bool)>) -> Option<SetBy> {
    match (a, b) {
        (Some((_, true)), _) | (_, Some((_, true))) => Some(SetBy::Noise),
        (Some((a, _)), Some((b, _))) => {
            let overlap = a.low_hz <= b.high_hz && b.low_hz <= a.high_hz;
            let near = (a.hz / b.hz).log2().abs() < 1.0 / 6.0;
            Some(if overlap || near { SetBy::Source } else { SetBy::Microphone })
        }
        _ => None,
    }
}

/// One microphone: its mean spectrum's features and those of the resamples.
struct Side {
    scan: Scan,
    resamples: Vec<Scan>,
}

impl Side {
    fn new(pair: &PairTables, side: usize, grid: &Grid, cut: &Cut, settings: &Settings) -> Side {
        let (fit, mean) = microphone_fit(pair, side);
        let curve_settings = CurveSettings {
            confidence: settings.confidence,
            n_draws: settings.resamples as usize,
            seed: settings.seed ^ (0xfea7 + side as u64),
        };
        let mut room = Room::default();
        let scan = look_at(&mean, grid, cut, &mut room);
        let look = |spectrum: &[f64]| look_at(spectrum, grid, cut, &mut room);
        let resamples =
            fit.map(|fit| resampled(&fit, &grid.octaves, &curve_settings, look)).unwrap_or_default();
        Side { scan, resamples }
    }

    /// An edge with its interval and whether noise sets it. Without resamples nothing is said.
    fn edge(&self, kind: FeatureKind) -> Option<(FeatureAt, bool)> {
        let pick = |s: &Scan| if kind == FeatureKind::LowEdge { s.low_edge } else { s.high_edge };
        let (octaves, hidden) = pick(&self.scan)?;
        let mut seen: Vec<f64> = self.resamples.iter().filter_map(pick).map(|(o, _)| o).collect();
        let (low, high) = interval(&mut seen, self.resamples.len())?;
        let at = FeatureAt {
            hz: octaves.exp2(),
            db: Some(-RANGE_DB),
            low_hz: low.min(octaves).exp2(),
            high_hz: high.max(octaves).exp2(),
            width_octaves: None,
            prominence_db: None,
        };
        Some((at, hidden))
    }

    /// Peaks or notches that most resamples show, the most prominent first.
    fn stable(&self, kind: FeatureKind) -> Vec<FeatureAt> {
        fn pick(s: &Scan, kind: FeatureKind) -> &[Found] {
            if kind == FeatureKind::Peak { &s.peaks } else { &s.notches }
        }
        let mut found = pick(&self.scan, kind).to_vec();
        found.sort_by(|a, b| b.prominence_db.total_cmp(&a.prominence_db));
        let mut out: Vec<FeatureAt> = found
            .into_iter()
            .filter_map(|f| {
                let mut seen: Vec<f64> = self
                    .resamples
                    .iter()
                    .filter_map(|s| {
                        pick(s, kind)
                            .iter()
                            .map(|o| o.octaves)
                            .filter(|o| (o - f.octaves).abs() <= SAME_WITHIN_OCTAVES)
                            .min_by(|x, y| (x - f.octaves).abs().total_cmp(&(y - f.octaves).abs()))
                    })
                    .collect();
                let (low, high) = interval(&mut seen, self.resamples.len())?;
                Some(FeatureAt {
                    hz: f.octaves.exp2(),
                    db: Some(f.db),
                    low_hz: low.min(f.octaves).exp2(),
                    high_hz: high.max(f.octaves).exp2(),
                    width_octaves: Some(f.width_octaves),
                    prominence_db: Some(f.prominence_db),
                })
            })
            .take(MOST_PER_KIND)
            .collect();
        out.sort_by(|a, b| a.hz.total_cmp(&b.hz));
        out
    }
}

/// The middle 95 % of what the resamples show; `None` when too few of them show it.
fn interval(seen: &mut [f64], n: usize) -> Option<(f64, f64)> {
    if n == 0 || (seen.len() as f64) < KEPT_FROM * n as f64 {
        return None;
    }
    seen.sort_by(f64::total_cmp);
    let at = |share: f64| seen[((seen.len() - 1) as f64 * share).round() as usize];
    Some((at(0.025), at(0.975)))
}
