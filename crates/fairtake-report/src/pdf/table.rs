//! Tables: how wide columns are, and rows that go on over pages under their heads.

use super::blocks::{Marked, SMALL, mark_room, outcome, verdict};
use super::flow::{Flow, INK, LEFT, MARK_EM, QUIET, RULE, Repeated, RowCell, Style, WIDTH, height};
use super::letters::Weight;
use super::tags::{NodeId, Role};
use crate::content::{Cell, Kind, Table};

/// Heights of letters that are tried, the largest first.
const SIZES: [f32; 5] = [8.4, 7.8, 7.2, 7.0, 6.6];

/// Space between columns, in letters.
const GAP: f32 = 1.35;

/// A column of words is not narrower than this in letters, where its words are so many.
const LEAST_WORDS: f32 = 10.0;

/// Text that is kept on one line may break where it is wider than this, in letters.
const LEAST_KEPT: f32 = 24.0;

/// What a column needs, in letters.
#[derive(Debug, Clone, Copy, Default)]
struct Need {
    /// Its widest word.
    least: f32,
    /// What it should not be narrower than.
    fair: f32,
    /// Without any break.
    natural: f32,
}

impl Flow<'_> {
    /// A table.
    pub fn table(&mut self, parent: Option<NodeId>, table: &Table) {
        let table = &self.settable_table(table);
        let node = self.tags.add(parent, Role::Table);
        if let Some(caption) = &table.caption {
            let of = self.tags.add(Some(node), Role::Caption);
            self.paragraph(Some(of), caption, SMALL, LEFT, WIDTH);
            self.y += 3.0;
        }
        let needs = self.needs(table);
        let (size, widths) = widths(&needs, WIDTH);
        let leading = size * if self.tight { 1.24 } else { 1.36 };
        let style = Style { size, leading, weight: Weight::Regular, colour: INK };
        self.heads(node, table, &widths, style);
        let rows = self.tags.add(Some(node), Role::Rows);
        for (i, row) in table.rows.iter().enumerate() {
            let of = self.tags.add(Some(rows), Role::Row);
            let mut x = LEFT;
            let mut cells = Vec::with_capacity(row.len());
            for ((column, value), width) in table.columns.iter().zip(row).zip(&widths) {
                let role =
                    if column.kind == Kind::Head { Role::HeadCell { of_row: true } } else { Role::Cell };
                let cell = self.tags.add(Some(of), role);
                cells.push(self.cell(value, column.kind, (x, *width), style, cell));
                x += width + GAP * size;
            }
            let space = size * if self.tight { 0.16 } else { 0.3 };
            // The last row is not left alone on a page.
            let kept = if i + 2 == table.rows.len() { 2.0 } else { 1.0 };
            self.need((height(&cells).min(200.0) + 2.0 * space) * kept);
            self.y += space;
            self.row(&cells);
            self.y += space;
            self.rule(RULE, 0.5);
        }
        self.repeated = None;
        self.y += 8.0;
    }

    fn settable_table(&mut self, table: &Table) -> Table {
        let mut table = table.clone();
        for text in table.caption.iter_mut().chain(table.columns.iter_mut().map(|c| &mut c.name)) {
            *text = self.settable(text);
        }
        for value in table.rows.iter_mut().flatten() {
            if let Cell::Text(text) | Cell::Code(text) = value {
                *text = self.settable(text);
            }
        }
        table
    }

    fn heads(&mut self, node: NodeId, table: &Table, widths: &[f32], style: Style) {
        let head = self.tags.add(Some(node), Role::Head);
        let of = self.tags.add(Some(head), Role::Row);
        let style = Style { colour: QUIET, ..style };
        let mut x = LEFT;
        let mut cells = Vec::new();
        for (column, width) in table.columns.iter().zip(widths) {
            let cell = self.tags.add(Some(of), Role::HeadCell { of_row: false });
            let lines = self.letters.lines(&column.name, style.weight, width / style.size);
            let number = column.kind == Kind::Number;
            cells.push(RowCell { x, width: *width, lines, style, number, mark: None, of: Some(cell) });
            x += width + GAP * style.size;
        }
        // Heads stand on the rule.
        let most = cells.iter().map(|c| c.lines.len()).max().unwrap_or(1);
        for c in &mut cells {
            let missing = most - c.lines.len();
            c.lines.splice(0..0, std::iter::repeat_n(String::new(), missing));
        }
        self.need(height(&cells) + 3.0 * style.leading);
        self.row(&cells);
        self.y += 2.0;
        self.rule(INK, 0.7);
        self.y += 0.6;
        self.repeated = Some(Repeated { cells, rule: 0.7 });
    }

    fn cell(&self, value: &Cell, kind: Kind, (x, width): (f32, f32), style: Style, of: NodeId) -> RowCell {
        let mark = mark(value);
        let style = mark.map_or(style, |m| Style { weight: m.weight, ..style });
        let room = width - mark.map_or(0.0, |_| mark_room(style)) + 0.01;
        let lines = self.letters.lines(text(value), style.weight, room / style.size);
        let number = kind == Kind::Number;
        RowCell { x, width, lines, style, number, mark: mark.map(|m| (m.frame, m.sign)), of: Some(of) }
    }

    fn needs(&self, table: &Table) -> Vec<Need> {
        let of = |(i, column): (usize, &crate::content::Column)| {
            let head = self.letters.widest_word(&column.name, Weight::Regular);
            let mut need = Need { least: head, fair: head, natural: head };
            for value in table.rows.iter().filter_map(|row| row.get(i)) {
                let marked = mark(value);
                let room = marked.map_or(0.0, |_| MARK_EM);
                let weight = marked.map_or(Weight::Regular, |m| m.weight);
                let number = column.kind == Kind::Number;
                let natural = self.letters.width(text(value), weight, number) + room;
                let least = self.letters.widest_word(text(value), weight) + room;
                need.least = need.least.max(least);
                need.natural = need.natural.max(natural);
                let fair = match column.kind {
                    Kind::Number => natural,
                    Kind::Keep => least.max(natural.min(LEAST_KEPT)),
                    Kind::Words | Kind::Head => least.max(natural.min(LEAST_WORDS)),
                };
                need.fair = need.fair.max(fair);
            }
            need.natural = need.natural.max(self.letters.width(&column.name, Weight::Regular, false));
            need
        };
        table.columns.iter().enumerate().map(of).collect()
    }
}

fn text(value: &Cell) -> &str {
    match value {
        Cell::Text(text) | Cell::Code(text) => text,
        Cell::Verdict(v) => crate::words::verdict(*v),
        Cell::Outcome(o) => crate::words::outcome(*o),
    }
}

fn mark(value: &Cell) -> Option<Marked> {
    match value {
        Cell::Verdict(v) => Some(verdict(*v)),
        Cell::Outcome(o) => Some(outcome(*o)),
        Cell::Text(_) | Cell::Code(_) => None,
    }
}

/// Height of letters, and widths of columns: the largest letters with which every column gets what is fair, what is left
/// shared by what columns would like. Where even the smallest do not fit, columns are as narrow as their words or, at
/// last, narrower.
fn widths(needs: &[Need], width: f32) -> (f32, Vec<f32>) {
    let smallest = SIZES[SIZES.len() - 1];
    let room = |size: f32| width / size - GAP * needs.len().saturating_sub(1) as f32;
    let sum = |of: fn(&Need) -> f32| needs.iter().map(of).sum::<f32>();
    let size = SIZES.into_iter().find(|s| sum(|n| n.fair) <= room(*s)).unwrap_or(smallest);
    let room = room(size).max(1.0);
    let shared = |low: fn(&Need) -> f32, high: fn(&Need) -> f32| -> Vec<f32> {
        let (left, wish) = (room - sum(low), sum(high) - sum(low));
        let share = if wish > 0.0 { (left / wish).min(1.0) } else { 0.0 };
        needs.iter().map(|n| low(n) + (high(n) - low(n)) * share).collect()
    };
    let columns = if sum(|n| n.fair) <= room {
        shared(|n| n.fair, |n| n.natural)
    } else if sum(|n| n.least) <= room {
        shared(|n| n.least, |n| n.fair)
    } else {
        // Those that are narrow anyway keep their width; the wide ones are cut to one width.
        let mut sorted: Vec<f32> = needs.iter().map(|n| n.least).collect();
        sorted.sort_by(f32::total_cmp);
        let (mut left, mut cap) = (room, room);
        for (i, least) in sorted.iter().enumerate() {
            cap = left / (sorted.len() - i) as f32;
            if *least > cap {
                break;
            }
            left -= least;
        }
        needs.iter().map(|n| n.least.min(cap)).collect()
    };
    (size, columns.into_iter().map(|c| c * size).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_get_what_they_need_and_never_more_than_there_is() {
        let need = |least, fair, natural| Need { least, fair, natural };
        let total = |n: usize, size: f32, w: &[f32]| w.iter().sum::<f32>() + GAP * size * (n - 1) as f32;
        let roomy = [need(3.0, 4.0, 5.0), need(2.0, 13.0, 20.0)];
        let (size, w) = widths(&roomy, 400.0);
        assert_eq!(size, SIZES[0]);
        assert!((w[1] - 20.0 * size).abs() < 0.01);
        let wordy = [need(3.0, 4.0, 5.0), need(2.0, 13.0, 400.0)];
        let (size, w) = widths(&wordy, 400.0);
        assert!((total(2, size, &w) - 400.0).abs() < 0.1);
        let many = [need(9.0, 30.0, 30.0); 12];
        let (size, w) = widths(&many, 400.0);
        assert_eq!(size, SIZES[SIZES.len() - 1]);
        assert!(total(12, size, &w) <= 400.1);
        // One column of a single endless word does not take the others' room.
        let endless = [need(3.0, 4.0, 5.0), need(900.0, 900.0, 900.0), need(2.0, 3.0, 4.0)];
        let (size, w) = widths(&endless, 400.0);
        assert!(w[0] >= 3.0 * size && w[2] >= 2.0 * size);
        assert!((total(3, size, &w) - 400.0).abs() < 0.1);
    }
}
