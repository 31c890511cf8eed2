//! Is it fair? The checks that do not pass stand first; all of them are listed behind a fold.

use super::tables::table;
use crate::content;
use crate::words;
use fairtake_compare::{Findings, Outcome};
use maud::{Markup, html};

/// Of one kind of caution this many are spelt out before the rest goes behind a fold.
const SPELT_OUT: usize = 2;

/// The section.
pub(super) fn section(findings: &Findings) -> Markup {
    let groups = content::heeded(findings);
    html! {
        section {
            h2 id="fair" { "Is it fair?" }
            p { (content::standing(findings)) }
            @if !groups.is_empty() {
                ul.said { @for group in &groups { li { (outcome(group.outcome)) div { (spelt(group)) } } } }
            }
            details { summary { "Every check" } (table(&content::every_check(findings, |_| true))) }
        }
    }
}

fn spelt(group: &content::Heeded) -> Markup {
    html! {
        strong { (group.name) }
        @for found in group.found.iter().take(SPELT_OUT) { br; (found) }
        @if group.found.len() > SPELT_OUT {
            details {
                summary { "and " (group.found.len() - SPELT_OUT) " more" }
                @for found in group.found.iter().skip(SPELT_OUT) { (found) br; }
            }
        }
        br; span.quiet { (group.advice) }
    }
}

/// An outcome as mark and word.
pub fn outcome(o: Outcome) -> Markup {
    let word = words::outcome(o);
    html! { span class=(format!("mark {word}")) { i aria-hidden="true" { (content::outcome_mark(o)) } (word) } }
}

/// A measured figure or limit.
pub fn figure(value: Option<f64>) -> String {
    content::figure(value)
}
