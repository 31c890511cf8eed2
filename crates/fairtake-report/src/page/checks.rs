//! Is it fair? The checks that do not pass stand first; all of them are listed behind a fold.

use crate::words;
use fairtake_compare::{CheckResult, Findings, Outcome};
use maud::{Markup, html};

/// Of one kind of caution this many are spelt out before the rest goes behind a fold.
const SPELT_OUT: usize = 2;

/// The section.
pub(super) fn section(findings: &Findings) -> Markup {
    let groups = groups(findings);
    let n_fair = findings.checks.iter().filter(|c| c.outcome == Outcome::Fair).count();
    html! {
        section {
            h2 id="fair" { "Is it fair?" }
            @if groups.is_empty() {
                p { "All " (n_fair) " checks are fair." }
            } @else {
                p { (n_fair) " of " (findings.checks.len()) " checks are fair. To heed:" }
                ul.said {
                    @for group in &groups {
                        li { (outcome(group[0].outcome)) div { (spelt(findings, group)) } }
                    }
                }
            }
            details {
                summary { "Every check" }
                div.scroll { table {
                    thead { tr { th { "outcome" } th { "check" } th { "on" } th.n { "measured" } th.n { "limit" } th { "unit" } th { "found" } } }
                    tbody {
                        @for c in &findings.checks {
                            tr {
                                td.keep { (outcome(c.outcome)) }
                                td.keep { (c.code.replace('_', " ")) }
                                td.keep { (place(findings, c)) }
                                td.n { (figure(c.measured)) }
                                td.n { (figure(c.limit)) }
                                td.keep { (c.unit) }
                                td { (c.text) }
                            }
                        }
                    }
                } }
            }
        }
    }
}

/// Checks that do not pass, the worst first, those of one kind together.
fn groups(findings: &Findings) -> Vec<Vec<&CheckResult>> {
    let mut out: Vec<Vec<&CheckResult>> = Vec::new();
    for c in findings.checks.iter().filter(|c| c.outcome != Outcome::Fair) {
        match out.iter_mut().find(|g| g[0].code == c.code && g[0].outcome == c.outcome) {
            Some(group) => group.push(c),
            None => out.push(vec![c]),
        }
    }
    out.sort_by_key(|g| std::cmp::Reverse(g[0].outcome));
    out
}

fn spelt(findings: &Findings, group: &[&CheckResult]) -> Markup {
    html! {
        strong { (group[0].code.replace('_', " ")) }
        @for c in group.iter().take(SPELT_OUT) {
            br; (place(findings, c)) ": " (c.text) "."
        }
        @if group.len() > SPELT_OUT {
            details {
                summary { "and " (group.len() - SPELT_OUT) " more" }
                @for c in group.iter().skip(SPELT_OUT) { (place(findings, c)) ": " (c.text) "." br; }
            }
        }
        br; span.quiet { "What to do: " (group[0].advice) "." }
    }
}

/// What a check was made on.
fn place(findings: &Findings, c: &CheckResult) -> String {
    match (&c.take, c.comparison.and_then(|i| findings.comparisons.get(i))) {
        (Some(take), _) => take.clone(),
        (None, Some(pair)) => super::heading(findings, &pair.reference, &pair.against, &pair.source),
        (None, None) => "the whole".to_string(),
    }
}

/// An outcome as mark and word.
pub fn outcome(o: Outcome) -> Markup {
    let (word, mark) = (
        words::outcome(o),
        match o {
            Outcome::Fair => "✓",
            Outcome::Caution => "!",
            Outcome::Unfair => "✕",
        },
    );
    html! { span class=(format!("mark {word}")) { i aria-hidden="true" { (mark) } (word) } }
}

/// A measured figure or limit.
pub fn figure(value: Option<f64>) -> String {
    value.map_or("unknown".to_string(), |v| {
        let text = if v.abs() >= 100.0 || v.fract() == 0.0 { format!("{v:.0}") } else { format!("{v:.4}") };
        let short = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
        short.replace('-', "−")
    })
}
