//! The two panels on one frequency axis: average spectra above, their difference below.

use super::canvas::{Canvas, Panel};
use super::font::{self, Weight};
use super::{Corridor, FROM_HZ, Heard, Shown, TO_HZ, Voice};
use fairtake_compare::{Band, Verdict};

/// Decades from 20 Hz to 20 kHz.
pub(super) const N_DECADES: f64 = 3.0;

/// Where decades begin, in Hz.
const DECADES: [f64; 4] = [10.0, 100.0, 1000.0, 10_000.0];

/// Steps within a decade that are labelled, where the axis is shown whole and where a part of it is stretched.
const LABELLED: [&[f64]; 2] = [&[1.0, 2.0, 5.0], &[1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0]];

/// Steps of the level axes in dB: the first whose lines stand apart is taken.
pub(super) const SPECTRA_STEPS_DB: [f64; 3] = [10.0, 20.0, 40.0];
/// The same for the difference.
pub(super) const DIFFERENCE_STEPS_DB: [f64; 4] = [3.0, 6.0, 12.0, 24.0];

/// Least distance of two lines with a number each, in letters.
const LINE_APART_LETTERS: f64 = 1.15;

/// Hues that there are.
pub(super) const N_HUES: usize = 6;

/// What a microphone's line and the space around its name take, in letters.
const LEGEND_LETTERS: f64 = 4.6;

/// The reference is dashed.
const DASHED: [&str; 2] = [" reference", ""];

/// One microphone's spectrum: who, gain shown, level and range of a band.
type Spectrum<'a> = (&'a Voice, f64, fn(&Band) -> Option<f64>, fn(&Band) -> Option<[f64; 2]>);

/// Where the parts of a corridor lie, top to bottom, in the canvas's units.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Plot {
    /// Base line of the names above the spectra.
    pub legend_y: f64,
    pub spectra: Panel,
    /// Base line of the heading above the difference.
    pub heading_y: f64,
    pub difference: Panel,
    pub strip_top: f64,
    pub strip_bottom: f64,
    /// Base line of the frequencies.
    pub labels_y: f64,
    /// Base line of the name of the axis; `None`: the unit stands at the beginning of the frequencies.
    pub axis_name_y: Option<f64>,
}

impl Canvas {
    /// Everything of a corridor between the names at the top and the frequencies at the foot.
    pub fn plot(&mut self, c: &Corridor, plot: &Plot, shown: Shown) {
        self.frequency_grid(&[&plot.spectra, &plot.difference]);
        self.spectra(c, plot, shown);
        self.difference(c, &plot.difference, plot.heading_y, shown);
        if shown.verdicts {
            self.strip(&c.segments, plot.strip_top, plot.strip_bottom);
        }
        self.frequency_labels(plot.labels_y);
        match plot.axis_name_y {
            Some(y) => self.text((self.left + self.right) / 2.0, y, "middle", "quiet", "frequency in Hz"),
            None => self.text(self.left - self.letter * 1.2, plot.labels_y, "end", "quiet", "Hz"),
        }
    }

    pub(super) fn frequency_grid(&mut self, panels: &[&Panel]) {
        // One path for all lines of a kind: a browser lays out each element by itself, and these are many.
        for (class, steps) in [("grid", 2..10), ("grid strong", 1..2)] {
            let mut lines = Vec::new();
            for hz in DECADES.iter().flat_map(|decade| steps.clone().map(move |s| decade * f64::from(s))) {
                if (self.from_hz..=self.to_hz).contains(&hz) {
                    let x = self.x(hz);
                    lines.extend(panels.iter().map(|p| [(x, p.top), (x, p.bottom)]));
                }
            }
            self.lines(&lines, class);
        }
    }

    /// Numbers of the frequency axis: its end first, then whole decades, then what finds room between them.
    pub(super) fn frequency_labels(&mut self, y: f64) {
        let part = self.to_hz / self.from_hz < 0.9 * TO_HZ / FROM_HZ;
        let steps = LABELLED[usize::from(part)];
        // Rounding must not lose the ends of the axis.
        let (least, most) = (self.from_hz * 0.999, self.to_hz * 1.001);
        let mut hertz: Vec<f64> = DECADES
            .iter()
            .flat_map(|decade| steps.iter().map(move |step| decade * step))
            .filter(|hz| (least..=most).contains(hz))
            .collect();
        let ends_axis = |hz: f64| hz >= self.to_hz * 0.999;
        let is_decade = |hz: f64| [100.0, 1000.0, 10_000.0].contains(&hz);
        hertz.sort_by_key(|hz| (!ends_axis(*hz), !is_decade(*hz)));
        let mut taken: Vec<(f64, f64)> = Vec::new();
        for hz in hertz {
            let label = if hz >= 1000.0 { format!("{}k", hz / 1000.0) } else { format!("{hz}") };
            let width = self.width(&label, Weight::Regular);
            let at_end = hz >= self.to_hz * 0.999;
            let (x, from, anchor) = if at_end {
                let x = self.right + self.letter * 0.5;
                (x, x - width, "end")
            } else {
                (self.x(hz), self.x(hz) - width / 2.0, "middle")
            };
            let apart = self.letter * 0.2;
            if taken.iter().all(|(f, t)| from + width + apart < *f || from > t + apart) {
                taken.push((from, from + width));
                self.text(x, y, anchor, "number", &label);
            }
        }
    }

    /// Horizontal lines and their labels, as close as they stay apart.
    pub(super) fn level_grid(&mut self, panel: &Panel, steps: &[f64], with_sign: bool) {
        let apart = self.letter * LINE_APART_LETTERS;
        let fits = |step: &&f64| **step * panel.px_per_db() >= apart;
        let Some(step) = steps.iter().find(fits).or(steps.last()).copied() else { return };
        let mut db = (panel.low_db / step).ceil() * step;
        while db <= panel.high_db + 1e-9 {
            let y = panel.y(db);
            self.line((self.left, y), (self.right, y), "grid");
            let label = if with_sign && db != 0.0 { format!("{db:+.0}") } else { format!("{:.0}", db + 0.0) };
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

    /// Both microphones' average spectra with their range over events.
    fn spectra(&mut self, c: &Corridor, plot: &Plot, shown: Shown) {
        self.level_grid(&plot.spectra, &SPECTRA_STEPS_DB, false);
        let voices: [Spectrum; 2] = [
            (&c.reference, 0.0, |b| b.reference_db, |b| b.reference_range_db),
            (&c.against, c.match_gain_db, |b| b.against_db, |b| b.against_range_db),
        ];
        let of = [Heard::Reference, Heard::Against];
        let seen = [shown.reference, shown.against];
        // The one that is not heard steps back.
        let faded = |i: usize| if shown.heard.is_some_and(|h| h != of[i]) { " faded" } else { "" };
        for (i, (voice, gain, _, range)) in voices.iter().enumerate().filter(|(i, _)| seen[*i]) {
            let edges = |b: &Band| range(b).map(|[l, h]| (l + gain, h + gain));
            if faded(i).is_empty() {
                self.ribbon(&c.bands, &plot.spectra, edges, &format!("range hue{}", voice.hue % N_HUES));
            }
        }
        for (i, (voice, gain, level, _)) in voices.iter().enumerate().filter(|(i, _)| seen[*i]) {
            let class = format!("curve hue{}{}{}", voice.hue % N_HUES, DASHED[i], faded(i));
            self.curve(&c.bands, &plot.spectra, |b| level(b).map(|v| v + gain), &class);
        }
        if c.bands.iter().all(|b| b.reference_db.is_none() && b.against_db.is_none()) {
            let (x, y) = ((self.left + self.right) / 2.0, (plot.spectra.top + plot.spectra.bottom) / 2.0);
            self.text(x, y, "middle", "quiet", "no band has a level that can be told");
        }
        self.legend(c, plot.legend_y, shown);
    }

    /// Who is who, above the spectra; the name of the microphone that is heard stands on its hue.
    fn legend(&mut self, c: &Corridor, y: f64, shown: Shown) {
        let letter = self.letter;
        let unit = self.width(&c.unit, Weight::Regular);
        let mut room = (self.right - self.left) / 2.0 - letter * LEGEND_LETTERS;
        let widest = [&c.reference, &c.against].map(|v| self.width(&v.name, Weight::Semibold));
        let with_unit = widest[0] + widest[1] + 2.0 * letter * LEGEND_LETTERS + unit < self.right - self.left;
        if widest[0] + widest[1] + 2.0 * letter * LEGEND_LETTERS < self.right - self.left + letter * 1.7 {
            room = f64::INFINITY;
        }
        if with_unit {
            self.text(self.right, y, "end", "quiet", &c.unit);
        }
        let mut x = self.left;
        let voices =
            [(&c.reference, shown.reference, Heard::Reference), (&c.against, shown.against, Heard::Against)];
        for (i, (voice, seen, who)) in voices.into_iter().enumerate() {
            let name = font::shortened(&voice.name, room / letter / self.stretch, Weight::Semibold);
            let width = self.width(&name, Weight::Semibold);
            if seen {
                let class = format!("curve hue{}{}", voice.hue % N_HUES, DASHED[i]);
                self.line((x, y - letter * 0.35), (x + letter * 2.3, y - letter * 0.35), &class);
                if shown.heard == Some(who) {
                    let class = format!("voice hue{}", voice.hue % N_HUES);
                    let (from, to) = ((x + letter * 2.5, y - letter * 1.05), y + letter * 0.35);
                    self.box_between(from, (x + letter * 3.3 + width, to), &class, "");
                    self.text(x + letter * 2.9, y, "start", "name heard", &name);
                } else {
                    self.text(x + letter * 2.9, y, "start", "name", &name);
                }
            }
            x += letter * LEGEND_LETTERS + width;
        }
    }

    fn difference(&mut self, c: &Corridor, panel: &Panel, heading_y: f64, shown: Shown) {
        self.box_between((self.left, panel.y(c.margin_db)), (self.right, panel.y(-c.margin_db)), "lane", "");
        if shown.lights {
            for s in c.segments.iter().filter(|s| self.shows(s.from_hz, s.to_hz)).cloned().collect::<Vec<_>>()
            {
                let (from, to) = (self.x(s.from_hz), self.x(s.to_hz));
                self.box_between((from, panel.top), (to, panel.bottom), "behind", "");
            }
        }
        self.level_grid(panel, &DIFFERENCE_STEPS_DB, true);
        if !shown.difference {
            let zero = panel.y(0.0);
            self.line((self.left, zero), (self.right, zero), "zero");
            return;
        }
        let hidden = |b: &Band| b.verdict == Verdict::OutOfRange;
        for band in c.bands.iter().filter(|b| hidden(b)) {
            if !self.shows(band.from_hz, band.to_hz) {
                continue;
            }
            self.box_between(
                (self.x(band.from_hz), panel.top),
                (self.x(band.to_hz), panel.bottom),
                "",
                "hidden",
            );
        }
        let seen = |value: Option<f64>, b: &Band| value.filter(|_| !hidden(b));
        self.ribbon(
            &c.bands,
            panel,
            |b| seen(b.simultaneous_low_db, b).zip(b.simultaneous_high_db),
            "simultaneous",
        );
        self.ribbon(&c.bands, panel, |b| seen(b.low_db, b).zip(b.high_db), "pointwise");
        for side in [0, 1] {
            let bound = |b: &Band| {
                b.conditional.filter(|_| !hidden(b)).map(|i| if side == 0 { i.low_db } else { i.high_db })
            };
            self.curve(&c.bands, panel, bound, "curve conditional");
        }
        let zero = panel.y(0.0);
        self.line((self.left, zero), (self.right, zero), "zero");
        self.curve(&c.bands, panel, |b| seen(b.difference_db, b), "curve difference");
        let minus = format!("{} minus {}, in dB", c.against.name, c.reference.name);
        let after = if c.match_gain_known { ", after the match" } else { "" };
        let headings = [format!("{minus}{after}"), minus, format!("difference in dB{after}")];
        let fits = |text: &&String| self.width(text, Weight::Semibold) <= self.right - self.left;
        let heading = headings.iter().find(fits).unwrap_or(&headings[2]);
        self.text(self.left, heading_y, "start", "name", heading);
    }
}
