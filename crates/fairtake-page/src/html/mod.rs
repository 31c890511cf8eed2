//! Writes views down. No number is computed here.

mod bridge;
mod compare;
mod field;
mod listen;
mod measure;
mod measured_takes;
mod plan;
mod takes;
mod write_up;

pub(crate) use bridge::bridge;
pub(crate) use compare::{compare, others, picture, tables};
pub(crate) use listen::listen;
pub(crate) use measure::measure;
pub(crate) use plan::plan;
pub(crate) use takes::takes;
pub(crate) use write_up::write_up;

use crate::trouble::Trouble;
use crate::views::{Frame, Named, Step, View};
use fairtake_report::figure::patterns;
use maud::{DOCTYPE, Markup, PreEscaped, html};

/// A whole page.
pub(crate) fn page<V: View>(frame: &Frame, view: &V) -> Markup {
    let (word, _) = V::STEP.named();
    document(
        &format!("{word} · {}", frame.title),
        frame.news,
        html! {
            (PreEscaped(patterns()))
            a.skip href="#main" { "To the work" }
            header.top {
                p.shootout title=(frame.title) { (frame.title) }
                nav aria-label="steps of the work" {
                    ol.steps {
                        @for step in Step::ALL {
                            @let (word, address) = step.named();
                            li { a href=(address) aria-current=[(step == frame.step).then_some("page")] { (word) } }
                        }
                    }
                }
                p.state role="status" id="state" {}
            }
            @if let Some(what) = &frame.log_trouble {
                div.trouble role="alert" { p { strong { "The log cannot be read. " } "Mend it by hand; the page goes on as soon as it is saved." } pre { (what) } }
            }
            (main(frame, view))
            @if frame.has_link {
                footer.links {
                    span { "Others can open this page by its link." }
                    button type="button" id="end-links" { "End all links" }
                }
            }
        },
    )
}

/// The main part of a page. It carries the title, which another window may have changed.
pub(crate) fn main<V: View>(frame: &Frame, view: &V) -> Markup {
    html! { main id="main" data-title=(frame.title) class=(V::STEP.named().1.trim_start_matches('/')) tabindex="-1" { (view.html()) } }
}

/// A page that says what went wrong.
pub(crate) fn trouble(trouble: &Trouble, news: u64) -> Markup {
    document(
        "Not done",
        news,
        html! {
            header.top {
                nav aria-label="steps of the work" {
                    ol.steps { @for step in Step::ALL { @let (word, address) = step.named(); li { a href=(address) { (word) } } } }
                }
                p.state role="status" id="state" {}
            }
            main id="main" tabindex="-1" {
                h1 { "This could not be done" }
                pre.said { (trouble.what) }
                p { (trouble.hint) "." }
            }
        },
    )
}

fn document(title: &str, news: u64, body: Markup) -> Markup {
    framed(title, "page", &html! {}, &html! { body data-news=(news) { (body) } })
}

/// A whole document: what it is called, the script that brings it to life, what else its head holds, and the body.
pub(crate) fn framed(title: &str, script: &str, head: &Markup, body: &Markup) -> Markup {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) }
                link rel="stylesheet" href="/web/report.css";
                link rel="stylesheet" href="/web/page.css";
                (head)
                link rel="icon" href="data:,";
                script type="module" src=(format!("/web/{script}.js")) {}
            }
            (body)
        }
    }
}

/// Why there is nothing on a page of comparisons: the folder holds something else.
pub(crate) fn only_measured() -> Markup {
    html! {
        p { "This folder holds measurements of microphones by themselves: they stand under " a href="/measure" { "Measure" } ". Nothing is wrong, and nothing here is needed for them. To compare microphones on a source too, drop recordings of it under " a href="/takes" { "Takes" } "." }
    }
}

/// The shape of a microphone in its hue: told apart without colour too.
pub(crate) fn shape(hue: usize) -> Markup {
    // Beyond six microphones a hue comes again with another shape.
    let drawn = match (hue + hue / 6) % 6 {
        0 => "<circle cx=\"10\" cy=\"10\" r=\"7\"/>",
        1 => "<rect x=\"3.6\" y=\"3.6\" width=\"12.8\" height=\"12.8\"/>",
        2 => "<path d=\"M10 2.5L18 16.5H2Z\"/>",
        3 => "<path d=\"M10 1.8L18.2 10L10 18.2L1.8 10Z\"/>",
        4 => "<path d=\"M7 2.5H13V7H17.5V13H13V17.5H7V13H2.5V7H7Z\"/>",
        _ => "<path d=\"M5.8 2.7H14.2L18.4 10L14.2 17.3H5.8L1.6 10Z\"/>",
    };
    PreEscaped(format!(
        "<svg class=\"shape hue{}\" viewBox=\"0 0 20 20\" width=\"20\" height=\"20\" aria-hidden=\"true\">{drawn}</svg>",
        hue % 6
    ))
}

/// A microphone by shape and name.
pub(crate) fn mic(named: &Named) -> Markup {
    html! { span.mic { (shape(named.hue)) (named.name) } }
}
