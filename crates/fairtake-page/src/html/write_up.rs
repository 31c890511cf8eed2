//! The page Write up.

use super::field::Field;
use super::only_measured;
use crate::views::WriteUpPage;
use crate::written::{FRAME_RATES, Folder, LONGEST_GAP_S, MOST_MOMENTS};
use fairtake_files::Place;
use fairtake_report::page::verdict;
use maud::{Markup, html};

/// Sizes of pictures that are offered: as the program reads them, as people do, and whether they are chosen beforehand.
const SIZES: [(&str, &str, bool); 5] = [
    ("screen", "screen, 1920 × 1080", true),
    ("square", "square, 1080 × 1080", false),
    ("square:large", "square, large letters", false),
    ("upright", "upright, 1080 × 1350", false),
    ("upright:large", "upright, large letters", true),
];

pub(crate) fn write_up(page: &WriteUpPage) -> Markup {
    html! {
        h1 { "Write up" }
        @if page.only_measured {
            (only_measured())
            p { "Their data sheets as one HTML file, or as a PDF: " code { "fairtake measure FOLDER --report sheets.html --pdf sheets.pdf" } "." }
        }
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
                    @if !c.disagreements.is_empty() {
                        div.trouble.disagrees role="status" {
                            p { "Numbers in your words that the findings do not hold:" }
                            ul { @for words in &c.disagreements { li { (words) "." } } }
                        }
                    }
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
            (everything(page))
        }
        @for folder in &page.folders { (written(folder)) }
    }
}

/// The whole write-up: what can be chosen, and the button.
fn everything(page: &WriteUpPage) -> Markup {
    html! {
        section aria-labelledby="everything" {
            h2 id="everything" { "Everything, in one folder" }
            p { "Report as page and PDF, pictures, words to be read aloud, reels with captions, excerpts, tables, and a list of hashes. "
                "Nothing is overwritten: it goes into the new folder " code { (page.next) } " beside the log." }
            form id="write-up" {
                fieldset {
                    legend { "pictures of each pair" }
                    div.row { @for (value, words, chosen) in SIZES {
                        label { input type="checkbox" name="sizes" id=(format!("size-{}", value.replace(':', "-"))) value=(value) checked[chosen]; (words) }
                    } }
                    div.row {
                        span { label for="colours" { "colours" } (select("colours", &[("light", "dark on light"), ("dark", "light on dark"), ("print", "for print")])) }
                        span { label for="decade" { "dB as long as a decade" } (select("decade", &[("fits", "whichever fits"), ("25", "25"), ("50", "50")])) }
                        label { input type="checkbox" name="transparent" id="transparent"; "without a ground" }
                    }
                }
                fieldset {
                    legend { "reels" }
                    div.row {
                        span { label for="pieces" { "a piece is" } (select("pieces", &[("passage", "a passage of up to 8 s"), ("event", "one event"), ("2", "2 s"), ("4", "4 s")])) }
                        span { label for="gap_s" { "silence between two, s" } input.count type="number" id="gap_s" name="gap_s" min="0" max=(LONGEST_GAP_S) step="any" value="0.5" required; }
                        span { label for="moments" { "moments at most" } input.count type="number" id="moments" name="moments" min="1" max=(MOST_MOMENTS) step="1" value="4" required; }
                        label { input type="checkbox" name="blind" id="blind"; "also with numbers in place of names, their key apart" }
                    }
                }
                fieldset {
                    legend { "picture in motion" }
                    div.row {
                        span { label for="moving" { "written as" } (select("moving", &[("", "not at all"), ("video", "a video with sound"), ("frames", "numbered frames and sound"), ("both", "both")])) }
                        span { label for="moving_size" { "size" } (select("moving_size", &[("screen", "1920 × 1080"), ("square", "1080 × 1080"), ("upright:large", "1080 × 1350, large letters")])) }
                        span { label for="frame_rate" { "frames a second" } input.count type="number" id="frame_rate" name="frame_rate" min=(FRAME_RATES[0]) max=(FRAME_RATES[1]) step="any" value="25" required; }
                    }
                    div role="status" { ul.small id="moving-lines" {} }
                }
                div.choices { span.wide-field { label for="licence" { "licence for sound and data, in your words" } input type="text" name="licence" id="licence" autocomplete="off" maxlength="2000"; } }
                div.row { button.main type="submit" id="write-everything" { "Write everything" } }
            }
            p id="writing" role="status" {}
            ul.small id="remarks" {}
        }
    }
}

fn select(name: &str, options: &[(&str, &str)]) -> Markup {
    html! { select id=(name) name=(name) { @for (value, words) in options { option value=(value) { (words) } } } }
}

/// A write-up that is there, with a link to each of its files.
fn written(folder: &Folder) -> Markup {
    let n_bytes: u64 = folder.files.iter().map(|(_, n)| n).sum();
    html! {
        section.written aria-labelledby=(format!("in-{}", folder.name)) {
            h2 id=(format!("in-{}", folder.name)) { code { (folder.name) } ": " (folder.files.len()) " files, " (megabytes(n_bytes)) }
            div.row {
                @for (name, words) in [("report.html", "Report"), ("report.pdf", "Report as PDF")] {
                    @if folder.files.iter().any(|(n, _)| n == name) {
                        a.button href=(address(&folder.name, name)) target="_blank" rel="noopener" aria-label=(format!("{words} of {}", folder.name)) { (words) }
                    }
                }
            }
            details {
                summary { "All files of " (folder.name) }
                ul.files { @for (name, n_bytes) in &folder.files {
                    li { a href=(address(&folder.name, name)) target="_blank" rel="noopener" { (name) } " " span.quiet { (kilobytes(*n_bytes)) } }
                } }
            }
        }
    }
}

/// Names are made of letters, digits and hyphens; letters may be any of the world's, which an address has in bytes.
fn address(folder: &str, name: &str) -> String {
    let mut out = format!("/written/{folder}/");
    for byte in name.bytes() {
        match byte {
            b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'-' | b'.' | b'_' | b'/' => out.push(byte as char),
            _ => out.push_str(&format!("%{byte:02X}")),
        }
    }
    out
}

fn megabytes(n_bytes: u64) -> String {
    format!("{:.1}\u{a0}MB", n_bytes as f64 / 1e6)
}

fn kilobytes(n_bytes: u64) -> String {
    format!("{:.1}\u{a0}kB", n_bytes as f64 / 1e3)
}
