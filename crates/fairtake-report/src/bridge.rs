//! The equaliser bridge as a page, tables and words.

use crate::figure::{Corridor, Layout, draw_bridge};
use crate::page::{document, mic_name};
use crate::words::{hertz, signed};
use fairtake_bridge::{Bridge, Shape, in_words, sentences, set_hertz};
use fairtake_compare::Findings;
use fairtake_compare::wording::margin;
use maud::{Markup, PreEscaped, html};
use std::fmt::Write;

/// One HTML file that needs nothing else: picture, sentences and settings of every bridge. The findings hold the comparison
/// of each.
pub fn page(findings: &Findings, bridges: &[Bridge]) -> String {
    let title = match &findings.title {
        Some(title) => format!("{title}: how much is equalising?"),
        None => "How much is equalising?".to_string(),
    };
    let main = html! {
        header { p.quiet { "Fairtake equaliser bridge" } h1 { (title) } }
        @for bridge in bridges { (section(findings, bridge)) }
    };
    document(findings, &title, &main)
}

/// Picture, sentences and settings of one bridge.
pub fn section(findings: &Findings, bridge: &Bridge) -> Markup {
    let source = findings
        .sources
        .iter()
        .find(|s| s.id == bridge.source)
        .map_or(bridge.source.as_str(), |s| s.name.as_str());
    let (from, to) = (mic_name(findings, &bridge.from), mic_name(findings, &bridge.to));
    html! {
        section.pair {
            h2 { (from) " to " (to) ": " (source) }
            (body(findings, bridge))
        }
    }
}

/// The same without its heading.
pub(crate) fn body(findings: &Findings, bridge: &Bridge) -> Markup {
    let of_pair = |c: &&fairtake_compare::ComparisonFindings| {
        c.source == bridge.source && c.reference == bridge.from && c.against == bridge.to
    };
    html! {
            ul { @for said in sentences(bridge, |key| mic_name(findings, key).to_string()) { li { (capital(&said)) "." } } }
            @if let Some(c) = findings.comparisons.iter().find(of_pair) {
                @let corridor = Corridor::new(findings, c);
                figure {
                    div.wide { (PreEscaped(draw_bridge(&corridor, bridge, &Layout::WIDE))) }
                    div.narrow { (PreEscaped(draw_bridge(&corridor, bridge, &Layout::NARROW))) }
                    figcaption { "Above: the level-matched difference with its 95 % interval band by band, the smoothest correction, and the equaliser. Below: what remains after the correction, with the 95 % interval that holds for all bands at once, and the verdict on it against the margin of " (margin(bridge.margin_db)) " dB, the lane around 0." }
                }
            }
            (settings(bridge))
    }
}

fn settings(bridge: &Bridge) -> Markup {
    html! {
        p.quiet { "The equaliser, and what each band buys: what remains, root mean square over octaves. Bands are added in the order of what they buy and fitted anew each time; they stand here low to high." }
        div.beside {
        div.scroll { table {
            caption { "The equaliser" }
            thead { tr { th { "band" } th.n { "frequency" } th.n { "gain, dB" } th.n { "Q" } } }
            tbody {
                tr { th scope="row" { "gain of all" } td.n {} td.n { (signed(bridge.equaliser.gain_db)) } td.n {} }
                @for b in &bridge.equaliser.bands { tr {
                    th scope="row" { (shape(b.shape)) }
                    td.n { (set_hertz(b.hz)) }
                    td.n { (signed(b.gain_db)) }
                    td.n { @if b.shape == Shape::Peak { (format!("{:.2}", b.q)) } }
                } }
            }
        } }
        div.scroll { table {
            caption { "What each band buys" }
            thead { tr { th.n { "bands" } th.n { "remains, dB" } } }
            tbody { @for s in &bridge.steps { tr { td.n { (s.bands) } td.n { (format!("{:.2}", s.remaining_rms_db)) } } } }
        } }
        }
    }
}

pub(crate) fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or(String::new(), |first| first.to_uppercase().chain(letters).collect())
}

fn shape(shape: Shape) -> &'static str {
    match shape {
        Shape::LowShelf => "low shelf",
        Shape::Peak => "peak",
        Shape::HighShelf => "high shelf",
    }
}

/// The equaliser as CSV, one line a band: shape, frequency in Hz, gain in dB, Q.
pub fn bands_csv(bridge: &Bridge) -> String {
    let mut out = String::from("shape,frequency_hz,gain_db,q\n");
    let _ = writeln!(out, "gain of all,,{:.2},", bridge.equaliser.gain_db);
    for b in &bridge.equaliser.bands {
        let _ = writeln!(out, "{},{:.1},{:.2},{:.2}", shape(b.shape), b.hz, b.gain_db, b.q);
    }
    out
}

/// The smoothest correction as CSV: frequency in Hz and gain in dB at the middle of every band that is known.
pub fn correction_csv(bridge: &Bridge) -> String {
    let mut out = String::from("frequency_hz,gain_db\n");
    for b in &bridge.bands {
        let _ = writeln!(out, "{:.2},{:.2}", (b.from_hz * b.to_hz).sqrt(), b.correction_db);
    }
    out
}

/// The equaliser in words that any console can be set by.
pub fn settings_text(bridge: &Bridge, from: &str, to: &str) -> String {
    let mut out =
        format!("To carry {from} to {to}:\n\n  gain of all: {} dB\n", signed(bridge.equaliser.gain_db));
    for (i, b) in bridge.equaliser.bands.iter().enumerate() {
        let _ = writeln!(out, "  {}. {}", i + 1, in_words(b));
    }
    out.push_str("\nWhat each band buys (what remains, root mean square over octaves):\n\n");
    for s in &bridge.steps {
        let bands = if s.bands == 1 { "1 band".to_string() } else { format!("{} bands", s.bands) };
        let _ = writeln!(out, "  {bands:8}  {:.2} dB", s.remaining_rms_db);
    }
    if let (Some(first), Some(last)) = (bridge.bands.first(), bridge.bands.last()) {
        let _ = writeln!(
            out,
            "\nThe difference is known from {} to {}. The equaliser acts beyond that too, on what is not known.",
            hertz(first.from_hz),
            hertz(last.to_hz)
        );
    }
    out
}
