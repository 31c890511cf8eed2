//! The verdict strip at the foot of a corridor, and the areas that a cursor reads.

use super::canvas::{Canvas, escaped};
use super::font::Weight;
use super::{Corridor, Segment, reading};
use crate::words;
use fairtake_compare::Verdict;
use std::fmt::Write;

/// A number that stands below its segment, tied to it by a line.
struct Below {
    /// Middle of the segment.
    of: f64,
    /// Middle of the number.
    x: f64,
    width: f64,
    size_db: f64,
    label: String,
}

/// Moves numbers apart between two limits, as little as may be, low to high. Where there is no room for all, the smallest
/// differences go.
fn spread(below: &mut Vec<Below>, least: f64, most: f64) {
    while below.iter().map(|b| b.width).sum::<f64>() > most - least {
        let smallest = (0..below.len()).min_by(|a, b| below[*a].size_db.total_cmp(&below[*b].size_db));
        let Some(smallest) = smallest else { return };
        below.remove(smallest);
    }
    // Two that touch give way half each, over and over until all stand apart.
    for _ in 0..SPREADING_ROUNDS {
        for i in 1..below.len() {
            let (a, b) = (&below[i - 1], &below[i]);
            let overlap = a.x + (a.width + b.width) / 2.0 - b.x;
            if overlap > 0.0 {
                below[i - 1].x -= overlap / 2.0;
                below[i].x += overlap / 2.0;
            }
        }
        for b in below.iter_mut() {
            b.x = b.x.clamp(least + b.width / 2.0, most - b.width / 2.0);
        }
    }
    // What is left of an overlap is pushed to the right, then back from the limit.
    let mut taken_to = least;
    for b in below.iter_mut() {
        b.x = b.x.max(taken_to + b.width / 2.0);
        taken_to = b.x + b.width / 2.0;
    }
    let mut taken_from = most;
    for b in below.iter_mut().rev() {
        b.x = b.x.min(taken_from - b.width / 2.0);
        taken_from = b.x - b.width / 2.0;
    }
}

/// Enough for numbers to come within a fraction of a px of where they stay.
const SPREADING_ROUNDS: usize = 30;

impl Segment {
    /// Its edges, mean difference, interval and verdict in words.
    pub fn words(&self) -> String {
        let edges = format!("{} to {}", words::hertz(self.from_hz), words::hertz(self.to_hz));
        let verdict = words::verdict(self.verdict);
        match (self.difference_db, self.low_db.zip(self.high_db)) {
            _ if self.verdict == Verdict::OutOfRange => format!("{edges}: {verdict}"),
            (Some(d), Some((low, high))) => {
                format!("{edges}: {} dB ({}), {verdict}", words::signed(d), words::interval(low, high))
            }
            (Some(d), None) => format!("{edges}: {} dB (interval unknown), {verdict}", words::signed(d)),
            (None, _) => format!("{edges}: unknown, {verdict}"),
        }
    }
}

impl Canvas {
    /// The verdict strip: pattern, mark and number per segment; a difference that does not fit in stands below.
    pub fn strip(&mut self, segments: &[Segment], top: f64, bottom: f64) {
        let mut below: Vec<Below> = Vec::new();
        for s in segments {
            if !self.shows(s.from_hz, s.to_hz) {
                continue;
            }
            let (from, to) = (self.x(s.from_hz), self.x(s.to_hz));
            let up = s.difference_db.is_some_and(|d| d > 0.0);
            let (class, fill) = match s.verdict {
                Verdict::Different => ("segment different", if up { "more" } else { "less" }),
                Verdict::Alike => ("segment alike", ""),
                Verdict::Undecided => ("segment", "open"),
                Verdict::OutOfRange => ("segment", "hidden"),
            };
            self.patterned((from, top), (to, bottom), class, fill);
            self.says(&s.words());
            let label = match (s.verdict, s.difference_db) {
                (Verdict::OutOfRange, _) => continue,
                (Verdict::Different, Some(d)) => words::signed(d),
                (v, Some(d)) => format!("{} {}", words::mark(v), words::signed(d)),
                (v, None) => words::mark(v).to_string(),
            };
            let width = self.width(&label, Weight::Semibold) * 1.05;
            let middle = (from + to) / 2.0;
            if width + self.letter * 0.6 < to - from {
                let ground = (middle - width / 2.0 - 2.0, top + self.letter * 0.4);
                let until = (middle + width / 2.0 + 2.0, bottom - self.letter * 0.4);
                self.box_between(ground, until, "plate", "");
                self.text(middle, (top + bottom) / 2.0 + self.letter * 0.36, "middle", "number bold", &label);
            } else if s.verdict == Verdict::Different {
                let size_db = s.difference_db.map_or(0.0, f64::abs);
                below.push(Below { of: middle, x: middle, width: width + self.letter * 0.3, size_db, label });
            }
        }
        spread(&mut below, self.left - self.letter * 0.6, self.right + self.letter * 0.6);
        for b in below {
            self.line((b.of, bottom), (b.x, bottom + self.letter * 0.45), "tick");
            self.text(b.x, bottom + self.letter * 1.4, "middle", "number bold", &b.label);
        }
    }

    /// An area over every band, from the top of the spectra to the foot of the strip.
    pub fn readings(&mut self, c: &Corridor, top: f64, bottom: f64) {
        for band in &c.bands {
            if !self.shows(band.from_hz, band.to_hz) {
                continue;
            }
            let (from, to) = (self.x(band.from_hz), self.x(band.to_hz));
            let _ = write!(
                self.out,
                "<rect x=\"{from:.1}\" y=\"{top:.1}\" width=\"{:.1}\" height=\"{:.1}\" class=\"reading\" \
                 data-centre=\"{:.1}\" data-words=\"{}\"/>",
                (to - from).max(0.0),
                bottom - top,
                band.centre_hz,
                escaped(&reading(c, band))
            );
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn below(places: &[f64]) -> Vec<Below> {
        let at = |(i, x): (usize, &f64)| Below {
            of: *x,
            x: *x,
            width: 10.0,
            size_db: i as f64,
            label: String::new(),
        };
        places.iter().enumerate().map(at).collect()
    }

    #[test]
    fn numbers_below_stand_apart_and_near_their_segments() {
        let mut crowded = below(&[2.0, 3.0, 50.0, 52.0, 99.0]);
        spread(&mut crowded, 0.0, 100.0);
        assert_eq!(crowded.len(), 5);
        for pair in crowded.windows(2) {
            assert!(pair[1].x - pair[0].x >= 10.0 - 1e-9);
        }
        assert!(
            crowded.iter().all(|b| (5.0 - 1e-9..=95.0 + 1e-9).contains(&b.x) && (b.x - b.of).abs() < 15.0)
        );
        assert!((crowded[2].x - 46.0).abs() < 0.1, "two that touch give way half each");
    }

    #[test]
    fn the_smallest_differences_go_where_there_is_no_room() {
        let mut crowded = below(&[10.0, 20.0, 30.0]);
        spread(&mut crowded, 0.0, 25.0);
        assert_eq!(crowded.iter().map(|b| b.size_db).collect::<Vec<_>>(), [1.0, 2.0]);
    }
}
