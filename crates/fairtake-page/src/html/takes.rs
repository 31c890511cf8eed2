//! The page Takes.

use super::field::{Field, remove};
use super::{mic, only_measured, shape};
use crate::views::{Event, Group, Named, TakeRow, TakesPage, Waiting, Wave, step_words};
use fairtake_compare::{CheckResult, Outcome, Role};
use fairtake_files::Place;
use fairtake_report::page::{figure, outcome};
use fairtake_report::words::{number, number_of};
use maud::{Markup, PreEscaped, html};
use std::fmt::Write;

/// Words for roles, as the log has them.
pub(super) const ROLES: [(&str, &str); 4] =
    [("compared", "compared"), ("witness", "witness"), ("room-tone", "room tone"), ("bleed", "bleed")];
/// A recording that is not shorter than this may hold several microphones, in seconds.
const LONG_S: f64 = 20.0;
/// Size of the drawn waveform.
const WAVE: (f64, f64) = (1000.0, 150.0);

pub(crate) fn takes(page: &TakesPage) -> Markup {
    html! {
        h1 { "Takes" }
        (drop_here())
        @if page.waiting.iter().any(|w| !w.is_cut) { (waiting(page)) }
        @for (file, why) in &page.not_opened {
            p.trouble role="alert" { strong { (file) } " is in the log and cannot be used: it " (why) ". Nothing was changed; put the file back, or take it out of the log." }
        }
        @if let Some(open) = &page.open { (look(page, open)) }
        @for group in page.groups.iter().filter(|g| !g.takes.is_empty() || !g.missing.is_empty()) { (of_source(page, group)) }
        @if page.only_measured && page.waiting.is_empty() {
            (only_measured())
        } @else if page.groups.iter().all(|g| g.takes.is_empty()) && page.waiting.is_empty() {
            p { "No take is logged yet. Drop recordings above, or record into the folder; " a href="/plan" { "a plan" } " says what to record and in which order." }
        }
    }
}

fn drop_here() -> Markup {
    html! {
        div.drop id="drop" {
            p { strong { "Drop recordings here" } ", or " label.button for="files" { "choose files" }
                input type="file" id="files" multiple accept="audio/*,.wav,.rf64,.bw64,.aif,.aiff,.flac,.ogg,.mp3,.m4a"; "." }
            p.quiet.small { "They are copied into the folder and hashed; nothing is overwritten. Names such as "
                code { "drum-moorhen-2" } " (source, microphone, placement) are read." }
            ul.progress id="incoming" aria-live="polite" {}
        }
    }
}

fn waiting(page: &TakesPage) -> Markup {
    html! {
        section aria-labelledby="waiting" {
            h2 id="waiting" { "Whose are these?" }
            p.quiet { "Files in the folder that the log does not list yet. What name and metadata suggest is filled in." }
            @if page.mics.is_empty() || page.sources.is_empty() {
                p { "First name your microphones and what was recorded:" }
                div.row { (new_entry("mics", "microphone")) (new_entry("sources", "source")) }
            } @else {
                form id="assign" {
                    div.scroll { table {
                        thead { tr { th { "file" } th { "microphone" } th { "source" } th.n { "placement" } th.n { "performance" } th { "role" } th.n { "gain, dB" } th { "take it in" } } }
                        tbody { @for w in page.waiting.iter().filter(|w| !w.is_cut) { (waiting_rows(page, w)) } }
                    } }
                    div.row {
                        button.main type="submit" { "Enter in the log" }
                        details.inline { summary { "A microphone or source that is not in the lists" }
                            div.row { (new_entry("mics", "microphone")) (new_entry("sources", "source")) } }
                    }
                }
                @for w in page.waiting.iter().filter(|w| !w.is_cut && w.channels.len() == 1 && w.seconds >= LONG_S) { (cut_form(page, w)) }
            }
        }
    }
}

/// One long recording, to be cut where microphones were changed.
fn cut_form(page: &TakesPage, w: &Waiting) -> Markup {
    let id = |what: &str| format!("cut-{what}-{}", w.file);
    html! {
        details {
            summary { "Cut " (w.file) " where microphones were changed" }
            form.cut data-file=(w.file) {
                div.choices {
                    span { label for=(id("source")) { "source" } (pick_named(&id("source"), "source", only(&page.sources), &page.sources)) }
                    span { label for=(id("by")) { "cut at" } select id=(id("by")) name="by" {
                        option value="gaps" { "gaps" }
                        @if w.n_markers > 0 { option value="markers" selected { (number_of(w.n_markers, "marker")) " in the file" } }
                        option value="list" { "a list that you type" }
                    } }
                    span data-by="gaps" { label for=(id("gap_s")) { "quiet for, s" } input.count type="number" id=(id("gap_s")) name="gap_s" value="5" min="0.1" step="any"; }
                    span data-by="gaps" { label for=(id("quiet")) { "below, dBFS" } input.count type="number" id=(id("quiet")) name="quiet_dbfs" value="-50" max="0" step="any"; }
                }
                p data-by="list" { label for=(id("list")) { "one part a line, as " code { "1:30 moorhen" } } textarea id=(id("list")) name="list" rows="4" {} }
                template { select { option value="" { "choose…" } @for m in &page.mics { option value=(m.key) { (m.name) } } } }
                ol.parts {}
                div.row { button type="submit" { "Show the parts" } button.main type="button" data-cut hidden { "Cut, and enter the parts in the log" } }
                p.quiet.small { "Nothing is written before you say so; the long recording stays as it is. The two seconds before a part go with it, for its noise." }
            }
        }
    }
}

fn pick_named(id: &str, name: &str, chosen: Option<&str>, named: &[Named]) -> Markup {
    html! { select id=(id) name=(name) { @for n in named { option value=(n.key) selected[Some(n.key.as_str()) == chosen] { (n.name) } } } }
}

/// A field for a new microphone or source.
pub(super) fn new_entry(group: &str, what: &str) -> Markup {
    html! {
        span.new {
            label for=(format!("new-{group}")) { "new " (what) " " }
            input type="text" id=(format!("new-{group}")) data-new=(group) autocomplete="off" spellcheck="false" placeholder="name";
            button type="button" data-add=(group) { "Add" }
        }
    }
}

fn waiting_rows(page: &TakesPage, w: &Waiting) -> Markup {
    if let Some(trouble) = &w.trouble {
        return html! { tr { td.file { (w.file) } td colspan="7" { "cannot be used: it " (trouble) } } };
    }
    html! {
        @for c in &w.channels {
            @let id = format!("{}:{}", w.file, c.channel);
            @let label = |what: &str| format!("{what} of {id}");
            tr data-file=(w.file) data-channel=(c.channel) data-order=(c.order) {
                td.file { (w.file) @if w.channels.len() > 1 { ", channel " (c.channel) }
                    br; span.quiet.small { (format!("{:.1} s, {} Hz", w.seconds, w.rate_hz)) } }
                td { (pick(&label("microphone"), "mic", c.mic.as_deref(), &page.mics)) }
                td { (pick(&label("source"), "source", c.source.as_deref().or(only(&page.sources)), &page.sources)) }
                td.n { input.count type="number" min="1" step="1" name="placement" value=(c.placement) aria-label=(label("placement")); }
                td.n { input.count type="number" min="1" step="1" name="performance" value=(c.performance) aria-label=(label("performance")); }
                td { select name="role" aria-label=(label("role")) {
                    @for (role, (word, shown)) in ROLE_ORDER.iter().zip(ROLES) { option value=(word) selected[*role == c.role] { (shown) } }
                } }
                td.n { input.count type="number" step="any" name="gain_db" aria-label=(label("gain")); }
                td { label { input type="checkbox" name="take" checked[c.mic.is_some() && c.source.is_some()] aria-label=(label("take in")); } }
            }
        }
    }
}

const ROLE_ORDER: [Role; 4] = [Role::Compared, Role::Witness, Role::RoomTone, Role::Bleed];

fn only(named: &[Named]) -> Option<&str> {
    match named {
        [one] => Some(&one.key),
        _ => None,
    }
}

fn pick(label: &str, name: &str, chosen: Option<&str>, named: &[Named]) -> Markup {
    html! {
        select name=(name) aria-label=(label) {
            option value="" { "choose…" }
            @for n in named { option value=(n.key) selected[Some(n.key.as_str()) == chosen] { (n.name) } }
        }
    }
}

fn of_source(page: &TakesPage, group: &Group) -> Markup {
    let mics: Vec<(&str, &str)> = page.mics.iter().map(|m| (m.key.as_str(), m.name.as_str())).collect();
    html! {
        section aria-labelledby=(format!("source-{}", group.source.key)) {
            h2 id=(format!("source-{}", group.source.key)) { (group.source.name) }
            @if !group.missing.is_empty() {
                div.missing { p { strong { "Still to record, by the plan:" } }
                    ol { @for step in &group.missing { li { (step_words(&page.mics, &step.set_up)) } } } }
            } @else if group.is_planned { p.quiet { "All that was planned is recorded." } }
            @if !group.takes.is_empty() {
                div.scroll { table.takes {
                    thead { tr { th { "take" } th { "fair?" } th { "microphone" } th.n { "place-" br; "ment" } th.n { "perfor-" br; "mance" } th.n { "order" } th { "spot" } th { "role" }
                        th.n { "gain," br; "dB" } th.n { "length" } th.n { "events" } th.n { "peak," br; "dBFS" } th { span.unseen { "take out" } } } }
                    tbody { @for t in &group.takes { (take_row(page, t, &mics)) } }
                } }
            }
        }
    }
}

fn take_row(page: &TakesPage, t: &TakeRow, mics: &[(&str, &str)]) -> Markup {
    let place = Place::Take { file: t.file.clone(), channel: t.channel };
    let field = |key: &'static str, label: &str| Field {
        id: format!("{key}-{}", t.id),
        place: &place,
        key,
        label: format!("{label} of {}", t.file),
    };
    let is_open = page.open.as_ref().is_some_and(|o| o.row.id == t.id);
    let key = page.mics.iter().find(|m| m.name == t.mic).map_or("", |m| m.key.as_str());
    html! {
        tr.open[is_open] {
            th.file scope="row" { a href=(look_at(&t.id)) id=(format!("look-{}", t.id)) data-live { (t.file.trim_start_matches("takes/")) } @if t.channel > 1 { ", ch. " (t.channel) } }
            td.keep { a href=(look_at(&t.id)) data-live { (outcome(t.outcome)) @if t.n_remarks > 1 { " (" (t.n_remarks) ")" } } }
            td.keep { span.mic { (shape(t.hue)) (field("mic", "microphone").choice(key, mics)) } }
            td.n { (field("placement", "placement").number(Some(f64::from(t.placement)), "1")) }
            td.n { (field("performance", "performance").number(Some(f64::from(t.performance)), "1")) }
            td.n { (field("order", "order").number(t.order.map(f64::from), "1")) }
            td { (field("position", "spot").text(t.position.as_deref().unwrap_or(""))) }
            td { (field("role", "role").choice(role_word(t.role), &ROLES)) }
            td.n { (field("gain_db", "gain").number(t.gain_db, "any")) }
            td.n { (format!("{:.1} s", t.seconds)) }
            td.n { (t.events.0) @if t.events.0 != t.events.1 { " of " (t.events.1) } }
            td.n { (number(t.sample_peak_dbfs)) }
            td { (remove(&place, &t.file)) }
        }
    }
}

fn role_word(role: Role) -> &'static str {
    ROLE_ORDER.iter().zip(ROLES).find(|(r, _)| **r == role).map_or("compared", |(_, (word, _))| word)
}

fn look_at(id: &str) -> String {
    format!("/takes?take={}", encoded(id))
}

/// For an address: everything but letters, digits and a few signs as %XX.
pub(super) fn encoded(text: &str) -> String {
    text.bytes()
        .map(|b| match b {
            b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'-' | b'_' | b'.' | b'/' | b':' => {
                (b as char).to_string()
            }
            _ => format!("%{b:02X}"),
        })
        .collect()
}

fn look(page: &TakesPage, open: &crate::views::Open) -> Markup {
    let row = &open.row;
    let place = Place::Take { file: row.file.clone(), channel: row.channel };
    let hue = page.mics.iter().find(|m| m.hue == row.hue);
    let onsets: Vec<f64> = match &open.by_hand {
        Some(onsets) => onsets.clone(),
        None => open.events.iter().map(|e| e.onset_s).collect(),
    };
    html! {
        section.look aria-labelledby="look" {
            div.between { h2 id="look" { (row.file) @if row.channel > 1 { ", channel " (row.channel) } }
                a.button href="/takes" data-live { "Close" } }
            p { @if let Some(m) = hue { (mic(m)) ", " } "placement " (row.placement) "; " (open.format) ", " (open.rate_hz) " Hz, " (format!("{:.2}", row.seconds)) " s; SHA-256 begins " code { (open.sha256.get(..12).unwrap_or("")) } }
            div.wave id="wave" data-seconds=(open.wave.seconds) data-place=(serde_json::json!(place)) data-onsets=(serde_json::json!(onsets))
                data-was=(serde_json::json!(open.by_hand)) {
                (PreEscaped(drawn(&open.wave, &open.events, row.hue)))
            }
            p.quiet.small id="wave-help" {
                (number_of(row.events.0, "event")) " used of " (row.events.1) " found"
                @if open.by_hand.is_some() { ", set by hand" } ". "
                "The picture is as high as the peak, " (number(row.sample_peak_dbfs)) " dBFS. Correct the events: click to set one, click one to choose it, ← and → move it by a millisecond (with Shift by 10), Delete takes it out."
            }
            div.row {
                button type="button" id="save-events" disabled { "Keep these events" }
                @if open.by_hand.is_some() { button type="button" id="detect-events" { "Detect them again" } }
            }
            h3 { "Checks" }
            (check_table(&open.checks))
            @if row.outcome == Outcome::Unfair || row.keep_although_unfair {
                (Field { id: "keep-unfair".into(), place: &place, key: "keep_although_unfair", label: "use it although a check calls it unfair (the report says so)".into() }.switch(row.keep_although_unfair))
            }
        }
    }
}

/// Checks with figure, limit, meaning and remedy.
pub(super) fn check_table(checks: &[CheckResult]) -> Markup {
    html! {
        div.scroll { table {
            thead { tr { th { "outcome" } th { "check" } th.n { "measured" } th.n { "limit" } th { "unit" } th { "what it means" } th { "what to do" } } }
            tbody { @for c in checks { tr {
                td.keep { (outcome(c.outcome)) } td.keep { (c.code.replace('_', " ")) }
                td.n { (figure(c.measured)) } td.n { (figure(c.limit)) } td.keep { (c.unit) }
                td { (c.text) } td { @if c.outcome != Outcome::Fair { (c.advice) } }
            } } }
        } }
    }
}

/// The waveform with its events.
fn drawn(wave: &Wave, events: &[Event], hue: usize) -> String {
    let (width, height) = WAVE;
    let peak = wave.columns.iter().flatten().fold(1e-6f32, |peak, v| peak.max(v.abs()));
    let (x, y) = (
        |s: f64| s / wave.seconds.max(1e-9) * width,
        |v: f32| height / 2.0 - f64::from(v / peak) * height * 0.48,
    );
    let mut out = format!(
        "<svg viewBox=\"0 0 {width} {height}\" preserveAspectRatio=\"none\" role=\"img\" aria-label=\"waveform with {} events\">",
        events.len()
    );
    for e in events {
        let (from, to) = (x(e.start_s), x(e.end_s));
        let class = if e.left_out.is_some() { "event out" } else { "event" };
        let why = e.left_out.map_or(String::new(), |why| format!(", left out: {why}"));
        let _ = write!(
            out,
            "<rect class=\"{class}\" x=\"{from:.2}\" y=\"0\" width=\"{:.2}\" height=\"{height}\"><title>{:.3} s{why}</title></rect>",
            (to - from).max(0.5),
            e.onset_s
        );
    }
    let mut path = String::new();
    let step = width / wave.columns.len().max(1) as f64;
    for (i, [_, high]) in wave.columns.iter().enumerate() {
        let _ = write!(path, "{}{:.1} {:.2}", if i == 0 { "M" } else { "L" }, i as f64 * step, y(*high));
    }
    for (i, [low, _]) in wave.columns.iter().enumerate().rev() {
        let _ = write!(path, "L{:.1} {:.2}", i as f64 * step, y(*low));
    }
    let _ = write!(out, "<path class=\"trace hue{}\" d=\"{path}Z\"/></svg>", hue % 6);
    out
}
