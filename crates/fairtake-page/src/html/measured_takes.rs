//! Takes of measurements on the page Measure: those that wait, those that are logged, and what all of them share.

use super::field::{Field, remove};
use super::takes::new_entry;
use crate::views::{MeasurePage, MicFields, Named, Waiting};
use fairtake_calibrated::MeasuredRole;
use fairtake_calibrated::level::CalibratorClass;
use fairtake_files::{MeasuredEntry, Place};
use maud::{Markup, html};

/// Pairs of a word for the log and a word for people.
type Words<'w> = Vec<(&'w str, &'w str)>;

fn roles() -> Words<'static> {
    MeasuredRole::ALL.map(|role| (role.word(), role.words())).to_vec()
}

fn classes() -> Words<'static> {
    let known = CalibratorClass::ALL.map(|class| (class.word(), class.words()));
    std::iter::once(("", "not known")).chain(known).collect()
}

fn with_none<'w>(named: &'w [Named], none: &'w str) -> Words<'w> {
    std::iter::once(("", none)).chain(named.iter().map(|n| (n.key.as_str(), n.name.as_str()))).collect()
}

fn played(page: &MeasurePage) -> Words<'_> {
    std::iter::once(("", "nothing"))
        .chain(page.excitations.iter().map(|e| (e.as_str(), e.as_str())))
        .collect()
}

fn head(last: &Markup) -> Markup {
    html! { thead { tr { th { "recording" } th { "role" } th { "microphone" } th { "played" } th { "loudspeaker" }
    th.n { "angle, °" } th.n { "distance," br; "mm" } th.n { "gain, dB" } th.n { "place-" br; "ment" } th.n { "perfor-" br; "mance" } th { (last) } } } }
}

/// Files that the log does not list, to be entered.
pub(super) fn waiting(page: &MeasurePage) -> Markup {
    html! {
        @if !page.waiting.is_empty() {
            section aria-labelledby="waiting" {
                h2 id="waiting" { "Recordings that are not in the log" }
                p.quiet { "Tick those that belong to a measurement. A response needs what was played (a file of " code { "fairtake sweep" } " in the folder) and a loudspeaker. Recordings for a comparison are entered under Takes." }
                form id="assign-measured" {
                    div.scroll { table {
                        (head(&html! { "enter it" }))
                        tbody { @for w in &page.waiting { (waiting_rows(page, w)) } }
                    } }
                    div.row {
                        button.main type="submit" { "Enter in the log" }
                        details.inline open[page.mics.is_empty()] { summary { "A microphone or loudspeaker that is not in the lists" }
                            div.row { (new_entry("mics", "microphone")) (new_entry("sources", "source")) } }
                    }
                }
            }
        }
    }
}

fn waiting_rows(page: &MeasurePage, w: &Waiting) -> Markup {
    if let Some(trouble) = &w.trouble {
        return html! { tr { td.file { (w.file) } td colspan="10" { "cannot be used: it " (trouble) } } };
    }
    let source = match page.sources.as_slice() {
        [one] => one.key.as_str(),
        _ => "",
    };
    let excitation = match page.excitations.as_slice() {
        [one] => one.as_str(),
        _ => "",
    };
    html! { @for c in &w.channels {
        @let of = format!("{} channel {}", w.file, c.channel);
        @let number = |name: &str, label: &str, value: Option<u32>| html! {
            input.count type="number" step=(if value.is_some() { "1" } else { "any" }) min=[value.map(|_| 1)] name=(name) value=[value] aria-label=(format!("{label} of {of}"));
        };
        tr data-file=(w.file) data-channel=(c.channel) {
            td.file { (w.file) @if w.channels.len() > 1 { ", channel " (c.channel) }
                br; span.quiet.small { (format!("{:.1} s, {} Hz", w.seconds, w.rate_hz)) } }
            td { (pick("role", &format!("role of {of}"), "response", &roles())) }
            td { (pick("mic", &format!("microphone of {of}"), c.mic.as_deref().unwrap_or(""), &with_none(&page.mics, "choose…"))) }
            td { (pick("excitation", &format!("what was played of {of}"), excitation, &played(page))) }
            td { (pick("source", &format!("loudspeaker of {of}"), c.source.as_deref().unwrap_or(source), &with_none(&page.sources, "none"))) }
            td.n { (number("angle_deg", "angle", None)) }
            td.n { (number("distance_mm", "distance", None)) }
            td.n { (number("gain_db", "gain", None)) }
            td.n { (number("placement", "placement", Some(c.placement))) }
            td.n { (number("performance", "performance", Some(c.performance))) }
            td { label { input type="checkbox" name="take" aria-label=(format!("enter {of}")); } }
        }
    } }
}

fn pick(name: &str, label: &str, chosen: &str, options: &[(&str, &str)]) -> Markup {
    html! { select name=(name) aria-label=(label) {
        @for (word, shown) in options { option value=(word) selected[*word == chosen] { (shown) } }
    } }
}

/// Takes of measurements that are logged; each field goes into the log when it is changed.
pub(super) fn logged(page: &MeasurePage) -> Markup {
    html! {
        @if !page.takes.is_empty() {
            section aria-labelledby="logged" {
                h2 id="logged" { "Takes of measurements" }
                details open[page.measurements.is_none()] {
                    summary { (page.takes.len()) " in the log: role, microphone, place and gain of each" }
                    div.scroll { table.takes {
                        (head(&html! { span.unseen { "take out" } }))
                        tbody { @for t in &page.takes { (logged_row(page, t)) } }
                    } }
                }
            }
        }
    }
}

fn logged_row(page: &MeasurePage, t: &MeasuredEntry) -> Markup {
    let place = Place::Take { file: t.file.clone(), channel: t.channel };
    let field = |key: &'static str, label: &str| Field {
        id: format!("{key}-{}:{}", t.file, t.channel),
        place: &place,
        key,
        label: format!("{label} of {} channel {}", t.file, t.channel),
    };
    let mics: Words = page.mics.iter().map(|m| (m.key.as_str(), m.name.as_str())).collect();
    html! {
        tr {
            th.file scope="row" { (t.file.trim_start_matches("takes/")) @if t.channel > 1 { ", ch. " (t.channel) } }
            td { (field("role", "role").choice(t.role.word(), &roles())) }
            td { (field("mic", "microphone").choice(&t.mic, &mics)) }
            td { (field("excitation", "what was played").choice(t.excitation.as_deref().unwrap_or(""), &played(page))) }
            td { (field("source", "loudspeaker").choice(&t.source, &with_none(&page.sources, "none"))) }
            td.n { (field("angle_deg", "angle").number(t.angle_deg, "any")) }
            td.n { (field("distance_mm", "distance").number(t.distance_mm, "any")) }
            td.n { (field("gain_db", "gain").number(t.gain_db, "any")) }
            td.n { (t.placement) }
            td.n { (t.performance) }
            td { (remove(&place, &t.file)) }
        }
    }
}

/// What all takes share.
pub(super) fn bench(page: &MeasurePage) -> Markup {
    if page.takes.is_empty() && page.waiting.is_empty() {
        return html! {};
    }
    let field = |place: &'static Place, key: &'static str, id: &str, label: &str| Field {
        id: id.into(),
        place,
        key,
        label: label.into(),
    };
    let (calibrator, whole) = (&Place::Calibrator, &Place::Bench);
    html! {
        section aria-labelledby="bench" {
            h2 id="bench" { "Calibrator and converter" }
            div.choices {
                span { label for="calibrator-level" { "calibrator, dB SPL" } (field(calibrator, "level_db", "calibrator-level", "level of the calibrator in dB SPL").number(page.bench.calibrator_level_db, "any")) }
                span { label for="calibrator-class" { "its class" } (field(calibrator, "class", "calibrator-class", "class of the calibrator").choice(page.bench.calibrator_class, &classes())) }
                span { label for="full-scale" { "converter at full scale, dB re 1 V" } (field(whole, "full_scale_dbv", "full-scale", "input of the converter at full scale in dB re 1 V").number(page.bench.full_scale_dbv, "any")) }
            }
            p.quiet.small { "Level first, then class. The calibrator's certificate and tolerances of place and angle are written in " code { "shootout.toml" } "." }
        }
    }
}

/// What each microphone is, and its files: names from the folder, read before the log names them.
pub(super) fn files(page: &MeasurePage) -> Markup {
    html! {
        @if !page.files.is_empty() {
            section aria-labelledby="mic-files" {
                h2 id="mic-files" { "Microphones and their files" }
                details open[page.measurements.is_none()] {
                    summary { "which one measures, correction, published response, tolerances" }
                    p.quiet { "A file is text: frequency in Hz and dB in two columns; tolerances are Hz, lowest and highest dB. Its name is counted from the folder; an empty field names none." }
                    div.scroll { table {
                        thead { tr { th { "microphone" } th { "measurement microphone" } th { "correction" } th.n { "known to ±, dB" } th { "published response" } th { "tolerances" } } }
                        tbody { @for of in &page.files { (files_row(of)) } }
                    } }
                }
            }
        }
    }
}

fn files_row(of: &MicFields) -> Markup {
    let place = Place::Mic(of.mic.key.clone());
    let field = |key: &'static str, label: &str| Field {
        id: format!("{key}-of-{}", of.mic.key),
        place: &place,
        key,
        label: format!("{label} of {}", of.mic.name),
    };
    let named = |file: &Option<String>| file.clone().unwrap_or_default();
    let measures = Field { label: format!("{} is one", of.mic.name), ..field("measurement", "") };
    html! { tr {
        th scope="row" { (of.mic.name) }
        td { (measures.switch(of.measurement)) }
        td { (field("correction", "correction file").text(&named(&of.correction))) }
        td.n { (field("correction_within_db", "uncertainty of the correction in dB").number(of.correction_within_db, "any")) }
        td { (field("published", "file of the published response").text(&named(&of.published))) }
        td { (field("tolerance", "file of tolerances").text(&named(&of.tolerance))) }
    } }
}
