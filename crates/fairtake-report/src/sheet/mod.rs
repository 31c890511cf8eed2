//! Data sheets of measured microphones: a page each, in the order of IEC 60268-4; as text for the terminal too.

mod directions;
mod distorting;
pub(crate) mod lines;
pub(crate) mod pairs;

use crate::content::{Cell, Table};
use crate::figure::{Layout, draw_noise, draw_polar, draw_response, may_be_reflected};
use crate::page::{self, STYLE};
use fairtake_calibrated::direction::Direction;
use fairtake_calibrated::sheet::ResponseSheet;
use fairtake_calibrated::{DataSheet, Measurements};
use lines::{PartLines, parts};
use maud::{DOCTYPE, Markup, PreEscaped, html};
use std::fmt::Write;

/// Width of a terminal.
const COLUMNS: usize = 100;

/// All sheets as text, for a terminal of 100 columns.
pub fn text(measurements: &Measurements) -> String {
    let mut out = String::new();
    for sheet in &measurements.sheets {
        let _ = writeln!(out, "{}\n", sheet.name);
        for part in parts(sheet).iter().filter(|p| !is_empty(p)) {
            let _ = writeln!(out, "  {}", part.title);
            for (what, value) in part.table.iter().flat_map(columns_in_words) {
                wrapped(&mut out, &format!("    {what:<48} "), &value);
            }
            for line in &part.lines {
                wrapped(&mut out, &format!("    {:<48} ", line.what), &line.value);
            }
            for remark in &part.remarks {
                wrapped(&mut out, "    ! ", remark);
            }
            out.push('\n');
        }
    }
    if !measurements.pairs.is_empty() {
        let _ = writeln!(out, "{}\n", pairs::TITLE);
        for pair in &measurements.pairs {
            let said = pairs::words(pair);
            wrapped(&mut out, &format!("  {:<50} ", said.names), &said.whole());
        }
        out.push('\n');
    }
    out
}

/// The columns of a table in words, for a terminal that is too narrow for them: head, and what the rows hold.
fn columns_in_words(table: &Table) -> impl Iterator<Item = (String, String)> {
    let head = table.columns[0].name.as_str();
    (1..table.columns.len()).map(move |k| {
        let held = table.rows.iter().filter_map(|row| match (&row[0], &row[k]) {
            (Cell::Text(what), Cell::Text(value)) if value != "–" => Some(format!("{what} {value}")),
            _ => None,
        });
        (format!("{head} {}", table.columns[k].name), held.collect::<Vec<_>>().join("; "))
    })
}

/// Words behind a head, on as many lines of 100 columns as they need, below each other.
fn wrapped(out: &mut String, head: &str, words: &str) {
    let indent = head.chars().count();
    let mut at = indent;
    out.push_str(head);
    for (i, word) in words.split(' ').enumerate() {
        let wide = word.chars().count() + usize::from(i > 0);
        if i > 0 && at + wide > COLUMNS {
            out.push('\n');
            out.extend(std::iter::repeat_n(' ', indent));
            at = indent;
        } else if i > 0 {
            out.push(' ');
        }
        out.push_str(word);
        at += wide;
    }
    out.push('\n');
}

/// Nothing is said in it.
pub(crate) fn is_empty(part: &PartLines) -> bool {
    part.table.is_none() && part.lines.is_empty() && part.remarks.is_empty()
}

/// Title of all sheets together.
pub(crate) fn title(measurements: &Measurements) -> String {
    match measurements.title.as_str() {
        "" => "Microphones, measured".to_string(),
        title => title.to_string(),
    }
}

/// All sheets as one HTML file that needs nothing else.
pub fn page(measurements: &Measurements) -> String {
    let title = title(measurements);
    let markup = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="generator" content=(format!("fairtake {}", measurements.version));
                title { (title) }
                style { (PreEscaped(STYLE)) }
            }
            body { main {
                header { p.quiet { "Fairtake data sheets" } h1 { (title) } p.quiet { (conditions(measurements)) } }
                (sheets(measurements))
            } }
        }
    };
    markup.into_string()
}

/// What held for all.
pub(crate) fn conditions(m: &Measurements) -> String {
    let temperature = match m.temperature_c {
        Some(c) => format!("{c} °C"),
        None => "temperature not logged (20 °C taken)".to_string(),
    };
    let pressure = match m.static_pressure_kpa {
        Some(kpa) => format!("{kpa} kPa"),
        None => "static pressure not logged".to_string(),
    };
    format!("{temperature}, {pressure}. Intervals are 95 %.")
}

/// The sheets, without a page around them.
pub fn sheets(measurements: &Measurements) -> Markup {
    html! { @for sheet in &measurements.sheets { (one(sheet)) } (pairs::section(&measurements.pairs)) }
}

/// What the picture of a response shows.
pub(crate) fn of_response(found: &ResponseSheet) -> String {
    let published = match found.published {
        Some(_) => "; dashed what its maker published, brought to the same level over 250 Hz to 4 kHz",
        None => "",
    };
    format!("Its own response, by substitution, with the 95 % interval at each frequency{published}.")
}

/// What a polar diagram shows.
pub(crate) fn of_direction(found: &Direction) -> String {
    let reflected = match may_be_reflected(found) {
        Some(_) => " Within the dashed ring a level is at most what is drawn: it may be what walls reflect.",
        None => "",
    };
    format!(
        "Level in octaves over the angle at which sound comes, in dB re the front, which is up; measured angles joined by straight \
         lines.{reflected}"
    )
}

/// What the picture of noise shows.
pub(crate) const OF_NOISE: &str = "Noise in third octaves as sound, by the sensitivity at 1 kHz, with the 95 % interval of each. Where it is dashed, other noise may be in it.";

fn one(sheet: &DataSheet) -> Markup {
    html! {
        section.pair.data-sheet id=(format!("sheet-{}", sheet.mic)) {
            h2 { (sheet.name) }
            @if let Some(found) = &sheet.response.found && let Some(wide) = draw_response(&sheet.name, found, &Layout::WIDE) {
                figure {
                    div.wide { (PreEscaped(wide)) }
                    div.narrow { (PreEscaped(draw_response(&sheet.name, found, &Layout::NARROW).unwrap_or_default())) }
                    figcaption { (of_response(found)) }
                }
            }
            @for part in parts(sheet).iter().filter(|p| !is_empty(p)) {
                h3 { (part.title) }
                @if part.title == lines::DIRECTION && let Some(found) = &sheet.direction.found && let Some(polar) = draw_polar(&sheet.name, found) {
                    figure.polar { (PreEscaped(polar)) figcaption { (of_direction(found)) } }
                }
                @if part.title == lines::NOISE && let Some(found) = &sheet.noise.found && let Some(wide) = draw_noise(&sheet.name, found, &Layout::WIDE) {
                    figure {
                        div.wide { (PreEscaped(wide)) }
                        div.narrow { (PreEscaped(draw_noise(&sheet.name, found, &Layout::NARROW).unwrap_or_default())) }
                        figcaption { (OF_NOISE) }
                    }
                }
                @if let Some(table) = &part.table { (page::table(table)) }
                @if !part.lines.is_empty() {
                    div.scroll { table { tbody { @for line in &part.lines {
                        tr { th scope="row" { (line.what) } td {
                            (line.value)
                            @if !line.budget.is_empty() {
                                details { summary.quiet.small { "made of" }
                                    ul.small { @for (from, share) in &line.budget { li { (from) ": " (share) } } }
                                }
                            }
                        } }
                    } } } }
                }
                @if !part.remarks.is_empty() { ul.quiet { @for r in &part.remarks { li { (r) "." } } } }
            }
        }
    }
}
