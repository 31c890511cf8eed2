//! The report: one HTML file that needs nothing else, for screen, telephone and paper.

mod appendix;
mod checks;
mod heard;
mod pair;
mod tables;

pub use checks::{figure, outcome};
pub use pair::{caption, key, made};
pub(crate) use tables::table;
pub use tables::{alignment, bands, budget, features, levels, regions};

use crate::content;
use crate::figure::patterns;
use crate::heard::Heard;
use crate::words;
use fairtake_bridge::Bridge;
use fairtake_compare::{Findings, Verdict};
use maud::{DOCTYPE, Markup, PreEscaped, html};

/// The style of report and figures: colours of light, dark and print.
pub const STYLE: &str = concat!(
    include_str!("../figure/colours.css"),
    include_str!("style.css"),
    include_str!("../figure/figure.css")
);

/// The report of one run.
pub fn page(findings: &Findings) -> String {
    page_with(findings, &[], &[])
}

/// The same, with what blind tests showed, and how much of a difference is equalising, beside what was measured.
pub fn page_with(findings: &Findings, heard: &[Heard], bridges: &[Bridge]) -> String {
    let title = content::title(findings);
    let body = html! {
        header {
            p.quiet { "Fairtake report" }
            h1 { (title) }
            p.lead { (content::compared(findings)) }
            (contents(findings))
        }
        (checks::section(findings))
        @for (i, c) in findings.comparisons.iter().enumerate() {
            (pair::section(findings, c, i, heard, bridges))
        }
        (heard::others(findings, heard))
        (appendix::section(findings))
    };
    document(findings, &title, &body)
}

/// A file that needs nothing else: the style, the patterns of the figures, and what stands in it.
pub(crate) fn document(findings: &Findings, title: &str, main: &Markup) -> String {
    let markup = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="generator" content=(format!("{} {}", findings.program.name, findings.program.version));
                title { (title) }
                style { (PreEscaped(STYLE)) }
            }
            body { (PreEscaped(patterns())) main { (main) } }
        }
    };
    markup.into_string()
}

fn contents(findings: &Findings) -> Markup {
    html! {
        @if findings.comparisons.len() > 1 {
            nav aria-label="comparisons" {
                ul {
                    @for (i, c) in findings.comparisons.iter().enumerate() {
                        li { a href=(format!("#pair-{}", i + 1)) { (heading(findings, &c.reference, &c.against, &c.source)) } }
                    }
                }
            }
        }
    }
}

/// `B against A: source`, with the names for people.
pub fn heading(findings: &Findings, reference: &str, against: &str, source: &str) -> String {
    content::heading(findings, reference, against, source)
}

/// Name of a microphone for people.
pub fn mic_name<'a>(findings: &'a Findings, id: &'a str) -> &'a str {
    content::mic_name(findings, id)
}

/// A verdict as mark and word.
pub fn verdict(v: Verdict) -> Markup {
    let class = words::verdict(v).replace(' ', "-");
    html! { span class=(format!("mark {class}")) { i aria-hidden="true" { (words::mark(v)) } (words::verdict(v)) } }
}
