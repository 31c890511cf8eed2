//! Lines, boxes, texts and curves on a frequency axis, written as SVG. Colours are classes, so that page, print, dark
//! theme and pixels share one drawing.

use super::font::{self, Weight};
use fairtake_calibrated::response::Point;
use fairtake_compare::Band;
use std::fmt::Write;

/// A band narrower than this many octaves is drawn as a point at its centre, a wider one flat between its edges.
const FLAT_FROM_OCTAVES: f64 = 0.12;

/// What is drawn over a stretch of the frequency axis.
pub(super) trait Stretch {
    /// Lower edge, middle and upper edge in Hz.
    fn stretch_hz(&self) -> [f64; 3];
}

impl Stretch for Band {
    fn stretch_hz(&self) -> [f64; 3] {
        [self.from_hz, self.centre_hz, self.to_hz]
    }
}

impl Stretch for Point {
    fn stretch_hz(&self) -> [f64; 3] {
        [self.from_hz, self.hz, self.to_hz]
    }
}

/// Where a panel lies and what its vertical axis spans.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Panel {
    pub top: f64,
    pub bottom: f64,
    pub low_db: f64,
    pub high_db: f64,
}

impl Panel {
    /// A panel from its top down, at a scale.
    pub fn new(top: f64, (low_db, high_db): (f64, f64), px_per_db: f64) -> Panel {
        Panel { top, bottom: top + (high_db - low_db) * px_per_db, low_db, high_db }
    }

    pub fn y(&self, db: f64) -> f64 {
        let inside = db.clamp(self.low_db, self.high_db);
        self.bottom - (inside - self.low_db) / (self.high_db - self.low_db) * (self.bottom - self.top)
    }

    /// Px that a dB takes.
    pub fn px_per_db(&self) -> f64 {
        (self.bottom - self.top) / (self.high_db - self.low_db)
    }
}

/// What is drawn so far, and the frequency axis.
pub(super) struct Canvas {
    pub out: String,
    pub left: f64,
    pub right: f64,
    pub letter: f64,
    /// How much wider than ours the letters may be that the viewer takes: 1 where ours are sure to be there.
    pub stretch: f64,
    pub from_hz: f64,
    pub to_hz: f64,
}

impl Canvas {
    pub fn x(&self, hz: f64) -> f64 {
        let share =
            (hz.clamp(self.from_hz, self.to_hz) / self.from_hz).ln() / (self.to_hz / self.from_hz).ln();
        self.left + share * (self.right - self.left)
    }

    /// Whether a stretch of the axis is in sight.
    pub fn shows(&self, from_hz: f64, to_hz: f64) -> bool {
        to_hz > self.from_hz && from_hz < self.to_hz
    }

    /// Width that a text takes at most, in px.
    pub fn width(&self, text: &str, weight: Weight) -> f64 {
        self.letter * self.stretch * font::width(text, weight)
    }

    pub fn text(&mut self, x: f64, y: f64, anchor: &str, class: &str, text: &str) {
        let _ = write!(
            self.out,
            "<text x=\"{x:.1}\" y=\"{y:.1}\" text-anchor=\"{anchor}\" class=\"{class}\">{}</text>",
            escaped(text)
        );
    }

    /// A text larger or smaller than the letters of the figure.
    pub fn sized_text(&mut self, (x, y): (f64, f64), size: f64, class: &str, text: &str) {
        let _ = write!(
            self.out,
            "<text x=\"{x:.1}\" y=\"{y:.1}\" font-size=\"{size:.2}\" class=\"{class}\">{}</text>",
            escaped(text)
        );
    }

    /// A box with a pattern, on the pattern's ground: the seams of a turned pattern would show what is behind it.
    pub fn patterned(&mut self, from: (f64, f64), to: (f64, f64), class: &str, fill: &str) {
        let ground = match fill {
            "more" | "less" => "different-ground",
            "open" => "undecided-ground",
            "hidden" => "hidden-ground",
            _ => "",
        };
        if !ground.is_empty() {
            self.box_between(from, to, ground, "");
        }
        self.box_between(from, to, class, fill);
    }

    /// Gives the box that was drawn last a text, which a viewer of SVG shows and reads out.
    pub fn says(&mut self, text: &str) {
        if self.out.ends_with("/>") {
            self.out.truncate(self.out.len() - 2);
            let _ = write!(self.out, "><title>{}</title></rect>", escaped(text));
        }
    }

    pub fn line(&mut self, from: (f64, f64), to: (f64, f64), class: &str) {
        let _ = write!(
            self.out,
            "<line x1=\"{:.1}\" y1=\"{:.1}\" x2=\"{:.1}\" y2=\"{:.1}\" class=\"{class}\"/>",
            from.0, from.1, to.0, to.1
        );
    }

    /// Many lines as one path; nothing where there are none.
    pub fn lines(&mut self, lines: &[[(f64, f64); 2]], class: &str) {
        let mut path = String::new();
        for [from, to] in lines {
            let _ = write!(path, "M{:.1} {:.1}L{:.1} {:.1}", from.0, from.1, to.0, to.1);
        }
        if !path.is_empty() {
            let _ = write!(self.out, "<path d=\"{path}\" class=\"{class}\"/>");
        }
    }

    pub fn box_between(&mut self, from: (f64, f64), to: (f64, f64), class: &str, fill: &str) {
        let fill = if fill.is_empty() { String::new() } else { format!(" fill=\"url(#{fill})\"") };
        let _ = write!(
            self.out,
            "<rect x=\"{:.1}\" y=\"{:.1}\" width=\"{:.1}\" height=\"{:.1}\" class=\"{class}\"{fill}/>",
            from.0,
            from.1,
            (to.0 - from.0).max(0.0),
            (to.1 - from.1).max(0.0)
        );
    }

    pub fn curve<B: Stretch>(
        &mut self,
        bands: &[B],
        panel: &Panel,
        value: impl Fn(&B) -> Option<f64>,
        class: &str,
    ) {
        let mut path = String::new();
        for run in runs(bands, &value, (self.from_hz, self.to_hz)) {
            for (i, (x, v)) in self.points(run, &value).into_iter().enumerate() {
                let _ = write!(path, "{}{x:.1} {:.1}", if i == 0 { "M" } else { "L" }, panel.y(v));
            }
        }
        if !path.is_empty() {
            let _ = write!(self.out, "<path d=\"{path}\" class=\"{class}\"/>");
        }
    }

    pub fn ribbon<B: Stretch>(
        &mut self,
        bands: &[B],
        panel: &Panel,
        edges: impl Fn(&B) -> Option<(f64, f64)>,
        class: &str,
    ) {
        let mut path = String::new();
        for run in runs(bands, &edges, (self.from_hz, self.to_hz)) {
            let low = self.points(run, &|b| edges(b).map(|e| e.0));
            let high = self.points(run, &|b| edges(b).map(|e| e.1));
            for (i, (x, v)) in high.iter().chain(low.iter().rev()).enumerate() {
                let _ = write!(path, "{}{x:.1} {:.1}", if i == 0 { "M" } else { "L" }, panel.y(*v));
            }
            path.push('Z');
        }
        if !path.is_empty() {
            let _ = write!(self.out, "<path d=\"{path}\" class=\"{class}\"/>");
        }
    }

    fn points<B: Stretch>(&self, run: &[B], value: &impl Fn(&B) -> Option<f64>) -> Vec<(f64, f64)> {
        let mut out = Vec::new();
        for band in run {
            let Some(v) = value(band) else { continue };
            let [from_hz, centre_hz, to_hz] = band.stretch_hz();
            if (to_hz / from_hz).log2() > FLAT_FROM_OCTAVES || run.len() == 1 {
                out.push((self.x(from_hz), v));
                out.push((self.x(to_hz), v));
            } else {
                out.push((self.x(centre_hz), v));
            }
        }
        out
    }
}

/// Stretches of bands in the range that have a value.
fn runs<'a, B: Stretch, T>(
    bands: &'a [B],
    value: &impl Fn(&B) -> Option<T>,
    (from_hz, to_hz): (f64, f64),
) -> Vec<&'a [B]> {
    bands
        .split(|b| {
            let [low_hz, _, high_hz] = b.stretch_hz();
            value(b).is_none() || high_hz <= from_hz || low_hz >= to_hz
        })
        .filter(|r| !r.is_empty())
        .collect()
}

/// A text between tags or in an attribute. What XML 1.0 (section 2.2) does not allow, even as a number, becomes a blank.
pub(super) fn escaped(text: &str) -> String {
    let allowed = |c: char| !(c.is_control() || matches!(c, '\u{fffe}' | '\u{ffff}'));
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            c if allowed(c) => out.push(c),
            _ => out.push(' '),
        }
    }
    out
}
