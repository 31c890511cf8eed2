//! A corridor on a sheet of fixed size: where its parts and its words lie. Wide sheets have the words in a column
//! beside the picture, others above and below it.
//!
//! Lengths are in units in which a letter is [`LETTER`] high, so that lines and patterns keep their weight beside the
//! letters at every size.

use super::canvas::{Canvas, Panel};
use super::font::{self, Weight};
use super::key::{Part, Sample, key};
use super::plot::{N_DECADES, Plot};
use super::proportions::{Decade, Proportions};
use super::{Corridor, FROM_HZ, Segment, Shown, TO_HZ};
use crate::words;
use fairtake_compare::Verdict;

/// Height of a letter in the sheet's units.
pub(super) const LETTER: f64 = 13.0;

/// Room left of the panels for the levels, and right of them for the last frequency.
const LEFT: f64 = 3.2 * LETTER;
const RIGHT: f64 = 0.9 * LETTER;

/// Least width of the column of words, and of the sheet that has one.
const COLUMN: f64 = 21.0 * LETTER;
const COLUMN_FROM: f64 = 66.0 * LETTER;

/// Height of a line of words, in its letters.
pub(super) const LINE: f64 = 1.42;

/// Share of its greatest width that the picture keeps for the standard's proportions' sake, beside a column of words,
/// which gains what it gives, and over the whole width.
const LEAST_SHARE: [f64; 2] = [0.62, 0.86];

/// Least length of a decade: its numbers, 20, 50 and 100, side by side.
const LEAST_DECADE: f64 = 6.5 * LETTER;

/// Least height of the words on a region, in letters.
const LEAST_REGION: f64 = 0.72;

/// Room for a name in the words at the foot, in their letters.
const NAME_LETTERS: f64 = 16.0;

/// Distances around the panels, in letters.
struct Gaps {
    pad: f64,
    legend: f64,
    between: f64,
    strip: f64,
    foot: f64,
}

const USUAL: Gaps = Gaps { pad: 1.4, legend: 2.2, between: 2.6, strip: 2.0, foot: 4.9 };
const TIGHT: Gaps = Gaps { pad: 0.7, legend: 1.6, between: 2.0, strip: 1.9, foot: 3.3 };

impl Gaps {
    /// What is not panel, from the names to the frequencies, in letters.
    fn fixed(&self) -> f64 {
        self.legend + self.between + 0.6 + self.strip + self.foot
    }
}

/// A line of words.
pub(super) struct Line {
    pub at: (f64, f64),
    pub size: f64,
    pub class: &'static str,
    pub text: String,
    /// Shown only with the verdicts.
    last: bool,
}

/// A sheet, laid out.
pub(super) struct Sheet {
    left: f64,
    right: f64,
    pub plot: Plot,
    pub proportions: Proportions,
    lines: Vec<Line>,
    key: Vec<((f64, f64), Sample)>,
}

/// A block of words that is filled from its top down.
pub(super) struct Block {
    pub x: f64,
    pub y: f64,
    pub width: f64,
}

impl Block {
    pub fn words(&mut self, lines: &mut Vec<Line>, text: &str, size: f64, class: &'static str, most: usize) {
        let weight = if class == "title" { Weight::Semibold } else { Weight::Regular };
        let mut wrapped = font::wrapped(text, self.width / size, weight);
        if wrapped.len() > most {
            let rest = wrapped.split_off(most - 1).join(" ");
            wrapped.push(font::shortened(&rest, self.width / size, weight));
        }
        for text in wrapped {
            lines.push(Line { at: (self.x, self.y + size), size, class, text, last: false });
            self.y += size * LINE;
        }
    }

    /// The key, as many samples on a line as fit.
    pub fn key(&mut self, out: &mut Vec<((f64, f64), Sample)>, samples: &[Sample], flowing: bool) {
        let mut x = 0.0;
        for s in samples {
            let width = sample_width(s) + LETTER * font::width(s.words, Weight::Regular);
            if x > 0.0 && (!flowing || x + width > self.width) {
                x = 0.0;
                self.y += LETTER * LINE * 1.1;
            }
            out.push(((self.x + x, self.y + LETTER), *s));
            x += width + LETTER * 1.6;
        }
        self.y += LETTER * LINE * 1.1;
    }
}

pub(super) fn sample_width(s: &Sample) -> f64 {
    if s.class.is_empty() { 0.0 } else { LETTER * 2.8 }
}

impl Sheet {
    /// Lays a corridor out. `large`: large letters, with fewer words. `note` is said at the end.
    pub fn new(
        c: &Corridor,
        (width, height): (f64, f64),
        large: bool,
        decade: Decade,
        note: Option<&str>,
    ) -> Sheet {
        let gaps = if large { TIGHT } else { USUAL };
        if !large && width >= COLUMN_FROM && width > 1.3 * height {
            Sheet::beside(c, (width, height), decade, &gaps, note)
        } else {
            Sheet::stacked(c, (width, height), (large, decade), &gaps, note)
        }
    }

    /// Whether a decade of frequency has room for its numbers.
    pub fn can_be_read(&self) -> bool {
        self.proportions.decade >= LEAST_DECADE
    }

    fn beside(
        c: &Corridor,
        (width, height): (f64, f64),
        decade: Decade,
        gaps: &Gaps,
        note: Option<&str>,
    ) -> Sheet {
        let pad = gaps.pad * LETTER;
        let widest = (width - 3.0 * pad - COLUMN - LEFT - RIGHT) / N_DECADES;
        let panels = height - 2.0 * pad - gaps.fixed() * LETTER;
        let spans = (span(c.spectra_db()), span(c.difference_db()));
        let proportions = Proportions::fitting(decade, panels, widest, kept(widest, LEAST_SHARE[0]), spans);
        let (left, right) = (pad + LEFT, pad + LEFT + proportions.decade * N_DECADES);
        let plot = plot(c, &proportions, pad, gaps);
        let x = right + RIGHT + 1.8 * pad;
        let mut sheet = Sheet { left, right, plot, proportions, lines: Vec::new(), key: Vec::new() };
        let mut block = Block { x, y: pad, width: width - pad - x };
        sheet.heading(&mut block, c, 3);
        block.y += LETTER;
        block.key(&mut sheet.key, &key(c.widened), false);
        block.y += LETTER * 0.6;
        let foot = sheet.foot(c, &block, height - pad, false, note);
        sheet.regions(c, &mut block, foot - LETTER * 0.8);
        sheet
    }

    fn stacked(
        c: &Corridor,
        (width, height): (f64, f64),
        (large, decade): (bool, Decade),
        gaps: &Gaps,
        note: Option<&str>,
    ) -> Sheet {
        let pad = gaps.pad * LETTER;
        let widest = (width - 2.0 * pad - LEFT - RIGHT) / N_DECADES;
        let block = |y| Block { x: pad, y, width: width - 2.0 * pad };
        let samples: Vec<Sample> =
            key(c.widened).into_iter().filter(|s| !large || is_told_large(s)).collect();
        // Laid out once with any proportions, to know what height the words take.
        let spans = (span(c.spectra_db()), span(c.difference_db()));
        let mut proportions = Proportions::fitting(decade, height, widest, widest, spans);
        let mut sheet = Sheet {
            left: 0.0,
            right: 0.0,
            plot: plot(c, &proportions, 0.0, gaps),
            proportions,
            lines: Vec::new(),
            key: Vec::new(),
        };
        let mut head = block(pad);
        sheet.heading(&mut head, c, if large { 1 } else { 2 });
        head.y += LETTER * gaps.pad * 0.5;
        let mut key_block = block(0.0);
        key_block.key(&mut sheet.key, &samples, true);
        for _ in 0..2 {
            // The words that state the proportions are part of what decides about them.
            sheet.proportions = proportions;
            let n_before = sheet.lines.len();
            let foot = sheet.foot(c, &block(0.0), height - pad, large, note);
            sheet.lines.truncate(n_before);
            let panels = foot - LETTER * 0.5 - key_block.y - gaps.fixed() * LETTER - head.y;
            proportions = Proportions::fitting(decade, panels, widest, kept(widest, LEAST_SHARE[1]), spans);
        }
        sheet.proportions = proportions;
        let picture = LEFT + RIGHT + proportions.decade * N_DECADES;
        sheet.left = (width - picture) / 2.0 + LEFT;
        sheet.right = sheet.left + proportions.decade * N_DECADES;
        sheet.plot = plot(c, &proportions, head.y, gaps);
        let mut below = block(head.y + gaps.fixed() * LETTER + heights(c, &proportions));
        for ((_, y), _) in &mut sheet.key {
            *y += below.y;
        }
        below.y += key_block.y + LETTER * 0.5;
        let foot = sheet.foot(c, &below, height - pad, large, note);
        sheet.regions(c, &mut below, foot - LETTER * 0.5);
        sheet
    }

    /// Who is compared, and on what.
    fn heading(&mut self, block: &mut Block, c: &Corridor, most: usize) {
        // A sheet of large letters has no room for more than who is compared.
        if most > 1 {
            for (text, most) in [(&c.title, most - 1), (&c.source, 1)] {
                if let Some(text) = text {
                    block.words(&mut self.lines, text, LETTER, "quiet", most);
                }
            }
        }
        let size = if most > 1 { 1.6 * LETTER } else { 1.25 * LETTER };
        let half = block.width / size * most as f64 / 2.0 - 4.0;
        let short = |name: &str| font::shortened(name, half.max(3.0), Weight::Semibold);
        let pair = format!("{} against {}", short(&c.against.name), short(&c.reference.name));
        block.words(&mut self.lines, &pair, size, "title", most);
    }

    /// What the picture rests on, so that it ends at `bottom`; returns where it begins.
    fn foot(&mut self, c: &Corridor, place: &Block, bottom: f64, large: bool, note: Option<&str>) -> f64 {
        let name = font::shortened(&c.against.name, NAME_LETTERS, Weight::Regular);
        let shown = match c.match_gain_known {
            true if !large => format!("{name} is shown with {} dB. ", words::signed(c.match_gain_db)),
            true => String::new(),
            false => format!("The gain that would match {name} is not known. "),
        };
        let unit = if large { String::new() } else { format!("Levels in {}. ", c.unit) };
        let text = format!(
            "{unit}{shown}Speaks of {}. {} {}",
            words::claim(c.claim),
            if large { self.proportions.brief() } else { self.proportions.words() },
            note.unwrap_or("")
        );
        let size = LETTER * 0.82;
        let mut block = Block { x: place.x, y: 0.0, width: place.width };
        let first = self.lines.len();
        block.words(&mut self.lines, &text, size, "quiet", 12);
        let top = bottom - block.y + size * (LINE - 1.0);
        for line in &mut self.lines[first..] {
            line.at.1 += top;
        }
        top
    }

    /// The regions in words, those that differ first, as many as there is room for; how many more there are is said.
    fn regions(&mut self, c: &Corridor, block: &mut Block, bottom: f64) {
        let mut judged: Vec<&Segment> =
            c.segments.iter().filter(|s| s.verdict != Verdict::OutOfRange).collect();
        // Numbers are not cut: where the column is narrow, their letters are smaller.
        let widest =
            judged.iter().map(|s| font::width(&s.words(), Weight::Regular)).fold(f64::MIN_POSITIVE, f64::max);
        let size = (block.width / widest).clamp(LETTER * LEAST_REGION, LETTER * 0.92);
        let line = size * LINE;
        judged.sort_by_key(|s| s.verdict != Verdict::Different);
        let room = ((bottom - block.y) / line).floor().max(0.0) as usize;
        if judged.is_empty() || room < 2 {
            return;
        }
        let n_told = if judged.len() <= room { judged.len() } else { room - 1 };
        let mut texts: Vec<String> = judged[..n_told].iter().map(|s| s.words()).collect();
        match judged.len() - n_told {
            0 => {}
            1 => texts.push("and one region more".into()),
            more => texts.push(format!("and {more} regions more")),
        }
        for text in texts {
            let text = font::shortened(&text, block.width / size, Weight::Regular);
            self.lines.push(Line { at: (block.x, block.y + size), size, class: "region", text, last: true });
            block.y += line;
        }
    }

    /// The sheet's drawing, without ground.
    pub fn draw(&self, c: &Corridor, shown: Shown) -> String {
        let mut canvas = Canvas {
            out: String::new(),
            left: self.left,
            right: self.right,
            letter: LETTER,
            stretch: 1.0,
            from_hz: FROM_HZ,
            to_hz: TO_HZ,
        };
        for line in self.lines.iter().filter(|l| !l.last || shown.verdicts) {
            canvas.sized_text(line.at, line.size, line.class, &line.text);
        }
        for ((x, y), s) in &self.key {
            let seen = match s.part {
                Part::Difference => shown.difference,
                Part::Verdicts => shown.verdicts,
            };
            if seen {
                if !s.class.is_empty() {
                    canvas.patterned(
                        (*x, y - LETTER * 0.9),
                        (x + LETTER * 2.3, y + LETTER * 0.2),
                        s.class,
                        s.fill,
                    );
                }
                canvas.text(x + sample_width(s), *y, "start", "", s.words);
            }
        }
        canvas.plot(c, &self.plot, shown);
        canvas.out
    }

    /// Left and right edge of a segment on the sheet.
    pub fn edges(&self, s: &Segment) -> (f64, f64) {
        let share = |hz: f64| (hz.clamp(FROM_HZ, TO_HZ) / FROM_HZ).ln() / (TO_HZ / FROM_HZ).ln();
        let x = |hz| self.left + share(hz) * (self.right - self.left);
        (x(s.from_hz), x(s.to_hz))
    }
}

/// In large letters the bands are told apart by the page; the outcomes must be told here.
fn is_told_large(s: &Sample) -> bool {
    s.part == Part::Verdicts
}

/// What of a decade is kept for the standard's sake: a share of what there is, and never too little for its numbers.
fn kept(widest: f64, share: f64) -> f64 {
    (widest * share).max(LEAST_DECADE)
}

fn span((low, high): (f64, f64)) -> f64 {
    high - low
}

/// Height of both panels.
fn heights(c: &Corridor, p: &Proportions) -> f64 {
    p.decade * (span(c.spectra_db()) / p.spectra_db + span(c.difference_db()) / p.difference_db)
}

fn plot(c: &Corridor, p: &Proportions, top: f64, gaps: &Gaps) -> Plot {
    let at = |from: f64, letters: f64| from + letters * LETTER;
    let spectra = Panel::new(at(top, gaps.legend), c.spectra_db(), p.decade / p.spectra_db);
    let difference =
        Panel::new(at(spectra.bottom, gaps.between), c.difference_db(), p.decade / p.difference_db);
    let strip_top = at(difference.bottom, 0.6);
    let strip_bottom = at(strip_top, gaps.strip);
    Plot {
        legend_y: at(top, 1.0),
        spectra,
        heading_y: at(difference.top, -0.7),
        difference,
        strip_top,
        strip_bottom,
        labels_y: at(strip_bottom, 2.65),
        axis_name_y: (gaps.foot > 4.0).then(|| at(strip_bottom, 4.0)),
    }
}
