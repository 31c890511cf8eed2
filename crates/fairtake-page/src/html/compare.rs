//! The page Compare.

use super::takes::check_table;
use super::{mic, only_measured, shape};
use crate::views::{ComparePage, Found, Named, Other, Pictures, SMOOTHINGS};
use fairtake_compare::{Distance, Finding, MatchBy};
use fairtake_report::figure::Layout;
use fairtake_report::page::{
    alignment, bands, budget, caption, features, key, levels, made, mic_name, regions, verdict,
};
use fairtake_report::words::{self, number};
use maud::{Markup, PreEscaped, html};
use std::hash::{DefaultHasher, Hash, Hasher};

/// By what levels can be matched, as an address has it.
const MATCHES: [(MatchBy, &str); 4] = [
    (MatchBy::Loudness, "loudness"),
    (MatchBy::Midrange, "midrange"),
    (MatchBy::Peak, "peak"),
    (MatchBy::None, "none"),
];

pub(crate) fn compare(page: &ComparePage) -> Markup {
    html! {
        h1 { "Compare" }
        @if page.only_measured { (only_measured()) } @else { (choices(page)) }
        @match &page.found {
            None if page.only_measured => {}
            None => { @if let Some(why) = &page.why_nothing { p.trouble { (why) "." } } },
            Some(found) => (pair(page, found)),
        }
    }
}

fn choices(page: &ComparePage) -> Markup {
    let select = |id: &str, label: &str, chosen: Option<&String>, named: &[Named]| {
        html! {
            label for=(id) { (label) }
            select id=(id) name=(id) { @for n in named { option value=(n.key) selected[Some(&n.key) == chosen] { (n.name) } } }
        }
    };
    let s = &page.settings;
    html! {
        form.choices action="/compare" data-live {
            span { (select("source", "on", page.source.as_ref(), &page.sources)) }
            span { (select("against", "compare", page.against.as_ref(), &page.mics)) }
            span { (select("reference", "with", page.reference.as_ref(), &page.mics)) }
            span {
                label for="match" { "levels matched by" }
                select id="match" name="match" { @for (by, word) in MATCHES { option value=(word) selected[by == s.match_by] { (words::match_by(by)) } } }
            }
            span { label for="margin" { "margin, dB" } input.count type="number" id="margin" name="margin" min="0.01" max="60" step="any" value=(s.margin_db); }
            span {
                label for="bands" { "bands per octave" }
                select id="bands" name="bands" { @for n in SMOOTHINGS { option value=(n) selected[n == s.bands_per_octave] { (n) } } }
            }
            noscript { button type="submit" { "Show" } }
        }
    }
}

fn pair(page: &ComparePage, found: &Found) -> Markup {
    let (f, c) = (&found.findings, &found.comparison);
    let query = super::takes::encoded;
    let bridge =
        format!("/bridge?source={}&from={}&to={}", query(&c.source), query(&c.reference), query(&c.against));
    html! {
        section.pair aria-labelledby="pair" {
            h2 id="pair" { (mic_name(f, &c.against)) " against " (mic_name(f, &c.reference)) }
            @if !found.to_heed.is_empty() {
                details.heed { summary { (words::number_of(found.to_heed.len(), "check")) " to heed, " (found.n_fair) " fair" } (check_table(&found.to_heed)) }
            } @else { p.quiet { "All " (found.n_fair) " checks are fair." } }
            (picture(page, found))
            h3 { "Findings" }
            ul.said.findings { @for finding in &c.findings { (said(finding)) } }
            @if !page.heard.is_empty() {
                h3 { "Heard blind" }
                @for (title, says) in &page.heard { p { span.quiet { (title) ": " } (says.join(" ")) } }
                p { a href="/blind" { "What that does not say" } }
            }
            p { a href=(bridge) { "How much of this is equalising?" } }
            @if let Some(standing) = &found.standing { p.quiet { "What would settle the rest: " (standing.text) "." } }
        }
        @if page.mics.len() > 2 {
            section aria-labelledby="others-of" {
                h2 id="others-of" { "All microphones at once" }
                div id="others" { p.quiet { "being compared …" } }
            }
        }
        details.made { summary { "How it was made" } (made(f, c)) }
        (evidence(page, found))
    }
}

/// The tables that findings and picture rest on. A script that asks for the page gets their digest in their place, and asks
/// for them when they are others than it shows already: they lie below, and are as long as all the rest.
fn evidence(page: &ComparePage, found: &Found) -> Markup {
    let tables = tables(found).into_string();
    let mut digest = DefaultHasher::new();
    tables.hash(&mut digest);
    let later = page.pictures != Pictures::Both;
    html! {
        section id="evidence" data-digest=(format!("{:016x}", digest.finish())) data-later[later] {
            @if !later { (PreEscaped(tables)) }
        }
    }
}

/// The tables alone.
pub(crate) fn tables(found: &Found) -> Markup {
    let (f, c) = (&found.findings, &found.comparison);
    html! {
        div id="regions" { (regions(c)) }
        div id="levels" { (levels(f, c)) }
        div id="features" { (features(f, c)) }
        (alignment(c))
        (budget(c))
        (bands(f, c))
    }
}

/// A finding; what it rests on is shown when it is pressed.
fn said(finding: &Finding) -> Markup {
    let span = finding.from_hz.zip(finding.to_hz);
    let evidence = match (finding.unit.as_str(), span) {
        ("dB", Some(_)) => "regions",
        ("Hz", _) => "features",
        _ => "levels",
    };
    html! {
        li {
            (verdict(finding.verdict))
            button.finding type="button" data-evidence=(evidence) data-from=[span.map(|s| s.0)] data-to=[span.map(|s| s.1)] { (finding.text) "." }
        }
    }
}

/// The picture and what is done with it.
pub(crate) fn picture(page: &ComparePage, found: &Found) -> Markup {
    let whole = page.range_hz.0 <= 20.0 && page.range_hz.1 >= 20_000.0;
    html! {
        figure.picture id="picture" tabindex="0" aria-label="difference corridor; the arrow keys read it out band by band" data-from=(page.range_hz.0) data-to=(page.range_hz.1) {
            @match page.pictures {
                Pictures::Both => {
                    div.wide { (drawn(page, Layout::WIDE)) }
                    div.narrow { (drawn(page, Layout::NARROW)) }
                }
                Pictures::Wide => div.one { (drawn(page, Layout::WIDE)) },
                Pictures::Narrow => div.one { (drawn(page, Layout::NARROW)) },
            }
            p.readout id="readout" role="status" { "Point at the picture, or step through it with ← and →." }
            div.row.tools {
                fieldset.shown { legend.unseen { "What is shown" }
                    @for (part, label) in [("reference", mic_name(&found.findings, &found.comparison.reference)), ("against", mic_name(&found.findings, &found.comparison.against)), ("ranges", "ranges of events"), ("bands", "95 % bands")] {
                        label { input type="checkbox" data-show=(part) checked; " " (label) }
                    }
                }
                span.zooms {
                    button type="button" data-zoom="in" { "Closer" } button type="button" data-zoom="out" disabled[whole] { "Wider" }
                    button type="button" data-zoom="left" disabled[whole] { "Lower" } button type="button" data-zoom="right" disabled[whole] { "Higher" }
                    button type="button" data-zoom="all" disabled[whole] { "Whole axis" }
                }
            }
            (key(&found.comparison))
            figcaption { (caption(&found.findings, &found.comparison)) " Drag over the picture to look closer." }
        }
    }
}

fn drawn(page: &ComparePage, layout: Layout) -> Markup {
    PreEscaped(page.picture(layout).unwrap_or_default())
}

/// Each microphone against the reference in small, and the table of every pair.
pub(crate) fn others(
    source: &str,
    reference: Option<&str>,
    mics: &[Named],
    others: &[Other],
    pairs: &[(usize, usize, Distance)],
) -> Markup {
    let named = |key: &str| mics.iter().find(|m| m.key == key);
    html! {
        @if let Some(reference) = reference {
            h3 { "Each against " @if let Some(m) = named(reference) { (m.name) } }
            div.several { @for other in others { (small(source, reference, other)) } }
        }
        h3 { "How far apart, pair by pair" }
        (distances(mics, pairs))
    }
}

fn small(source: &str, reference: &str, other: &Other) -> Markup {
    let query = super::takes::encoded;
    let to = format!(
        "/compare?source={}&reference={}&against={}",
        query(source),
        query(reference),
        query(&other.against.key)
    );
    html! {
        figure.small-one {
            (PreEscaped(&other.picture))
            figcaption { a href=(to) data-live { (mic(&other.against)) } ": " (apart(&other.distance)) }
        }
    }
}

fn apart(d: &Distance) -> String {
    match (d.mean_db, d.at_least_db) {
        (Some(mean), Some(least)) => {
            format!("{} dB apart on average, at least {} dB", number(Some(mean)), number(Some(least)))
        }
        _ => "nothing known".to_string(),
    }
}

/// Every pair in a table: above the diagonal the mean difference, below what is shown at least.
fn distances(mics: &[Named], pairs: &[(usize, usize, Distance)]) -> Markup {
    let at =
        |i: usize, j: usize| pairs.iter().find(|(a, b, _)| (*a, *b) == (i.min(j), i.max(j))).map(|p| &p.2);
    let cell = |i: usize, j: usize| match at(i, j) {
        Some(d) if i < j => number(d.mean_db),
        Some(d) => number(d.at_least_db),
        None => "–".to_string(),
    };
    html! {
        div.scroll { table.distances {
            caption { "Mean size of the level-matched difference over the octaves with a verdict, in dB: above the diagonal as estimated, below it what is shown at least (the bound of the 95 % band nearer to 0)." }
            thead { tr { th { span.unseen { "microphone" } } @for m in mics { th.n scope="col" { (shape(m.hue)) (m.name) } } } }
            tbody { @for (i, m) in mics.iter().enumerate() { tr { th scope="row" { (mic(m)) } @for j in 0..mics.len() { td.n { (cell(i, j)) } } } } }
        } }
    }
}
