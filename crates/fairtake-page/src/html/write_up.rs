//! The page Write up.

use super::field::Field;
use crate::views::WriteUpPage;
use fairtake_files::Place;
use fairtake_report::page::verdict;
use maud::{Markup, html};

pub(crate) fn write_up(page: &WriteUpPage) -> Markup {
    html! {
        h1 { "Write up" }
        @if let Some(why) = &page.why_nothing { p.trouble { (why) "." } }
        @if !page.comparisons.is_empty() {
            p { "Your own words stand beside the findings in the report and are kept in the log. Numbers come from the findings." }
            @for (i, c) in page.comparisons.iter().enumerate() {
                @let place = Place::OwnWords { source: c.source.clone(), reference: c.reference.clone(), against: c.against.clone() };
                section aria-labelledby=(format!("written-{i}")) {
                    h2 id=(format!("written-{i}")) { (c.heading) }
                    ul.said { @for (v, text) in &c.findings { li { (verdict(*v)) span { (text) "." } } } }
                    p { label for=(format!("words-{i}")) { "In your own words" } }
                    (Field { id: format!("words-{i}"), place: &place, key: "text", label: format!("own words on {}", c.heading) }.lines(&c.own_words))
                }
            }
            section aria-labelledby="report" {
                h2 id="report" { "Report" }
                p { "One HTML file that needs nothing else, written into the folder of the shootout." }
                div.row {
                    button.main type="button" id="export" data-replace="false" { "Write report.html" }
                    @if page.report_exists { button type="button" id="export-again" data-replace="true" { "Replace the report that is there" } }
                    a.button href="/report.html" target="_blank" rel="noopener" { "Open it by itself" }
                    a.button href="/findings.json" download="findings.json" { "Findings as JSON" }
                }
                p id="exported" role="status" {}
                iframe.preview src="/report.html" title="the report as it would be written" loading="lazy" {}
            }
        }
    }
}
