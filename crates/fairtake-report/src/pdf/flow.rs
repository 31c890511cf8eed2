//! Pages, filled from the top down. What is set is a list of items with places; nothing here knows the file's form.
//!
//! Lengths are in points (1/72 inch) from the top left corner of an A4 page.

use super::letters::{Letters, Weight};
use super::tags::{NodeId, Tags};
use crate::figure::Printed;
use std::collections::VecDeque;
use std::rc::Rc;

/// Size of the page.
pub(super) const PAGE: (f32, f32) = (595.28, 841.89);
/// Left edge of what is set.
pub(super) const LEFT: f32 = 54.0;
/// Width of what is set.
pub(super) const WIDTH: f32 = PAGE.0 - 2.0 * LEFT;
/// Top of what is set.
pub(super) const TOP: f32 = 54.0;
/// Bottom of what is set; the page number stands below.
pub(super) const BOTTOM: f32 = PAGE.1 - 62.0;

/// A colour, red, green and blue.
pub(super) type Colour = (u8, u8, u8);
pub(super) const INK: Colour = (0x1d, 0x21, 0x26);
pub(super) const QUIET: Colour = (0x5c, 0x64, 0x6d);
pub(super) const RULE: Colour = (0xd8, 0xd5, 0xcc);
pub(super) const WHITE: Colour = (0xff, 0xff, 0xff);

/// How letters look.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Style {
    /// Height of a letter.
    pub size: f32,
    /// From line to line.
    pub leading: f32,
    pub weight: Weight,
    pub colour: Colour,
}

/// The frame of a mark.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Frame {
    /// A filled square.
    Filled,
    /// A circle.
    Round,
    /// A dashed square.
    Dashed,
    /// A square.
    Plain,
}

/// Something on a page.
pub(super) enum Item {
    /// A line of text from its left end on its base line.
    Text { at: (f32, f32), text: String, style: Style, level: bool },
    /// A rule.
    Rule { from: (f32, f32), to: (f32, f32), width: f32, colour: Colour },
    /// A mark's frame by its top left corner, with its sign.
    Mark { at: (f32, f32), side: f32, frame: Frame, sign: &'static str },
    /// A drawing by its top left corner.
    Drawing { at: (f32, f32), size: (f32, f32), drawing: Rc<Printed> },
    /// The number of the page on which an entry of the outline stands, ending at a place.
    PageOf { at: (f32, f32), target: usize, style: Style },
    /// An area that leads to a part of the document, and what it is called.
    Link { at: (f32, f32), size: (f32, f32), target: usize, words: String },
}

/// An item with the part of the structure that it belongs to; `None`: it only adorns.
pub(super) struct Placed {
    pub item: Item,
    pub of: Option<NodeId>,
}

/// A heading, for the outline.
pub(super) struct Entry {
    pub level: u16,
    pub text: String,
    pub page: usize,
    pub y: f32,
}

/// A column of a row: where, and its lines.
pub(super) struct RowCell {
    pub x: f32,
    pub width: f32,
    pub lines: Vec<String>,
    pub style: Style,
    /// Numbers end at the right edge, their digits all of one width.
    pub number: bool,
    pub mark: Option<(Frame, &'static str)>,
    pub of: Option<NodeId>,
}

/// Room that a mark takes before its word, in letter heights.
pub(super) const MARK_EM: f32 = 1.75;

/// A picture that waits for a page with room.
struct Waiting {
    drawing: Rc<Printed>,
    caption: Vec<String>,
    caption_style: Style,
    of: (NodeId, NodeId),
}

/// The document so far.
pub(super) struct Flow<'a> {
    pub letters: &'a Letters,
    pub pages: Vec<Vec<Placed>>,
    pub tags: Tags,
    pub entries: Vec<Entry>,
    /// Entries of the outline that links lead to, in order of the links' numbers.
    pub targets: Vec<usize>,
    pub y: f32,
    waiting: VecDeque<Waiting>,
    /// Heads that are set again at the top of a page in the middle of a table.
    pub repeated: Option<Repeated>,
    /// Where a page began that has no picture at its top: turning it would win nothing.
    start: Option<f32>,
    /// Letters that the fonts lack, as they were met.
    pub replaced: Vec<char>,
    /// Rows of tables stand closer, where that saves a page that would hold little else.
    pub tight: bool,
}

/// Heads of a table, set again.
pub(super) struct Repeated {
    pub cells: Vec<RowCell>,
    pub rule: f32,
}

impl<'a> Flow<'a> {
    pub fn new(letters: &'a Letters) -> Flow<'a> {
        Flow {
            letters,
            pages: vec![Vec::new()],
            tags: Tags::default(),
            entries: Vec::new(),
            targets: Vec::new(),
            y: TOP,
            waiting: VecDeque::new(),
            repeated: None,
            start: Some(TOP),
            replaced: Vec::new(),
            tight: false,
        }
    }

    /// How full the page is, 0 to 1; full where a picture still waits for the next.
    pub fn filled(&self) -> f32 {
        if self.waiting.is_empty() { (self.y - TOP) / (BOTTOM - TOP) } else { 1.0 }
    }

    /// A text as it can be set.
    pub fn settable(&mut self, text: &str) -> String {
        if text.bytes().all(|b| (b' '..=b'~').contains(&b)) {
            return text.to_string();
        }
        self.letters.settable(text, &mut self.replaced)
    }

    pub fn put(&mut self, of: Option<NodeId>, item: Item) {
        if let Some(page) = self.pages.last_mut() {
            page.push(Placed { item, of });
        }
    }

    fn at_top(&self) -> bool {
        self.pages.last().is_none_or(Vec::is_empty)
    }

    /// Space, which is lost at the top of a page.
    pub fn space(&mut self, height: f32) {
        if !self.at_top() {
            self.y += height;
        }
    }

    /// Begins a page where less than `height` is left and a page has more.
    pub fn need(&mut self, height: f32) {
        while self.y + height > BOTTOM && self.start != Some(self.y) {
            self.turn();
        }
    }

    /// Begins a page: pictures that wait come first, then the heads of a table that goes on.
    pub fn turn(&mut self) {
        self.pages.push(Vec::new());
        self.y = TOP;
        let picture = self.waiting.pop_front();
        let bare = picture.is_none();
        if let Some(w) = picture {
            self.set_picture(w);
            self.space(10.0);
        }
        if let Some(r) = self.repeated.take() {
            let cells: Vec<RowCell> =
                r.cells.iter().map(|c| RowCell { of: None, lines: c.lines.clone(), ..*c }).collect();
            self.row_at_once(&cells);
            self.rule(INK, r.rule);
            self.y += 2.0;
            self.repeated = Some(r);
        }
        self.start = bare.then_some(self.y);
    }

    /// Sets pictures that still wait.
    pub fn settle(&mut self) {
        while !self.waiting.is_empty() {
            self.turn();
        }
    }

    /// Sets what still waits, and begins a page if this one is not empty.
    pub fn fresh_page(&mut self) {
        self.settle();
        if !self.at_top() {
            self.turn();
        }
    }

    /// A rule over the whole width, here.
    pub fn rule(&mut self, colour: Colour, width: f32) {
        let y = self.y;
        self.put(None, Item::Rule { from: (LEFT, y), to: (LEFT + WIDTH, y), width, colour });
    }

    /// A row of columns. One that is taller than what is left of the page goes on the next; one that is taller than a
    /// page is divided between lines.
    pub fn row(&mut self, cells: &[RowCell]) {
        let height = height(cells);
        // The heads of a table go on each page with its rows.
        let heads = self.repeated.as_ref().map_or(0.0, |r| self::height(&r.cells) + 3.0);
        if height <= BOTTOM - TOP - heads {
            self.need(height);
            self.row_at_once(cells);
            return;
        }
        let longest = cells.iter().map(|c| c.lines.len()).max().unwrap_or(0);
        let leading = cells.iter().map(|c| c.style.leading).fold(1.0, f32::max);
        let mut from = 0;
        while from < longest {
            self.need(2.0 * leading);
            let fit = (((BOTTOM - self.y) / leading) as usize).max(1);
            let part = |c: &RowCell| RowCell {
                lines: c.lines.iter().skip(from).take(fit).cloned().collect(),
                mark: c.mark.filter(|_| from == 0),
                ..*c
            };
            let parts: Vec<RowCell> = cells.iter().map(part).collect();
            self.row_at_once(&parts);
            from += fit;
        }
    }

    fn row_at_once(&mut self, cells: &[RowCell]) {
        let top = self.y;
        for cell in cells {
            let style = cell.style;
            let mut x = cell.x;
            if let Some((frame, sign)) = cell.mark {
                let side = style.size * 1.12;
                let at = (x, top + (style.leading - side) / 2.0);
                self.put(None, Item::Mark { at, side, frame, sign });
                x += style.size * MARK_EM;
            }
            for (i, line) in cell.lines.iter().enumerate() {
                if line.is_empty() {
                    continue;
                }
                let base = top + style.leading * i as f32 + base(style);
                let line_x = if cell.number {
                    cell.x + cell.width - style.size * self.letters.width(line.trim_end(), style.weight, true)
                } else {
                    x
                };
                let item = Item::Text { at: (line_x, base), text: line.clone(), style, level: cell.number };
                self.put(cell.of, item);
            }
        }
        self.y = top + height(cells);
    }

    /// A paragraph over a width, from `x`.
    pub fn paragraph(&mut self, of: Option<NodeId>, text: &str, style: Style, x: f32, width: f32) {
        let lines = self.letters.lines(text, style.weight, width / style.size);
        if lines.len() <= 3 {
            self.need(style.leading * lines.len() as f32);
        } else {
            self.need(style.leading * 2.0);
        }
        for line in lines {
            self.need(style.leading);
            let at = (x, self.y + base(style));
            self.put(of, Item::Text { at, text: line, style, level: false });
            self.y += style.leading;
        }
    }

    /// Notes a heading that begins here.
    pub fn entry(&mut self, level: u16, text: &str) {
        let (page, y) = (self.pages.len() - 1, self.y);
        self.entries.push(Entry { level, text: text.to_string(), page, y });
    }

    /// A picture with its caption: here if there is room, else at the top of the next page, while text goes on here.
    pub fn picture(&mut self, drawing: Printed, of: (NodeId, NodeId), caption: &str, style: Style) {
        let lines = self.letters.lines(caption, style.weight, WIDTH / style.size);
        let w = Waiting { drawing: Rc::new(drawing), caption: lines, caption_style: style, of };
        if self.y + w.height() <= BOTTOM { self.set_picture(w) } else { self.waiting.push_back(w) }
    }

    fn set_picture(&mut self, w: Waiting) {
        // One that is taller than a page is made smaller.
        let text = w.height() - w.drawing.height as f32 * w.natural();
        let scale = w.natural().min((BOTTOM - self.y - text) / w.drawing.height as f32);
        let size = (w.drawing.width as f32 * scale, w.drawing.height as f32 * scale);
        let at = (LEFT + (WIDTH - size.0) / 2.0, self.y);
        self.put(Some(w.of.0), Item::Drawing { at, size, drawing: Rc::clone(&w.drawing) });
        self.y += size.1 + 4.0;
        for line in w.caption {
            let at = (LEFT, self.y + base(w.caption_style));
            self.put(Some(w.of.1), Item::Text { at, text: line, style: w.caption_style, level: false });
            self.y += w.caption_style.leading;
        }
    }
}

impl Waiting {
    /// Points of one px.
    fn natural(&self) -> f32 {
        WIDTH / self.drawing.width as f32
    }

    fn height(&self) -> f32 {
        self.drawing.height as f32 * self.natural()
            + 4.0
            + self.caption_style.leading * self.caption.len() as f32
    }
}

/// Height of a row.
pub(super) fn height(cells: &[RowCell]) -> f32 {
    cells.iter().map(|c| c.style.leading * c.lines.len().max(1) as f32).fold(0.0, f32::max)
}

/// From the top of a line to its base line.
pub(super) fn base(style: Style) -> f32 {
    (style.leading + style.size * 0.72) / 2.0
}
