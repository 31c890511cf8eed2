//! Draws a [`Corridor`] as SVG. Colours are classes, so that page, print and dark theme share one drawing.

use super::{Corridor, FROM_HZ, Layout, Segment, TO_HZ, reading};
use crate::words;
use fairtake_compare::{Band, Verdict};
use std::fmt::Write;

/// Decades from 20 Hz to 20 kHz.
const N_DECADES: f64 = 3.0;

/// Steps within a decade that are labelled, where the axis is shown whole and where a part of it is stretched.
const LABELLED: [&[f64]; 2] = [&[1.0, 2.0, 5.0], &[1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0]];

/// A band narrower than this many octaves is drawn as a point at its centre, a wider one flat between its edges.
const FLAT_FROM_OCTAVES: f64 = 0.12;

/// Height of the verdict strip in letters.
const STRIP_LETTERS: f64 = 2.0;

/// Where a panel lies and what its vertical axis spans.
struct Panel {
    top: f64,
    bottom: f64,
    low_db: f64,
    high_db: f64,
}

impl Panel {
    fn y(&self, db: f64) -> f64 {
        let inside = db.clamp(self.low_db, self.high_db);
        self.bottom - (inside - self.low_db) / (self.high_db - self.low_db) * (self.bottom - self.top)
    }
}

/// One microphone's spectrum: who, gain shown, level and range of a band.
type Spectrum<'a> = (&'a super::Voice, f64, fn(&Band) -> Option<f64>, fn(&Band) -> Option<[f64; 2]>);

struct Canvas {
    out: String,
    left: f64,
    right: f64,
    letter: f64,
    from_hz: f64,
    to_hz: f64,
}

/// Patterns of the verdict strip and hatching; once per document, before any figure.
pub fn patterns() -> String {
    let lines = |id: &str, class: &str, turn: u32, gap: u32| {
        format!(
            "<pattern id=\"{id}\" width=\"{gap}\" height=\"{gap}\" patternUnits=\"userSpaceOnUse\" \
             patternTransform=\"rotate({turn})\"><rect width=\"{gap}\" height=\"{gap}\" class=\"{class}-ground\"/>\
             <line x1=\"0\" y1=\"0\" x2=\"0\" y2=\"{gap}\" class=\"{class}-line\"/></pattern>"
        )
    };
    format!(
        "<svg class=\"patterns\" width=\"0\" height=\"0\" aria-hidden=\"true\"><defs>{}{}{}{}</defs></svg>",
        lines("more", "different", 45, 7),
        lines("less", "different", 135, 7),
        lines("open", "undecided", 0, 9),
        lines("hidden", "hidden", 60, 5)
    )
}

/// The SVG of a corridor.
pub fn draw(corridor: &Corridor, layout: &Layout) -> String {
    let letter = layout.letter;
    let (from_hz, to_hz) = layout.range_hz;
    let right = layout.width - letter * 0.9;
    let mut canvas = Canvas { out: String::new(), left: letter * 3.2, right, letter, from_hz, to_hz };
    let decade = (canvas.right - canvas.left) / N_DECADES;
    let (low_db, high_db) = corridor.spectra_db();
    let spectra = panel(letter * 3.0, low_db, high_db, decade / layout.spectra_db_per_decade);
    let (least_db, most_db) = corridor.difference_db();
    let difference =
        panel(spectra.bottom + letter * 3.0, least_db, most_db, decade / layout.difference_db_per_decade);
    let strip_top = difference.bottom + letter * 0.7;
    let strip_bottom = strip_top + letter * STRIP_LETTERS;
    let height = strip_bottom + letter * 4.6;

    canvas.frequency_grid(&[&spectra, &difference]);
    canvas.spectra(corridor, &spectra);
    canvas.difference(corridor, &difference);
    canvas.strip(&corridor.segments, strip_top, strip_bottom);
    if layout.readings {
        canvas.readings(corridor, spectra.top, strip_bottom);
    }
    canvas.frequency_labels(strip_bottom + letter * 2.7);
    canvas.text(
        (canvas.left + canvas.right) / 2.0,
        strip_bottom + letter * 4.1,
        "middle",
        "quiet",
        "frequency in Hz",
    );
    format!(
        "<svg class=\"corridor\" xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {:.0} {height:.0}\" role=\"img\" \
         aria-label=\"{}\" font-size=\"{letter}\">{}</svg>",
        layout.width,
        escaped(&corridor.description),
        canvas.out
    )
}

fn panel(top: f64, low_db: f64, high_db: f64, px_per_db: f64) -> Panel {
    Panel { top, bottom: top + (high_db - low_db) * px_per_db, low_db, high_db }
}

impl Canvas {
    fn x(&self, hz: f64) -> f64 {
        let share =
            (hz.clamp(self.from_hz, self.to_hz) / self.from_hz).ln() / (self.to_hz / self.from_hz).ln();
        self.left + share * (self.right - self.left)
    }

    fn text(&mut self, x: f64, y: f64, anchor: &str, class: &str, text: &str) {
        let _ = write!(
            self.out,
            "<text x=\"{x:.1}\" y=\"{y:.1}\" text-anchor=\"{anchor}\" class=\"{class}\">{}</text>",
            escaped(text)
        );
    }

    fn line(&mut self, from: (f64, f64), to: (f64, f64), class: &str) {
        let _ = write!(
            self.out,
            "<line x1=\"{:.1}\" y1=\"{:.1}\" x2=\"{:.1}\" y2=\"{:.1}\" class=\"{class}\"/>",
            from.0, from.1, to.0, to.1
        );
    }

    fn box_between(&mut self, from: (f64, f64), to: (f64, f64), class: &str, fill: &str) {
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

    fn frequency_grid(&mut self, panels: &[&Panel]) {
        for panel in panels {
            for decade in [10.0, 100.0, 1000.0, 10_000.0] {
                for step in 1..10 {
                    let hz = decade * f64::from(step);
                    if (self.from_hz..=self.to_hz).contains(&hz) {
                        let x = self.x(hz);
                        let class = if step == 1 { "grid strong" } else { "grid" };
                        self.line((x, panel.top), (x, panel.bottom), class);
                    }
                }
            }
        }
    }

    fn frequency_labels(&mut self, y: f64) {
        let part = self.to_hz / self.from_hz < 0.9 * TO_HZ / FROM_HZ;
        for decade in [10.0, 100.0, 1000.0, 10_000.0] {
            for step in LABELLED[usize::from(part)] {
                let hz = decade * step;
                // Rounding must not lose the ends of the axis.
                if hz < self.from_hz * 0.999 || hz > self.to_hz * 1.001 {
                    continue;
                }
                let label = if hz >= 1000.0 { format!("{}k", hz / 1000.0) } else { format!("{hz}") };
                let at_end = hz >= self.to_hz * 0.999;
                let (x, anchor) =
                    if at_end { (self.right + self.letter * 0.5, "end") } else { (self.x(hz), "middle") };
                self.text(x, y, anchor, "number", &label);
            }
        }
    }

    /// Horizontal lines and their labels, every `step` dB.
    fn level_grid(&mut self, panel: &Panel, step: f64, with_sign: bool) {
        let mut db = (panel.low_db / step).ceil() * step;
        while db <= panel.high_db + 1e-9 {
            let y = panel.y(db);
            self.line((self.left, y), (self.right, y), "grid");
            let label = if with_sign && db != 0.0 { format!("{db:+.0}") } else { format!("{db:.0}") };
            self.text(
                self.left - self.letter * 0.4,
                y + self.letter * 0.35,
                "end",
                "number",
                &label.replace('-', "−"),
            );
            db += step;
        }
    }

    fn spectra(&mut self, c: &Corridor, panel: &Panel) {
        self.level_grid(panel, 10.0, false);
        let voices: [Spectrum; 2] = [
            (&c.reference, 0.0, |b| b.reference_db, |b| b.reference_range_db),
            (&c.against, c.match_gain_db, |b| b.against_db, |b| b.against_range_db),
        ];
        for (voice, gain, _, range) in &voices {
            let edges = |b: &Band| range(b).map(|[l, h]| (l + gain, h + gain));
            self.ribbon(&c.bands, panel, edges, &format!("range hue{}", voice.hue % 6));
        }
        for (i, (voice, gain, level, _)) in voices.iter().enumerate() {
            let dashed = if i == 0 { " reference" } else { "" };
            let class = format!("curve hue{}{dashed}", voice.hue % 6);
            self.curve(&c.bands, panel, |b| level(b).map(|v| v + gain), &class);
        }
        let y = panel.top - self.letter * 1.1;
        let mut x = self.left;
        let names: usize = voices.iter().map(|(v, ..)| v.name.chars().count() + 8).sum();
        let needed = self.letter * 0.58 * (names + c.unit.chars().count()) as f64;
        if needed < self.right - self.left {
            self.text(self.right, y, "end", "quiet", &c.unit);
        }
        for (i, (voice, ..)) in voices.iter().enumerate() {
            let dashed = if i == 0 { " reference" } else { "" };
            let class = format!("curve hue{}{dashed}", voice.hue % 6);
            self.line((x, y - self.letter * 0.35), (x + self.letter * 2.4, y - self.letter * 0.35), &class);
            self.text(x + self.letter * 2.9, y, "start", "name", &voice.name);
            x += self.letter * (4.6 + 0.58 * voice.name.chars().count() as f64);
        }
    }

    fn difference(&mut self, c: &Corridor, panel: &Panel) {
        self.box_between((self.left, panel.y(c.margin_db)), (self.right, panel.y(-c.margin_db)), "lane", "");
        self.level_grid(panel, 3.0, true);
        let hidden = |b: &Band| b.verdict == Verdict::OutOfRange;
        let (from_hz, to_hz) = (self.from_hz, self.to_hz);
        for band in c.bands.iter().filter(|b| hidden(b) && b.to_hz > from_hz && b.from_hz < to_hz) {
            self.box_between(
                (self.x(band.from_hz), panel.top),
                (self.x(band.to_hz), panel.bottom),
                "",
                "hidden",
            );
        }
        let shown = |value: Option<f64>, b: &Band| value.filter(|_| !hidden(b));
        self.ribbon(
            &c.bands,
            panel,
            |b| shown(b.simultaneous_low_db, b).zip(b.simultaneous_high_db),
            "simultaneous",
        );
        self.ribbon(&c.bands, panel, |b| shown(b.low_db, b).zip(b.high_db), "pointwise");
        for side in [0, 1] {
            let bound = |b: &Band| {
                b.conditional.filter(|_| !hidden(b)).map(|i| if side == 0 { i.low_db } else { i.high_db })
            };
            self.curve(&c.bands, panel, bound, "curve conditional");
        }
        let zero = panel.y(0.0);
        self.line((self.left, zero), (self.right, zero), "zero");
        self.curve(&c.bands, panel, |b| shown(b.difference_db, b), "curve difference");
        let heading = format!("{} minus {}, in dB, after the match", c.against.name, c.reference.name);
        let room = ((self.right - self.left) / (self.letter * 0.56)) as usize;
        let heading =
            if heading.chars().count() > room { "difference in dB, after the match" } else { &heading };
        self.text(self.left, panel.top - self.letter * 1.2, "start", "name", heading);
    }

    /// The verdict strip: pattern, mark and number per segment; a number that does not fit stands below.
    fn strip(&mut self, segments: &[Segment], top: f64, bottom: f64) {
        let mut taken_to = f64::NEG_INFINITY;
        let (from_hz, to_hz) = (self.from_hz, self.to_hz);
        for s in segments.iter().filter(|s| s.to_hz > from_hz && s.from_hz < to_hz) {
            let (from, to) = (self.x(s.from_hz), self.x(s.to_hz));
            let up = s.difference_db.is_some_and(|d| d > 0.0);
            let (class, fill) = match s.verdict {
                Verdict::Different => ("segment different", if up { "more" } else { "less" }),
                Verdict::Alike => ("segment alike", ""),
                Verdict::Undecided => ("segment", "open"),
                Verdict::OutOfRange => ("segment", "hidden"),
            };
            self.box_between((from, top), (to, bottom), class, fill);
            let label = match (s.verdict, s.difference_db) {
                (Verdict::OutOfRange, _) => continue,
                (Verdict::Different, Some(d)) => words::signed(d),
                (v, Some(d)) => format!("{} {}", words::mark(v), words::signed(d)),
                (v, None) => words::mark(v).to_string(),
            };
            let width = self.letter * 0.62 * label.chars().count() as f64;
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
                self.text(middle, bottom + self.letter * 1.35, "middle", "number bold", &label);
                taken_to = middle + width / 2.0 + self.letter * 0.3;
            }
        }
    }

    /// An area over every band, from the top of the spectra to the foot of the strip.
    fn readings(&mut self, c: &Corridor, top: f64, bottom: f64) {
        let (from_hz, to_hz) = (self.from_hz, self.to_hz);
        for band in c.bands.iter().filter(|b| b.to_hz > from_hz && b.from_hz < to_hz) {
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

    fn curve(&mut self, bands: &[Band], panel: &Panel, value: impl Fn(&Band) -> Option<f64>, class: &str) {
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

    fn ribbon(
        &mut self,
        bands: &[Band],
        panel: &Panel,
        edges: impl Fn(&Band) -> Option<(f64, f64)>,
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

    fn points(&self, run: &[Band], value: &impl Fn(&Band) -> Option<f64>) -> Vec<(f64, f64)> {
        let mut out = Vec::new();
        for band in run {
            let Some(v) = value(band) else { continue };
            if (band.to_hz / band.from_hz).log2() > FLAT_FROM_OCTAVES || run.len() == 1 {
                out.push((self.x(band.from_hz), v));
                out.push((self.x(band.to_hz), v));
            } else {
                out.push((self.x(band.centre_hz), v));
            }
        }
        out
    }
}

/// Stretches of bands in the range that have a value.
fn runs<'a, T>(
    bands: &'a [Band],
    value: &impl Fn(&Band) -> Option<T>,
    (from_hz, to_hz): (f64, f64),
) -> Vec<&'a [Band]> {
    bands
        .split(|b| value(b).is_none() || b.to_hz <= from_hz || b.from_hz >= to_hz)
        .filter(|r| !r.is_empty())
        .collect()
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}
