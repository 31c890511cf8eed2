//! One comparison: how it was made, what was found, the picture, the tables.

use super::{heading, heard, tables, verdict};
use crate::bridge::body;
use crate::content;
use crate::figure::{self, Corridor, Layout, Sample, draw};
use crate::heard::Heard;
use fairtake_bridge::Bridge;
use fairtake_compare::{Claim, ComparisonFindings, Findings};
use maud::{Markup, PreEscaped, html};

/// The section of one comparison.
pub(super) fn section(
    findings: &Findings,
    c: &ComparisonFindings,
    index: usize,
    all_heard: &[Heard],
    bridges: &[Bridge],
) -> Markup {
    let bridge = bridges.iter().find(|b| b.is_of(c));
    let corridor = Corridor::new(findings, c);
    html! {
        section {
            h2 id=(format!("pair-{}", index + 1)) { (heading(findings, &c.reference, &c.against, &c.source)) }
            (made(findings, c))
            h3 { "Findings" }
            ul.said { @for f in &c.findings { li { (verdict(f.verdict)) span { (f.text) "." } } } }
            (heard::of_pair(c, all_heard))
            @if let Some(text) = &c.own_words {
                h3 { "In the user's own words" }
                @for line in text.lines().filter(|l| !l.trim().is_empty()) { p.own { (line) } }
            }
            figure {
                div.wide { (PreEscaped(draw(&corridor, &Layout::WIDE))) }
                div.narrow { (PreEscaped(draw(&corridor, &Layout::NARROW))) }
                (key(c))
                figcaption { (caption(findings, c)) }
            }
            (tables::regions(c))
            (tables::levels(findings, c))
            (tables::features(findings, c))
            (tables::alignment(c))
            (tables::budget(c))
            (tables::bands(findings, c))
            @if let Some(bridge) = bridge {
                h3 { "How much is equalising?" }
                (body(findings, bridge))
            }
        }
    }
}

/// How the comparison was made.
pub fn made(findings: &Findings, c: &ComparisonFindings) -> Markup {
    tables::terms(&content::made(findings, c))
}

/// What marks and tints of the picture mean.
pub fn key(c: &ComparisonFindings) -> Markup {
    let sample = |s: &Sample| {
        PreEscaped(format!(
            "<svg viewBox=\"0 0 30 14\" aria-hidden=\"true\"><rect x=\"1\" y=\"1\" width=\"28\" height=\"12\" \
             class=\"{}\"{}/></svg>",
            s.class,
            if s.fill.is_empty() { String::new() } else { format!(" fill=\"url(#{})\"", s.fill) }
        ))
    };
    let widened = c.claim == Claim::TheseTakes && c.bands.iter().any(|b| b.conditional.is_some());
    html! {
        ul.key.small {
            @for s in figure::key(widened) {
                li { @if !s.class.is_empty() { (sample(&s)) } (s.words) }
            }
        }
    }
}

/// What the picture shows.
pub fn caption(findings: &Findings, c: &ComparisonFindings) -> String {
    content::caption(findings, c, "On a wide screen, ")
}
