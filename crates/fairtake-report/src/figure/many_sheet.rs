//! Where everything lies in a picture of many microphones: a small panel for each, and a table of every pair. Lengths are in the
//! units of [`sheet`](super::sheet).

use super::canvas::{Canvas, Panel};
use super::font::{self, Weight};
use super::key::{Sample, key};
use super::many::{Many, apart};
use super::plot::N_HUES;
use super::sheet::{Block, LETTER, LINE, Line, sample_width};
use super::{Corridor, FROM_HZ, TO_HZ};
use crate::words::{claim, number};
use fairtake_compare::{Band, Verdict};

/// Room around everything, and between panels and table, in letters.
const PAD: f64 = 1.2;
const APART: f64 = 2.0;

/// A panel: room left of it for levels, least width in all, room for the name and the distance above it, the verdict strip,
/// the frequencies below, and the space to the next one; in letters.
const LEVELS: f64 = 2.3;
const LEAST_WIDTH: f64 = 12.0;
const NAMES: f64 = 3.1;
const STRIP: f64 = 0.9;
const FREQUENCIES: f64 = 1.4;
const BETWEEN: f64 = 1.0;
/// Between spectra and differences of a panel, so that their levels do not touch.
const PANELS_APART: f64 = 1.3;
/// Least height of the differences in it, and of the spectra where there is room for them too, in letters.
const LEAST_DIFFERENCE: f64 = 4.5;
const LEAST_SPECTRA: f64 = 4.5;
/// Panels are not made wider than this many times their height.
const WIDEST: f64 = 2.2;

/// A cell of the table, in letters, and the most that a name takes in it.
const CELL: (f64, f64) = (2.7, 1.4);
const NAME: f64 = 11.0;
const SMALL: f64 = 0.85;

/// Said at the table.
const TABLE: &str = "Mean size of the difference after the match, in dB, over the octaves with a verdict: above the diagonal as \
                     estimated, below it what is shown at least";

/// Said of the table, with what its marks mean.
fn table_words(many: &Many) -> String {
    let n = many.voices.len();
    let is_known = |i: usize, j: usize| {
        many.distance(i, j).is_some_and(|d| d.mean_db.is_some() && d.at_least_db.is_some())
    };
    let all_known = (0..n).all(|i| (i + 1..n).all(|j| is_known(i, j)));
    format!("{TABLE}{}.", if all_known { "" } else { "; ?: unknown" })
}

/// Lines of the frequency axis that have a number.
const DECADES: [(f64, &str); 3] = [(100.0, "100"), (1000.0, "1k"), (10_000.0, "10k")];

/// A rectangle.
#[derive(Debug, Clone, Copy)]
struct Area {
    x: f64,
    y: f64,
    width: f64,
    height: f64,
}

/// Panels in rows and columns.
#[derive(Debug, Clone, Copy)]
struct Grid {
    area: Area,
    n_columns: usize,
    cell: (f64, f64),
}

/// A sheet, laid out.
pub(super) struct ManySheet {
    lines: Vec<Line>,
    key: Vec<((f64, f64), Sample)>,
    grid: Grid,
    table: Option<Area>,
}

impl ManySheet {
    /// `None` where there is not room for all of it.
    pub fn new(many: &Many, (width, height): (f64, f64), note: Option<&str>) -> Option<ManySheet> {
        let pad = PAD * LETTER;
        let mut lines = Vec::new();
        let mut block = Block { x: pad, y: pad, width: width - 2.0 * pad };
        if let Some(title) = &many.title {
            block.words(&mut lines, title, LETTER, "quiet", 1);
        }
        let n = many.corridors.len();
        let heading = format!("{n} microphones against {}, {}", many.voices[0].name, many.source);
        block.words(&mut lines, &heading, 1.45 * LETTER, "title", 2);
        let mut samples = key(false);
        // Without the pointwise band: there is no room for two.
        samples.retain(|s| s.class != "pointwise");
        let mut key = Vec::new();
        block.y += LETTER * 0.3;
        block.key(&mut key, &samples, true);
        let top = block.y + LETTER * 0.7;
        let foot = foot(many, &mut lines, (pad, width - 2.0 * pad), height - pad, note);
        let body = Area { x: pad, y: top, width: width - 2.0 * pad, height: foot - LETTER * 0.6 - top };
        let (panels, table) = divided(many, body, &mut lines)?;
        Some(ManySheet { lines, key, grid: Grid::of(n, panels)?, table })
    }

    /// The drawing, without ground.
    pub fn draw(&self, many: &Many) -> String {
        let mut canvas = Canvas {
            out: String::new(),
            left: 0.0,
            right: 0.0,
            letter: LETTER,
            stretch: 1.0,
            from_hz: FROM_HZ,
            to_hz: TO_HZ,
        };
        for line in &self.lines {
            canvas.sized_text(line.at, line.size, line.class, &line.text);
        }
        for ((x, y), s) in &self.key {
            let (from, to) = ((*x, y - LETTER * 0.9), (x + LETTER * 2.3, y + LETTER * 0.2));
            canvas.patterned(from, to, s.class, s.fill);
            canvas.text(x + sample_width(s), *y, "start", "", s.words);
        }
        for (i, corridor) in many.corridors.iter().enumerate() {
            let distance = many.distance(0, i + 1).map_or_else(String::new, apart);
            self.grid.panel(&mut canvas, many, (i, corridor), &distance);
        }
        if let Some(area) = self.table {
            table(&mut canvas, many, area);
        }
        canvas.out
    }
}

/// What the picture rests on, so that it ends at `bottom`; returns where it begins.
fn foot(many: &Many, lines: &mut Vec<Line>, (x, width): (f64, f64), bottom: f64, note: Option<&str>) -> f64 {
    let text = format!(
        "Dashed: {}. Levels are matched; all panels have the same axes, from 20 Hz to 20 kHz, in dB, not in the proportions of IEC \
         60263. Speaks of {}. {}",
        many.voices[0].name,
        claim(many.corridors[0].claim),
        note.unwrap_or("")
    );
    let size = LETTER * SMALL;
    let mut block = Block { x, y: 0.0, width };
    let first = lines.len();
    block.words(lines, &text, size, "quiet", 6);
    let top = bottom - block.y;
    lines[first..].iter_mut().for_each(|line| line.at.1 += top);
    top
}

/// Where panels and table lie: side by side, or the table below, whichever gives the panels more room. The table is left away
/// where no other pair is known.
fn divided(many: &Many, body: Area, lines: &mut Vec<Line>) -> Option<(Area, Option<Area>)> {
    if !many.has_pairs() {
        return Some((body, None));
    }
    let n = many.voices.len() as f64;
    let label = label(many) * LETTER;
    let table = (label + n * CELL.0 * LETTER, (n + 1.0) * CELL.1 * LETTER);
    let size = LETTER * SMALL;
    let said = table_words(many);
    let words = |width: f64| font::wrapped(&said, width / size, Weight::Regular).len() as f64 * size * LINE;
    let room = |area: &Area| Grid::of(many.corridors.len(), *area).map(|g| g.cell.0 * g.cell.1);
    let least = LETTER * 16.0;
    let beside = {
        let width = table.0.max(least);
        let height = table.1 + words(width);
        let panels = Area { width: body.width - width - APART * LETTER, ..body };
        let x = body.x + body.width - width;
        (height <= body.height).then_some((panels, Area { x, y: body.y, width, height }))
    };
    let below = {
        let width = table.0.max(body.width.min(LETTER * 60.0));
        let height = table.1 + words(width);
        let panels = Area { height: body.height - height - APART * LETTER * 0.6, ..body };
        let y = body.y + body.height - height;
        (width <= body.width).then_some((panels, Area { x: body.x, y, width, height }))
    };
    let better =
        |a: &(Area, Area), b: &(Area, Area)| room(&a.0).unwrap_or(0.0).total_cmp(&room(&b.0).unwrap_or(0.0));
    let (panels, place) = [beside, below].into_iter().flatten().max_by(better)?;
    let mut block = Block { x: place.x, y: place.y, width: place.width };
    block.words(lines, &said, size, "quiet", 9);
    let table = Area { y: block.y, height: place.y + place.height - block.y, ..place };
    Some((panels, Some(table)))
}

/// Room for numbers and names at the rows of the table, in letters.
fn label(many: &Many) -> f64 {
    let names = many.voices.iter().map(|v| font::width(&v.name, Weight::Regular));
    names.fold(0.0, f64::max).min(NAME) * SMALL + 2.6
}

impl Grid {
    /// As many columns as make the smallest panel largest; `None` where none is large enough.
    fn of(n: usize, area: Area) -> Option<Grid> {
        let fits = |n_columns: usize| {
            let n_rows = n.div_ceil(n_columns);
            let width = area.width / n_columns as f64;
            let height = area.height / n_rows as f64;
            let inside = height - (NAMES + STRIP + FREQUENCIES + BETWEEN) * LETTER;
            let is_enough = width >= LEAST_WIDTH * LETTER && inside >= LEAST_DIFFERENCE * LETTER;
            is_enough.then_some(Grid { area, n_columns, cell: (width, height.min(width / 0.8)) })
        };
        let size = |g: &Grid| (g.cell.0 / 1.5).min(g.cell.1);
        let narrowed = |g: Grid| Grid { cell: (g.cell.0.min(g.cell.1 * WIDEST), g.cell.1), ..g };
        (1..=n).filter_map(fits).max_by(|a, b| size(a).total_cmp(&size(b))).map(narrowed)
    }

    /// One microphone against the reference: name, distance, spectra where there is room, difference, verdicts.
    fn panel(&self, canvas: &mut Canvas, many: &Many, (i, c): (usize, &Corridor), distance: &str) {
        let (column, row) = ((i % self.n_columns) as f64, (i / self.n_columns) as f64);
        let (x, y) = (self.area.x + column * self.cell.0, self.area.y + row * self.cell.1);
        canvas.left = x + LEVELS * LETTER;
        canvas.right = x + self.cell.0 - BETWEEN * LETTER;
        let hue = c.against.hue % N_HUES;
        let at = y + LETTER;
        canvas.line(
            (x, at - LETTER * 0.35),
            (x + LETTER * 1.6, at - LETTER * 0.35),
            &format!("curve hue{hue}"),
        );
        let room = (canvas.right - x) / LETTER - 2.0;
        let name = format!("{} {}", i + 2, c.against.name);
        let name = font::shortened(&name, room, Weight::Semibold);
        canvas.text(x + LETTER * 2.0, at, "start", "name", &name);
        let distance = font::shortened(distance, (canvas.right - x) / LETTER / SMALL, Weight::Regular);
        canvas.sized_text((x, at + LETTER * 1.25), LETTER * SMALL, "quiet", &distance);

        let top = y + NAMES * LETTER;
        let strip_bottom = y + self.cell.1 - (FREQUENCIES + BETWEEN) * LETTER;
        let bottom = strip_bottom - STRIP * LETTER;
        let has_spectra = bottom - top >= (LEAST_SPECTRA + LEAST_DIFFERENCE + PANELS_APART) * LETTER;
        let divide = if has_spectra { top + (bottom - top + PANELS_APART * LETTER) / 2.0 } else { top };
        if has_spectra {
            let spectra = panel(top, divide - LETTER * PANELS_APART, many.spectra_db());
            spectra_of(canvas, c, &spectra);
        }
        let difference = panel(divide, bottom, many.difference_db());
        difference_of(canvas, c, &difference);
        strip(canvas, c, (bottom, strip_bottom));
        for (hz, words) in DECADES {
            let x = canvas.x(hz);
            canvas.sized_text((x - LETTER * 0.8, strip_bottom + LETTER), LETTER * SMALL, "number", words);
        }
    }
}

fn panel(top: f64, bottom: f64, (low_db, high_db): (f64, f64)) -> Panel {
    Panel { top, bottom, low_db, high_db }
}

/// Lines of decades and of the ends of the levels, with numbers.
fn axes(canvas: &mut Canvas, panel: &Panel, levels: &[(f64, String)]) {
    for (hz, _) in DECADES {
        let x = canvas.x(hz);
        canvas.line((x, panel.top), (x, panel.bottom), "grid");
    }
    for (db, words) in levels {
        let y = panel.y(*db);
        canvas.line((canvas.left, y), (canvas.right, y), "grid");
        let width = font::width(words, Weight::Regular) * LETTER * SMALL;
        let at = (canvas.left - LETTER * 0.35 - width, y + LETTER * 0.3);
        canvas.sized_text(at, LETTER * SMALL, "number", words);
    }
}

fn spectra_of(canvas: &mut Canvas, c: &Corridor, panel: &Panel) {
    let levels = [panel.low_db, panel.high_db].map(|db| (db, format!("{db:.0}").replace('-', "−")));
    axes(canvas, panel, &levels);
    let hues = [c.reference.hue % N_HUES, c.against.hue % N_HUES];
    canvas.curve(&c.bands, panel, |b| b.reference_db, &format!("curve hue{} reference", hues[0]));
    let raised = |b: &Band| b.against_db.map(|v| v + c.match_gain_db);
    canvas.curve(&c.bands, panel, raised, &format!("curve hue{}", hues[1]));
}

fn difference_of(canvas: &mut Canvas, c: &Corridor, panel: &Panel) {
    let (left, right) = (canvas.left, canvas.right);
    canvas.box_between((left, panel.y(c.margin_db)), (right, panel.y(-c.margin_db)), "lane", "");
    let signed = |db: f64| (db, if db == 0.0 { "0".into() } else { format!("{db:+.0}").replace('-', "−") });
    axes(canvas, panel, &[panel.low_db, 0.0, panel.high_db].map(signed));
    let seen = |value: Option<f64>, b: &Band| value.filter(|_| b.verdict != Verdict::OutOfRange);
    let bands = |b: &Band| seen(b.simultaneous_low_db, b).zip(b.simultaneous_high_db);
    canvas.ribbon(&c.bands, panel, bands, "simultaneous");
    let zero = panel.y(0.0);
    canvas.line((left, zero), (right, zero), "zero");
    let hue = format!("curve hue{}", c.against.hue % N_HUES);
    canvas.curve(&c.bands, panel, |b| seen(b.difference_db, b), &hue);
}

/// The verdicts without numbers; a viewer of the SVG reads them out.
fn strip(canvas: &mut Canvas, c: &Corridor, (top, bottom): (f64, f64)) {
    for s in &c.segments {
        let up = s.difference_db.is_some_and(|d| d > 0.0);
        let (class, fill) = match s.verdict {
            Verdict::Different => ("segment different", if up { "more" } else { "less" }),
            Verdict::Alike => ("segment alike", ""),
            Verdict::Undecided => ("segment", "open"),
            Verdict::OutOfRange => ("segment", "hidden"),
        };
        let (from, to) = (canvas.x(s.from_hz), canvas.x(s.to_hz));
        canvas.patterned((from, top), (to, bottom), class, fill);
        canvas.says(&s.words());
    }
}

/// Every pair, rows by name, columns by number.
fn table(canvas: &mut Canvas, many: &Many, area: Area) {
    let size = LETTER * SMALL;
    let label = label(many) * LETTER;
    let (cell, row) = (CELL.0 * LETTER, CELL.1 * LETTER);
    let n = many.voices.len();
    let middle = |j: usize| area.x + label + (j as f64 + 0.5) * cell;
    let base = |i: usize| area.y + (i as f64 + 1.0) * row - row * 0.32;
    let mut centred = |x: f64, y: f64, class: &str, text: &str| {
        let half = font::width(text, Weight::Regular) * size / 2.0;
        canvas.sized_text((x - half, y), size, class, text);
    };
    for j in 0..n {
        centred(middle(j), base(0), "quiet", &(j + 1).to_string());
    }
    for i in 0..n {
        for j in 0..n {
            let known = many.distance(i, j).filter(|_| i != j);
            let text = match known {
                Some(d) => {
                    let db = if i < j { d.mean_db } else { d.at_least_db };
                    db.map_or("?".to_string(), |_| number(db))
                }
                None if i == j => "–".to_string(),
                None => "?".to_string(),
            };
            centred(middle(j), base(i + 1), if i == j { "quiet" } else { "" }, &text);
        }
    }
    for (i, voice) in many.voices.iter().enumerate() {
        let y = area.y + (i as f64 + 1.0) * row;
        canvas.line((area.x, y), (area.x + label + n as f64 * cell, y), "grid");
        let class = format!("curve hue{}{}", voice.hue % N_HUES, if i == 0 { " reference" } else { "" });
        let at = base(i + 1);
        canvas.line((area.x, at - size * 0.35), (area.x + LETTER * 0.9, at - size * 0.35), &class);
        let name = font::shortened(&format!("{} {}", i + 1, voice.name), NAME + 1.4, Weight::Regular);
        canvas.sized_text((area.x + LETTER * 1.2, at), size, "", &name);
    }
}
