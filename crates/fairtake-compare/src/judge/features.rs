//! Edges of the captured range, peaks and notches of each microphone's average spectrum, with intervals.
//!
//! All are found on the mean spectrum of the counted units and again on resampled ones, drawn with the spread and
//! the correlation between bands that the units show.

use super::supported;
use super::units::microphone_fit;
use crate::{Feature, FeatureAt, FeatureKind, PairTables, SetBy, Settings};
use fairtake_stats::curve::{CurveSettings, resampled};

/// An edge lies where the spectrum has fallen this far below its strongest third octave, in dB. Common practice, no
/// source; METHOD's default.
const RANGE_DB: f64 = 30.0;

/// Peaks and notches stand out at least this much, in dB. Common practice, no source.
const LEAST_PROMINENCE_DB: f64 = 3.0;

/// A feature is kept when this share of the resamples shows it.
const KEPT_FROM: f64 = 0.8;

/// The same feature in a resample, or in the other microphone, lies within this many octaves.
const SAME_WITHIN_OCTAVES: f64 = 0.25;

/// No more peaks and no more notches than this per microphone are reported, the most prominent first.
const MOST_PER_KIND: usize = 4;

/// One spectrum's feature, before intervals.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Found {
    octaves: f64,
    db: f64,
    prominence_db: f64,
    width_octaves: f64,
}

/// Everything found on one spectrum.
struct Scan {
    low_edge: Option<(f64, bool)>,
    high_edge: Option<(f64, bool)>,
    peaks: Vec<Found>,
    notches: Vec<Found>,
}

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
    let sides: [Side; 2] = std::thread::scope(|scope| {
        let first = scope.spawn(|| side_of(0));
        let second = side_of(1);
        [first.join().expect("looking through spectra does not panic"), second]
    });
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

/// Whether bands beyond the lowest and highest supported one exist but are hidden.
struct Cut {
    below: bool,
    above: bool,
}

impl Cut {
    fn new(pair: &PairTables) -> Cut {
        let first = pair.supported.iter().position(|s| *s).unwrap_or(0);
        let last = pair.supported.iter().rposition(|s| *s).unwrap_or(0);
        Cut { below: first > 0, above: last + 1 < pair.supported.len() }
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
        let resamples = fit
            .map(|fit| resampled(&fit, &grid.octaves, &curve_settings, |spectrum| scan(spectrum, grid, cut)))
            .unwrap_or_default();
        Side { scan: scan(&mean, grid, cut), resamples }
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

/// Ascending positions in octaves, and how far the averages around each reach.
struct Grid {
    octaves: Vec<f64>,
    /// A third of an octave wide.
    thirds: Vec<Span>,
    /// A quarter of an octave wide.
    quarters: Vec<Span>,
}

/// Places that are averaged.
struct Span {
    from: usize,
    to: usize,
    /// What each of them weighs.
    weight: f64,
}

impl Grid {
    fn new(octaves: Vec<f64>) -> Grid {
        let around = |reach: f64| -> Vec<Span> {
            let within = |at: &f64| {
                let from = octaves.partition_point(|o| *o < at - reach);
                let to = octaves.partition_point(|o| *o <= at + reach);
                Span { from, to, weight: 1.0 / (to - from) as f64 }
            };
            octaves.iter().map(within).collect()
        };
        let (thirds, quarters) = (around(1.0 / 6.0), around(1.0 / 8.0));
        Grid { octaves, thirds, quarters }
    }
}

/// Looks at one spectrum: levels in dB on a grid.
fn scan(spectrum: &[f64], grid: &Grid, cut: &Cut) -> Scan {
    let octaves = &grid.octaves;
    let mut sums = vec![0.0; spectrum.len() + 1];
    spectrum.iter().enumerate().for_each(|(i, level)| sums[i + 1] = sums[i] + level);
    let thirds = smooth(&sums, &grid.thirds);
    let top = thirds.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let threshold = top - RANGE_DB;
    let inside = |i: &usize| thirds[*i] >= threshold;
    let edge = |i: Option<usize>, towards: isize, hidden: bool| {
        let i = i?;
        match i.checked_add_signed(towards).filter(|j| *j < thirds.len()) {
            // The threshold is crossed between two bands.
            Some(j) => {
                let share = (thirds[i] - threshold) / (thirds[i] - thirds[j]).max(1e-9);
                Some((octaves[i] + share * (octaves[j] - octaves[i]), false))
            }
            None => Some((octaves[i], hidden)),
        }
    };
    let first = (0..thirds.len()).find(inside);
    let last = (0..thirds.len()).rev().find(inside);
    let course = smooth(&sums, &grid.quarters);
    let upside_down: Vec<f64> = course.iter().map(|v| -v).collect();
    Scan {
        low_edge: edge(first, -1, cut.below),
        high_edge: edge(last, 1, cut.above),
        peaks: hills(&course, octaves, threshold),
        notches: hills(&upside_down, octaves, f64::NEG_INFINITY)
            .into_iter()
            .filter(|f| -f.db >= threshold)
            .map(|f| Found { db: -f.db, ..f })
            .collect(),
    }
}

/// Averages over each of the spans, from the sums of the levels up to each place.
fn smooth(sums: &[f64], spans: &[Span]) -> Vec<f64> {
    spans.iter().map(|s| (sums[s.to] - sums[s.from]) * s.weight).collect()
}

/// Local maxima with their prominence (the lesser of the falls to both sides before anything higher) and the
/// width at half of it.
fn hills(course: &[f64], octaves: &[f64], threshold: f64) -> Vec<Found> {
    let n = course.len();
    let mut out = Vec::new();
    for i in tops(course, threshold) {
        let prominence_db = fall(course[i], course[..i].iter().rev()).min(fall(course[i], &course[i + 1..]));
        if prominence_db < LEAST_PROMINENCE_DB {
            continue;
        }
        let half = course[i] - prominence_db / 2.0;
        let left = (0..i).rev().find(|j| course[*j] < half).unwrap_or(0);
        let right = (i + 1..n).find(|j| course[*j] < half).unwrap_or(n - 1);
        // Vertex of the parabola through the three highest points, at equal spacing.
        let (a, b, c) = (course[i - 1], course[i], course[i + 1]);
        let shift = 0.5 * (a - c) / (a - 2.0 * b + c).min(-1e-9);
        let step = (octaves[i + 1] - octaves[i - 1]) / 2.0;
        out.push(Found {
            octaves: octaves[i] + shift.clamp(-0.5, 0.5) * step,
            db: course[i],
            prominence_db,
            width_octaves: octaves[right] - octaves[left],
        });
    }
    out
}

/// Places of the maxima from a level on that lie between two falls of what a feature must stand out by, and perhaps of some
/// that do not; of equal heights with no such fall between them the last. In one walk that keeps the highest since the last
/// rise of that much until the next fall of that much.
fn tops(course: &[f64], threshold: f64) -> Vec<usize> {
    let mut out = Vec::new();
    let (mut highest, mut lowest, mut is_rising) = (0, 0, true);
    for (i, level) in course.iter().enumerate() {
        if is_rising {
            if *level >= course[highest] {
                highest = i;
            } else if course[highest] - level >= LEAST_PROMINENCE_DB {
                out.push(highest);
                (lowest, is_rising) = (i, false);
            }
        } else if *level < course[lowest] {
            lowest = i;
        } else if level - course[lowest] >= LEAST_PROMINENCE_DB {
            (highest, is_rising) = (i, true);
        }
    }
    out.retain(|i| *i > 0 && course[*i] >= threshold);
    out
}

/// How far it falls from a height before anything higher comes.
fn fall<'a>(from: f64, levels: impl IntoIterator<Item = &'a f64>) -> f64 {
    from - levels
        .into_iter()
        .take_while(|level| **level <= from)
        .fold(from, |lowest, level| lowest.min(*level))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn grid() -> Vec<f64> {
        (0..120).map(|i| 20f64.log2() + i as f64 / 12.0).collect()
    }

    #[test]
    fn an_edge_lies_where_a_straight_slope_has_fallen_thirty_decibels() {
        let octaves = grid();
        // Flat down to 80 Hz, then 24 dB per octave: 30 dB down 1.25 octaves below.
        let corner = 80f64.log2();
        let spectrum: Vec<f64> = octaves.iter().map(|o| 24.0 * (o - corner).min(0.0)).collect();
        let found = scan(&spectrum, &Grid::new(octaves), &Cut { below: false, above: false });
        let (edge, hidden) = found.low_edge.expect("an edge");
        // Tolerance: the third-octave average is exact on a straight slope, interpolation too; the grid is 1/12.
        assert!((edge - (corner - 1.25)).abs() < 0.02 && !hidden, "{}", edge.exp2());
    }

    #[test]
    fn a_peak_is_found_where_it_is_with_its_prominence() {
        let octaves = grid();
        let centre = 4000f64.log2();
        let spectrum: Vec<f64> =
            octaves.iter().map(|o| 8.0 * (-((o - centre) / 0.5).powi(2)).exp()).collect();
        let found = scan(&spectrum, &Grid::new(octaves), &Cut { below: false, above: false });
        assert_eq!(found.peaks.len(), 1);
        // Tolerances: smoothing over a quarter octave lowers a half-octave bell by 2 %; the vertex is symmetric.
        assert!((found.peaks[0].octaves - centre).abs() < 0.02);
        assert!((found.peaks[0].prominence_db - 8.0).abs() < 0.4);
        assert!(found.notches.is_empty());
    }

    #[test]
    fn one_walk_finds_every_maximum_that_stands_out() {
        for seed in 0..2000u64 {
            let mut state = seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1;
            let mut level = 0.0;
            let course: Vec<f64> = (0..60)
                .map(|_| {
                    state =
                        state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                    level += ((state >> 40) as f64 / f64::from(1 << 23) - 1.0) * 4.0;
                    level
                })
                .collect();
            let stands_out = |i: &usize| {
                let (i, level) = (*i, course[*i]);
                let is_top = level >= course[i - 1] && level > course[i + 1] && level >= -3.0;
                let falls = [fall(level, course[..i].iter().rev()), fall(level, &course[i + 1..])];
                is_top && falls[0].min(falls[1]) >= LEAST_PROMINENCE_DB
            };
            let octaves: Vec<f64> = (0..60).map(f64::from).collect();
            let every: Vec<f64> = (1..59).filter(stands_out).map(|i| course[i]).collect();
            let found: Vec<f64> = hills(&course, &octaves, -3.0).iter().map(|f| f.db).collect();
            assert_eq!(found, every, "seed {seed}");
        }
        // Twice the same height with a dip of 1 dB between is one hill.
        let level = [0.0, 10.0, 9.0, 10.0, 0.0];
        assert_eq!(tops(&level, -3.0), [3]);
    }

    #[test]
    fn a_small_ripple_is_no_peak() {
        let octaves = grid();
        let spectrum: Vec<f64> = octaves.iter().map(|o| 1.4 * (o * 6.0).sin()).collect();
        let found = scan(&spectrum, &Grid::new(octaves), &Cut { below: false, above: false });
        assert!(found.peaks.is_empty() && found.notches.is_empty());
    }
}
