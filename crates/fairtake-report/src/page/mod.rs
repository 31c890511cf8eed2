//! The report: one HTML file that needs nothing else, for screen, telephone and paper.

mod appendix;
mod checks;
mod pair;
mod tables;

pub use checks::{figure, outcome};
pub use pair::{caption, key, made};
pub use tables::{alignment, bands, budget, features, levels, regions};

use crate::figure::patterns;
use crate::words;
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
    let title = findings.title.clone().unwrap_or_else(|| bare_title(findings));
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
            body {
                (PreEscaped(patterns()))
                main {
                    header {
                        p.quiet { "Fairtake report" }
                        h1 { (title) }
                        p.lead { (compared(findings)) }
                        (contents(findings))
                    }
                    (checks::section(findings))
                    @for (i, c) in findings.comparisons.iter().enumerate() {
                        (pair::section(findings, c, i))
                    }
                    (appendix::section(findings))
                }
            }
        }
    };
    markup.into_string()
}

/// Title where the takes have no log.
fn bare_title(findings: &Findings) -> String {
    let names: Vec<&str> = findings.mics.iter().map(|m| m.name.as_str()).collect();
    format!("{} compared", names.join(" and "))
}

/// What was compared, in one sentence.
fn compared(findings: &Findings) -> String {
    let number =
        |n: usize, one: &str, many: &str| if n == 1 { format!("one {one}") } else { format!("{n} {many}") };
    format!(
        "{} in {} on {}: {}. A difference is called different only where it is larger than re-placing and re-playing \
         make by themselves; margin {} dB.",
        number(findings.mics.len(), "microphone", "microphones"),
        number(findings.takes.len(), "take", "takes"),
        number(findings.sources.len(), "source", "sources"),
        number(findings.comparisons.len(), "comparison", "comparisons"),
        findings.settings.margin_db
    )
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

/// `B against A on source`, with the names for people.
pub fn heading(findings: &Findings, reference: &str, against: &str, source: &str) -> String {
    let on = findings.sources.iter().find(|s| s.id == source).map_or(source, |s| s.name.as_str());
    let pair = format!("{} against {}", mic_name(findings, against), mic_name(findings, reference));
    // Bare files have no source to name.
    if findings.title.is_none() { pair } else { format!("{pair}: {on}") }
}

/// Name of a microphone for people.
pub fn mic_name<'a>(findings: &'a Findings, id: &'a str) -> &'a str {
    findings.mics.iter().find(|m| m.id == id).map_or(id, |m| m.name.as_str())
}

/// A verdict as mark and word.
pub fn verdict(v: Verdict) -> Markup {
    let class = words::verdict(v).replace(' ', "-");
    html! { span class=(format!("mark {class}")) { i aria-hidden="true" { (words::mark(v)) } (words::verdict(v)) } }
}
