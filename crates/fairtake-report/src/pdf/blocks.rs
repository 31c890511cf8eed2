//! What a report is made of: headings, paragraphs, lists of terms and of findings, contents.

use super::flow::{
    BOTTOM, Flow, Frame, INK, Item, LEFT, MARK_EM, QUIET, RULE, RowCell, Style, TOP, WIDTH, base, height,
};
use super::letters::Weight;
use super::tags::{NodeId, Role};
use crate::content::outcome_mark;
use crate::words;
use fairtake_compare::{Outcome, Verdict};

pub(super) const BODY: Style = Style { size: 9.5, leading: 13.6, weight: Weight::Regular, colour: INK };
pub(super) const STRONG: Style = Style { weight: Weight::Semibold, ..BODY };
pub(super) const SMALL: Style = Style { size: 8.0, leading: 11.2, weight: Weight::Regular, colour: QUIET };

/// Styles of headings, the title first.
const HEADINGS: [Style; 3] = [
    Style { size: 21.0, leading: 25.5, weight: Weight::Semibold, colour: INK },
    Style { size: 14.5, leading: 18.5, weight: Weight::Semibold, colour: INK },
    Style { size: 10.5, leading: 14.5, weight: Weight::Semibold, colour: INK },
];

/// What must fit below a heading on its page.
const AFTER_HEADING: f32 = 64.0;

/// Greatest width of a list's terms.
const TERM: f32 = 150.0;

/// Width of the column of marks.
const MARKS: f32 = 76.0;

/// A mark with its word.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Marked {
    pub frame: Frame,
    pub sign: &'static str,
    pub word: &'static str,
    pub weight: Weight,
}

/// A verdict's mark.
pub(super) fn verdict(v: Verdict) -> Marked {
    let (frame, weight) = match v {
        Verdict::Different => (Frame::Filled, Weight::Semibold),
        Verdict::Alike => (Frame::Round, Weight::Semibold),
        Verdict::Undecided => (Frame::Dashed, Weight::Regular),
        Verdict::OutOfRange => (Frame::Plain, Weight::Regular),
    };
    Marked { frame, sign: words::mark(v), word: words::verdict(v), weight }
}

/// An outcome's mark.
pub(super) fn outcome(o: Outcome) -> Marked {
    let frame = match o {
        Outcome::Fair => Frame::Round,
        Outcome::Caution => Frame::Dashed,
        Outcome::Unfair => Frame::Filled,
    };
    // The fonts lack the cross.
    let sign = if o == Outcome::Unfair { "×" } else { outcome_mark(o) };
    Marked { frame, sign, word: words::outcome(o), weight: Weight::Semibold }
}

impl Flow<'_> {
    /// A heading, noted for the outline.
    pub fn heading(&mut self, parent: Option<NodeId>, level: u16, text: &str) {
        let text = &self.settable(text);
        let style = HEADINGS[usize::from(level - 1).min(HEADINGS.len() - 1)];
        let lines = self.letters.lines(text, style.weight, WIDTH / style.size).len() as f32;
        self.space([0.0, 22.0, 13.0][usize::from(level - 1).min(2)]);
        self.need((lines * style.leading + AFTER_HEADING).min(BOTTOM - TOP));
        if level == 2 {
            self.rule(INK, 1.2);
            self.y += 7.0;
        }
        self.entry(level, text);
        let node = self.tags.add(parent, Role::Heading(level, text.to_string()));
        self.paragraph(Some(node), text, style, LEFT, WIDTH);
        self.y += [8.0, 4.0, 2.5][usize::from(level - 1).min(2)];
    }

    /// A paragraph of its own.
    pub fn said(&mut self, parent: Option<NodeId>, text: &str, style: Style) {
        let text = self.settable(text);
        let node = self.tags.add(parent, Role::Paragraph);
        self.paragraph(Some(node), &text, style, LEFT, WIDTH);
        self.y += style.leading * 0.4;
    }

    /// A paragraph in somebody else's words, with a rule beside it.
    pub fn quoted(&mut self, parent: Option<NodeId>, text: &str) {
        let text = self.settable(text);
        let node = self.tags.add(parent, Role::Paragraph);
        let lines = self.letters.lines(&text, BODY.weight, (WIDTH - 12.0) / BODY.size);
        for line in lines {
            self.need(BODY.leading);
            let (from, to) = ((LEFT + 1.0, self.y), (LEFT + 1.0, self.y + BODY.leading));
            self.put(None, Item::Rule { from, to, width: 2.0, colour: RULE });
            let at = (LEFT + 12.0, self.y + base(BODY));
            self.put(Some(node), Item::Text { at, text: line, style: BODY, level: false });
            self.y += BODY.leading;
        }
        self.y += 4.0;
    }

    /// Terms with what is said of them.
    pub fn terms(&mut self, parent: Option<NodeId>, list: &[(String, String)]) {
        self.terms_in(parent, list, BODY, TERM);
    }

    /// The same in another style, its colour apart, with terms no wider than `most`.
    pub fn terms_in(&mut self, parent: Option<NodeId>, list: &[(String, String)], style: Style, most: f32) {
        let term = Style { colour: QUIET, ..style };
        let body_style = Style { colour: INK, ..style };
        let list: Vec<(String, String)> =
            list.iter().map(|(name, said)| (self.settable(name), self.settable(said))).collect();
        let widest = list.iter().map(|(name, _)| self.letters.width(name, term.weight, false));
        let width = (widest.fold(0.0, f32::max) * term.size).min(most) + 1.0;
        let node = self.tags.add(parent, Role::List);
        for (name, said) in &list {
            let of = self.tags.add(Some(node), Role::Item);
            let label = self.tags.add(Some(of), Role::Label);
            let body = self.tags.add(Some(of), Role::Body);
            let room = WIDTH - width - 14.0;
            let cells = [
                self.column((LEFT, width), name, term, label),
                self.column((LEFT + width + 14.0, room), said, body_style, body),
            ];
            self.row(&cells);
            self.y += 1.2;
        }
        self.y += 4.0;
    }

    /// A mark with its word, and paragraphs beside it.
    pub fn marked(&mut self, list: NodeId, mark: Marked, paragraphs: &[(&str, Style)]) {
        let of = self.tags.add(Some(list), Role::Item);
        let label = self.tags.add(Some(of), Role::Label);
        let body = self.tags.add(Some(of), Role::Body);
        let (x, room) = (LEFT + MARKS + 12.0, WIDTH - MARKS - 12.0);
        let word = Style { weight: mark.weight, size: 8.8, ..BODY };
        let lines = vec![mark.word.to_string()];
        let sign = Some((mark.frame, mark.sign));
        let first =
            RowCell { x: LEFT, width: MARKS, lines, style: word, number: false, mark: sign, of: Some(label) };
        let paragraphs: Vec<(String, Style)> =
            paragraphs.iter().map(|(text, style)| (self.settable(text), *style)).collect();
        let [(text, style), rest @ ..] = paragraphs.as_slice() else { return };
        // The mark stays with the first lines of what it marks.
        let cells = [first, self.column((x, room), text, *style, body)];
        let next = rest.first().map_or(0.0, |(_, style)| style.leading);
        self.need(height(&cells).min(120.0) + next);
        self.row(&cells);
        for (text, style) in rest {
            self.paragraph(Some(body), text, *style, x, room);
        }
        self.y += 3.2;
        self.rule(RULE, 0.5);
        self.y += 3.2;
    }

    fn column(&self, (x, width): (f32, f32), text: &str, style: Style, of: NodeId) -> RowCell {
        let lines = self.letters.lines(text, style.weight, width / style.size);
        RowCell { x, width, lines, style, number: false, mark: None, of: Some(of) }
    }

    /// Contents: what there is, with the numbers of pages. `targets` are numbers of links.
    pub fn contents(&mut self, list: &[(String, usize)]) {
        let node = self.tags.add(None, Role::Contents);
        for (text, target) in list {
            let text = &self.settable(text);
            let entry = self.tags.add(Some(node), Role::Entry);
            let link = self.tags.add(Some(entry), Role::Link);
            let cell = self.column((LEFT, WIDTH - 40.0), text, BODY, link);
            let tall = BODY.leading * cell.lines.len() as f32;
            let (top, page) = (self.y, self.pages.len());
            self.row(&[cell]);
            let top = if self.pages.len() == page { top } else { TOP };
            let item = Item::PageOf { at: (LEFT + WIDTH, self.y - 3.6), target: *target, style: BODY };
            self.put(Some(link), item);
            let (at, size) = ((LEFT, top), (WIDTH, tall.min(self.y - top)));
            self.put(Some(link), Item::Link { at, size, target: *target, words: text.clone() });
        }
        self.y += 4.0;
    }
}

/// Room of a mark before its word.
pub(super) fn mark_room(style: Style) -> f32 {
    style.size * MARK_EM
}
