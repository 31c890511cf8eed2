//! What blind tests showed, beside what was measured.

use fairtake_compare::{ComparisonFindings, Findings};
use fairtake_listen::Score;
use maud::{Markup, html};

/// A blind test with its result.
#[derive(Debug, Clone, PartialEq)]
pub struct Heard {
    /// What its listeners read.
    pub title: String,
    /// Key of the source.
    pub source: String,
    /// Its result.
    pub score: Score,
}

impl Heard {
    /// Two microphones were asked about: those of a comparison.
    pub fn is_of(&self, c: &ComparisonFindings) -> bool {
        let mics = &self.score.mics;
        self.source == c.source && mics.len() == 2 && mics.contains(&c.reference) && mics.contains(&c.against)
    }

    /// A sitting has come to its end.
    pub fn is_done(&self) -> bool {
        self.score.shown.is_some()
    }
}

/// Tests of the two microphones of a comparison.
pub(super) fn of_pair(c: &ComparisonFindings, heard: &[Heard]) -> Markup {
    let own: Vec<&Heard> = heard.iter().filter(|h| h.is_done() && h.is_of(c)).collect();
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
        @if !h.score.does_not_say.is_empty() {
            p { "What that does not say:" }
            ul { @for line in &h.score.does_not_say { li { (line) } } }
        }
    }
}
