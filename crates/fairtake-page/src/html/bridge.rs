//! The page on how much is equalising.

use super::only_measured;
use super::takes::encoded;
use crate::views::{BridgePage, FoundBridge, Named};
use fairtake_audition::LeftOver;
use fairtake_bridge::USUAL_LIMITS;
use fairtake_report::bridge::section;
use fairtake_report::page::mic_name;
use fairtake_report::words::signed;
use maud::{Markup, html};

/// A filter that makes two microphones cancel better by less than this, in dB, does not help them cancel (assumption).
const LITTLE_DB: f64 = 0.5;

pub(crate) fn bridge(page: &BridgePage) -> Markup {
    html! {
        h1 { "How much is equalising?" }
        p.quiet { "What an equaliser on the one microphone would carry of its difference to the other, and what remains. Tried on placements, or on events, that were not used to set it. The margin is that of the plan, level match and bands are the standard ones; what the comparison was set to does not count here." }
        @if page.only_measured { (only_measured()) } @else { (choices(page)) }
        @match &page.found {
            None if page.only_measured => {}
            None => { @if let Some(why) = &page.why_nothing { p.trouble { (why) "." } } },
            Some(found) => (shown(page, found)),
        }
    }
}

fn choices(page: &BridgePage) -> Markup {
    let select = |id: &str, label: &str, chosen: Option<&String>, named: &[Named]| {
        html! {
            label for=(id) { (label) }
            select id=(id) name=(id) { @for n in named { option value=(n.key) selected[Some(&n.key) == chosen] { (n.name) } } }
        }
    };
    html! {
        form.choices action="/bridge" data-live {
            span { (select("source", "on", page.source.as_ref(), &page.sources)) }
            span { (select("from", "correct", page.from.as_ref(), &page.mics)) }
            span { (select("to", "to be like", page.to.as_ref(), &page.mics)) }
            span { label for="boost" { "no boost above, dB" } input.count type="number" id="boost" name="boost" min="0" max="40" step="any" value=(page.most_boost_db); }
            span { label for="bands" { "bands at most" } input.count type="number" id="bands" name="bands" min="0" max="12" step="1" value=(page.most_bands); }
            noscript { button type="submit" { "Show" } }
        }
    }
}

/// The address of what the page shows, with another path.
fn address(page: &BridgePage, path: &str) -> String {
    let of = |key: &Option<String>| encoded(key.as_deref().unwrap_or_default());
    format!(
        "{path}?source={}&from={}&to={}&boost={}&bands={}",
        of(&page.source),
        of(&page.from),
        of(&page.to),
        page.most_boost_db,
        page.most_bands
    )
}

fn shown(page: &BridgePage, found: &FoundBridge) -> Markup {
    let name =
        |key: &Option<String>| mic_name(&found.findings, key.as_deref().unwrap_or_default()).to_string();
    let file = address(page, "/bridge/file");
    let listen = format!("/listen?source={}", encoded(page.source.as_deref().unwrap_or_default()));
    let compare = format!(
        "/compare?source={}&reference={}&against={}",
        encoded(page.source.as_deref().unwrap_or_default()),
        encoded(page.from.as_deref().unwrap_or_default()),
        encoded(page.to.as_deref().unwrap_or_default())
    );
    html! {
        (section(&found.findings, &found.bridge))
        @if let Some(left) = &found.left { (taken_away(left, &name(&page.from), &name(&page.to))) }
        section aria-labelledby="to-take-along" {
            h2 id="to-take-along" { "To take along" }
            ul { @for (name, what, told) in &found.files {
                li { a href=(format!("{file}&file={name}")) download { (name) } ": " (what) @if let Some(told) = told { " (" (told) ")" } "." }
            } }
            p.quiet { "Try a correction quiet first: a boost is louder than what you are used to. "
                @if (page.most_boost_db, page.most_bands) == USUAL_LIMITS { a href=(listen) { "Listen" } " to corrections beside their microphones. " }
                a href=(compare) { "Back to the comparison" } "." }
        }
    }
}

fn taken_away(left: &LeftOver, from: &str, to: &str) -> Markup {
    html! {
        section aria-labelledby="taken-away" {
            h2 id="taken-away" { "Taken away from each other" }
            p { "They were recorded together, so that " (from) " can be taken from " (to) ". What is left then, re the energy of " (to) ", over " (format!("{:.0}", left.seconds)) " s of the takes by which the equaliser was set:" }
            div.scroll { table {
                thead { tr { th { "after" } th.n { "left, dB" } } }
                tbody {
                    tr { th scope="row" { "gain and delay alone" } td.n { (signed(left.without_db)) } }
                    tr { th scope="row" { "the equaliser" } td.n { (signed(left.equaliser_db)) } }
                    tr { th scope="row" { "the smoothest correction" } td.n { (signed(left.correction_db)) } }
                }
            } }
            p.quiet {
                @if left.without_db - left.equaliser_db.min(left.correction_db) < LITTLE_DB {
                    "No filter makes them cancel better by " (LITTLE_DB) " dB or more: what keeps them apart here is what such filters do not carry, phase, what happens in time, distortion, noise, sound from other directions."
                } @else {
                    "What is left is what no such filter carries: phase, what happens in time, distortion, noise, sound from other directions."
                }
            }
        }
    }
}
