//! What blind tests showed, as part of the page.

use crate::heard::{self, Heard};
use fairtake_compare::{ComparisonFindings, Findings};
use maud::{Markup, html};

/// Tests of the two microphones of a comparison.
pub(super) fn of_pair(c: &ComparisonFindings, heard: &[Heard]) -> Markup {
    let own = heard::of_pair(c, heard);
    html! {
        @if !own.is_empty() { h3 { "Heard blind" } }
        @for h in own { (one(h)) }
    }
}

/// Tests of more microphones, or of a pair that is not compared here.
pub(super) fn others(findings: &Findings, heard: &[Heard]) -> Markup {
    let is_shown = |h: &&Heard| findings.comparisons.iter().any(|c| h.is_of(c));
    let own: Vec<&Heard> = heard.iter().filter(|h| h.is_done() && !is_shown(h)).collect();
    html! {
        @if !own.is_empty() {
            section { h2 { "Heard blind" } @for h in own { (one(h)) } }
        }
    }
}

fn one(h: &Heard) -> Markup {
    html! {
        p.quiet { (h.title) }
        ul { @for line in &h.score.says { li { (line) } } }
        @for set in &h.equalisers { p { (set) "." } }
        @if !h.score.does_not_say.is_empty() {
            p { "What that does not say:" }
            ul { @for line in &h.score.does_not_say { li { (line) } } }
        }
    }
}
