//! What one spectrum shows: where its captured range ends, and what stands out of its course.

use crate::PairTables;

/// An edge lies where the spectrum has fallen this far below its strongest third octave, in dB. Common practice, no
/// source; METHOD's default.
pub(super) const RANGE_DB: f64 = 30.0;

/// Peaks and notches stand out at least this much, in dB. Common practice, no source.
const LEAST_PROMINENCE_DB: f64 = 3.0;

/// One spectrum's feature, before intervals.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Found {
    pub octaves: f64,
    pub db: f64,
    pub prominence_db: f64,
    pub width_octaves: f64,
}

/// Everything found on one spectrum.
pub(super) struct Scan {
    pub low_edge: Option<(f64, bool)>,
    pub high_edge: Option<(f64, bool)>,
    pub peaks: Vec<Found>,
    pub notches: Vec<Found>,
}

/// Whether bands beyond the lowest and highest supported one exist but are hidden.
pub(super) struct Cut {
    below: bool,
    above: bool,
}

impl Cut {
    pub(super) fn new(pair: &PairTables) -> Cut {
        let first = pair.supported.iter().position(|s| *s).unwrap_or(0);
        let last = pair.supported.iter().rposition(|s| *s).unwrap_or(0);
        Cut { below: first > 0, above: last + 1 < pair.supported.len() }
    }
}

/// Ascending positions in octaves, and how far the averages around each reach.
pub(super) struct Grid {
    pub octaves: Vec<f64>,
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
    pub(super) fn new(octaves: Vec<f64>) -> Grid {
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

/// Room for looking at one spectrum, kept from one to the next.
#[derive(Default)]
pub(super) struct Room {
    sums: Vec<f64>,
    thirds: Vec<f64>,
    course: Vec<f64>,
    turns: Turns,
}

/// Looks at one spectrum: levels in dB on a grid.
pub(super) fn look_at(spectrum: &[f64], grid: &Grid, cut: &Cut, room: &mut Room) -> Scan {
    let octaves = &grid.octaves;
    let Room { sums, thirds, course, turns } = room;
    sums.clear();
    sums.push(0.0);
    let mut sum = 0.0;
    sums.extend(spectrum.iter().map(|level| {
        sum += level;
        sum
    }));
    smooth(sums, &grid.thirds, thirds);
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
    smooth(sums, &grid.quarters, course);
    turns.find(course, threshold);
    Scan {
        low_edge: edge(first, -1, cut.below),
        high_edge: edge(last, 1, cut.above),
        peaks: standing_out(&turns.tops, course, 1.0, octaves),
        notches: standing_out(&turns.bottoms, course, -1.0, octaves),
    }
}

/// Averages over each of the spans, from the sums of the levels up to each place.
fn smooth(sums: &[f64], spans: &[Span], out: &mut Vec<f64>) {
    out.clear();
    out.extend(spans.iter().map(|s| (sums[s.to] - sums[s.from]) * s.weight));
}

/// Those of the tops (`sign` 1) or bottoms (`sign` −1) that stand out, with their prominence (the lesser of the falls to
/// both sides before anything higher) and the width at half of it.
fn standing_out(places: &[usize], course: &[f64], sign: f64, octaves: &[f64]) -> Vec<Found> {
    let n = course.len();
    let height = |i: usize| sign * course[i];
    let mut out = Vec::new();
    for i in places.iter().copied() {
        let from = height(i);
        let prominence_db = fall(from, (0..i).rev().map(height)).min(fall(from, (i + 1..n).map(height)));
        if prominence_db < LEAST_PROMINENCE_DB {
            continue;
        }
        let half = from - prominence_db / 2.0;
        let left = (0..i).rev().find(|j| height(*j) < half).unwrap_or(0);
        let right = (i + 1..n).find(|j| height(*j) < half).unwrap_or(n - 1);
        // Vertex of the parabola through the three highest points, at equal spacing.
        let (a, b, c) = (height(i - 1), from, height(i + 1));
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

/// Where a course turns: places of the highest and lowest between two moves of what a feature must stand out by.
#[derive(Debug, Default)]
struct Turns {
    tops: Vec<usize>,
    bottoms: Vec<usize>,
}

impl Turns {
    /// Finds those at a level or above it that stand out to both sides, and perhaps some that do not; of equal heights with no
    /// such move between them the last. In one walk, which keeps the highest since the last rise until the next fall, and
    /// the lowest since that fall until the next rise.
    fn find(&mut self, course: &[f64], threshold: f64) {
        let Turns { tops, bottoms } = self;
        tops.clear();
        bottoms.clear();
        let (mut highest, mut lowest) = (0, 0);
        // Until the first such move both are looked for.
        let (mut may_rise, mut may_fall) = (true, true);
        for (i, level) in course.iter().copied().enumerate() {
            if may_rise {
                if level >= course[highest] {
                    highest = i;
                } else if course[highest] - level >= LEAST_PROMINENCE_DB {
                    tops.push(highest);
                    (lowest, may_rise, may_fall) = (i, false, true);
                    continue;
                }
            }
            if may_fall {
                if level <= course[lowest] {
                    lowest = i;
                } else if level - course[lowest] >= LEAST_PROMINENCE_DB {
                    bottoms.push(lowest);
                    (highest, may_rise, may_fall) = (i, true, false);
                }
            }
        }
        // The first and the last place have but one side.
        let has_sides = |i: &usize| *i > 0 && *i + 1 < course.len() && course[*i] >= threshold;
        tops.retain(has_sides);
        bottoms.retain(has_sides);
    }
}

/// How far it falls from a height before anything higher comes.
fn fall(from: f64, levels: impl Iterator<Item = f64>) -> f64 {
    from - levels.take_while(|level| *level <= from).fold(from, f64::min)
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
        let found = look_at(
            &spectrum,
            &Grid::new(octaves),
            &Cut { below: false, above: false },
            &mut Room::default(),
        );
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
        let found = look_at(
            &spectrum,
            &Grid::new(octaves),
            &Cut { below: false, above: false },
            &mut Room::default(),
        );
        assert_eq!(found.peaks.len(), 1);
        // Tolerances: smoothing over a quarter octave lowers a half-octave bell by 2 %; the vertex is symmetric.
        assert!((found.peaks[0].octaves - centre).abs() < 0.02);
        assert!((found.peaks[0].prominence_db - 8.0).abs() < 0.4);
        assert!(found.notches.is_empty());
    }

    #[test]
    fn one_walk_finds_every_top_and_bottom_that_stands_out() {
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
            let octaves: Vec<f64> = (0..60).map(f64::from).collect();
            let mut turns = Turns::default();
            turns.find(&course, -3.0);
            for (sign, places) in [(1.0, &turns.tops), (-1.0, &turns.bottoms)] {
                let height = |i: usize| sign * course[i];
                let stands_out = |i: &usize| {
                    let (i, level) = (*i, height(*i));
                    let is_top = level >= height(i - 1) && level > height(i + 1) && course[i] >= -3.0;
                    let falls = [fall(level, (0..i).rev().map(height)), fall(level, (i + 1..60).map(height))];
                    is_top && falls[0].min(falls[1]) >= LEAST_PROMINENCE_DB
                };
                let every: Vec<f64> = (1..59).filter(stands_out).map(|i| course[i]).collect();
                let found: Vec<f64> =
                    standing_out(places, &course, sign, &octaves).iter().map(|f| f.db).collect();
                assert_eq!(found, every, "seed {seed}, sign {sign}");
            }
        }
        // Twice the same height with a dip of 1 dB between is one hill, and the same upside down.
        let mut turns = Turns::default();
        turns.find(&[0.0, 10.0, 9.0, 10.0, 0.0], -3.0);
        assert_eq!((&turns.tops[..], &turns.bottoms[..]), (&[3][..], &[][..]));
        turns.find(&[10.0, 0.0, 1.0, 0.0, 10.0], -3.0);
        assert_eq!((&turns.tops[..], &turns.bottoms[..]), (&[][..], &[3][..]));
    }

    #[test]
    fn a_small_ripple_is_no_peak() {
        let octaves = grid();
        let spectrum: Vec<f64> = octaves.iter().map(|o| 1.4 * (o * 6.0).sin()).collect();
        let found = look_at(
            &spectrum,
            &Grid::new(octaves),
            &Cut { below: false, above: false },
            &mut Room::default(),
        );
        assert!(found.peaks.is_empty() && found.notches.is_empty());
    }
}
