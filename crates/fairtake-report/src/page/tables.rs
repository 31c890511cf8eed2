//! Writes the tables of one comparison down.

use super::{outcome, verdict};
use crate::content::{self, Cell, Kind, Table};
use fairtake_compare::{ComparisonFindings, Findings};
use maud::{Markup, html};

/// A table as it stands on the page.
pub(crate) fn table(t: &Table) -> Markup {
    html! {
        div.scroll { table {
            @if let Some(caption) = &t.caption { caption { (caption) } }
            thead { tr { @for c in &t.columns {
                @if c.kind == Kind::Number { th.n { (c.name) } } @else { th { (c.name) } }
            } } }
            tbody { @for row in &t.rows {
                tr { @for (c, value) in t.columns.iter().zip(row) {
                    @match c.kind {
                        Kind::Head => th { (cell(value)) },
                        Kind::Number => td.n { (cell(value)) },
                        Kind::Keep => td.keep { (cell(value)) },
                        Kind::Words => td { (cell(value)) },
                    }
                } }
            } }
        } }
    }
}

fn cell(value: &Cell) -> Markup {
    match value {
        Cell::Text(text) => html! { (text) },
        Cell::Code(text) => html! { code { (text) } },
        Cell::Verdict(v) => verdict(*v),
        Cell::Outcome(o) => outcome(*o),
    }
}

/// Terms with what is said of them.
pub(super) fn terms(list: &[(String, String)]) -> Markup {
    html! { dl { @for (name, said) in list { dt { (name) } dd { (said) } } } }
}

/// Regions with their intervals and what would settle them.
pub fn regions(c: &ComparisonFindings) -> Markup {
    html! { h3 { "Regions" } (table(&content::regions(c))) }
}

/// Levels, noise and the shape of events.
pub fn levels(findings: &Findings, c: &ComparisonFindings) -> Markup {
    html! { h3 { "Levels" } (table(&content::levels(findings, c))) }
}

/// Edges of the captured range, peaks and notches.
pub fn features(findings: &Findings, c: &ComparisonFindings) -> Markup {
    html! {
        h3 { "Captured range, peaks and notches" }
        @match content::features(findings, c) {
            Some(t) => (table(&t)),
            None => p.quiet { "None that the takes support." },
        }
    }
}

/// Time and polarity, where the takes were recorded together.
pub fn alignment(c: &ComparisonFindings) -> Markup {
    let Some(a) = &c.alignment else { return html! {} };
    html! {
        h3 { "Time and transfer" }
        p.quiet.small { (content::LEFT_OVER) }
        (terms(&content::alignment(a)))
    }
}

/// What contributes to the uncertainty, region by region.
pub fn budget(c: &ComparisonFindings) -> Markup {
    html! { @if let Some(t) = content::budget(c) { h3 { "Uncertainty budget" } (table(&t)) } }
}

/// Every band, behind a fold.
pub fn bands(findings: &Findings, c: &ComparisonFindings) -> Markup {
    html! { details { summary { "Every band" } (table(&content::bands(findings, c))) } }
}
