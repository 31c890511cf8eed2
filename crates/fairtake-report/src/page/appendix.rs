//! How it was computed: takes, settings, method.

use super::tables::{table, terms};
use crate::content;
use fairtake_compare::Findings;
use maud::{Markup, html};

/// The appendix.
pub(super) fn section(findings: &Findings) -> Markup {
    html! {
        section {
            h2 id="method" { "How it was computed" }
            @for said in content::METHOD { p { (said) } }
            p { (content::ABOUT) }
            h3 { "Settings" }
            (terms(&content::settings(findings)))
            h3 { "Takes" }
            (table(&content::takes(findings)))
        }
    }
}
