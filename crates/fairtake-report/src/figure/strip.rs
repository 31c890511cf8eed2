//! The verdict strip at the foot of a corridor, and the areas that a cursor reads.

use super::canvas::{Canvas, escaped};
use super::font::Weight;
use super::{Corridor, Segment, reading};
use crate::words;
use fairtake_compare::Verdict;
use std::fmt::Write;

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
    /// The verdict strip: pattern, mark and number per segment; a number that does not fit stands below.
    pub fn strip(&mut self, segments: &[Segment], top: f64, bottom: f64) {
        let mut taken_to = f64::NEG_INFINITY;
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
            self.box_between((from, top), (to, bottom), class, fill);
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
                self.box_between(
                    ground,
                    (middle + width / 2.0 + 2.0, bottom - self.letter * 0.4),
                    "plate",
                    "",
                );
                self.text(middle, (top + bottom) / 2.0 + self.letter * 0.36, "middle", "number bold", &label);
            } else if s.verdict == Verdict::Different && middle - width / 2.0 > taken_to {
                self.line((middle, bottom), (middle, bottom + self.letter * 0.4), "tick");
                let middle = middle.min(self.right + self.letter * 0.6 - width / 2.0);
                self.text(middle, bottom + self.letter * 1.35, "middle", "number bold", &label);
                taken_to = middle + width / 2.0 + self.letter * 0.3;
            }
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
