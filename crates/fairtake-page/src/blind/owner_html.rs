//! Writes the owner's pages on blind tests.

use super::form_html::form;
use super::owner::{BlindPage, SittingRow, TestPage};
use crate::html::only_measured;
use fairtake_listen::score::{HitOutcome, Shown};
use fairtake_listen::{Control, Kind, State};
use fairtake_report::page::verdict;
use fairtake_report::words;
use maud::{Markup, html};

const KINDS: [(Kind, &str, &str); 5] = [
    (Kind::Which, "which", "which of the two is it?"),
    (Kind::OddOne, "odd_one", "which of three differs?"),
    (Kind::Prefer, "prefer", "which do you prefer?"),
    (Kind::Likeness, "likeness", "rate each: how like the first one"),
    (Kind::Liking, "liking", "rate each: how much you like it"),
];

fn kind_words(kind: Kind) -> &'static str {
    KINDS.iter().find(|(k, ..)| *k == kind).map_or("", |(_, _, words)| words)
}

pub(super) fn percent(share: f64) -> String {
    format!("{:.0} %", 100.0 * share)
}

pub(super) fn blind(page: &BlindPage) -> Markup {
    html! {
        h1 { "Does anyone hear it?" }
        p { a href="/listen" { "Listening while you see what plays" } " shows what to listen for. A blind test shows whether it is heard." }
        section aria-labelledby="tests" {
            h2 id="tests" { "Tests" }
            @if page.tests.is_empty() { p.quiet { "None yet." } }
            @for t in &page.tests {
                div.sheet {
                    h3 { a href=(format!("/blind/test?id={}", t.id)) { (t.title) " · " (kind_words(t.kind)) } }
                    p.quiet { (t.mics.join("; ")) " · " (sittings_words(t.sittings)) @if !t.is_open { " · takes no more listeners" } }
                    @if t.sittings[0] > 0 { @for line in &t.says { p { (line) } } }
                }
            }
        }
        section aria-labelledby="make" {
            h2 id="make" { "Make a test" }
            form.choices action="/blind" data-live {
                span { label for="source" { "on" } select id="source" name="source" { @for s in &page.sources { option value=(s.key) selected[Some(&s.key) == page.source.as_ref()] { (s.name) } } } }
                noscript { button type="submit" { "Show" } }
            }
            @if page.mics.len() < 2 {
                @if page.only_measured { (only_measured()) } @else { p.trouble { "A test needs two microphones that were recorded on this source." } }
            } @else {
                (form(page, &KINDS))
            }
        }
    }
}

fn sittings_words([done, left, open]: [u64; 3]) -> String {
    let parts = [(done, "to the end"), (left, "left before the end"), (open, "not at the end yet")];
    let said: Vec<String> = parts
        .iter()
        .filter(|(n, _)| *n > 0)
        .map(|(n, how)| format!("{} {how}", words::number_of(*n as usize, "sitting")))
        .collect();
    if said.is_empty() { "nobody has listened yet".to_string() } else { said.join(", ") }
}

pub(super) fn test(page: &TestPage) -> Markup {
    let kind = page.score.kind;
    let names: Vec<&str> = page.mics.iter().map(|(_, name)| name.as_str()).collect();
    html! {
        p { a href="/blind" { "All tests" } }
        h1 { (page.title) " · " (kind_words(kind)) }
        p.quiet { (names.join("; ")) " on " (page.source) }
        section aria-labelledby="says" {
            h2 id="says" { "What it says" }
            @if let Some(Shown::Hits(h)) = &page.score.shown { p.lead { strong { (outcome(h.outcome)) } } }
            ul { @for line in &page.score.says { li { (line) } } }
            @if !page.score.does_not_say.is_empty() {
                h3 { "What it does not say" }
                ul { @for line in &page.score.does_not_say { li { (line) } } }
            }
            @if !page.measured.is_empty() {
                h3 { "What was measured" }
                ul.said { @for (v, text) in &page.measured { li { (verdict(*v)) span { (text) "." } } } }
            }
            (numbers(page))
        }
        section aria-labelledby="invite" {
            h2 id="invite" { "Listeners" }
            @if page.is_open {
                p { a.button href=(format!("/t/{}", page.id)) { "Listen here, alone" } }
                p { "For an audience: run " code { "fairtake listen --serve ADDRESS:PORT" } " on this folder; the address of this test there ends in " code { "/t/" (page.id) } "." }
                @if page.needs_code { p { (page.n_codes_left) " codes are not used yet." } }
            } @else { p { "The test takes no more listeners." } }
            div.row data-test=(page.id) {
                button type="button" data-blind="open" data-open=(!page.is_open) { @if page.is_open { "Take no more listeners" } @else { "Take listeners again" } }
                button type="button" data-blind="codes" { @if page.needs_code { "Ten more codes" } @else { "Ten codes (the link alone then opens it no more)" } }
                a.button href=(format!("/blind/answers.csv?id={}", page.id)) download="answers.csv" { "Answers as CSV" }
                a.button href=(format!("/blind/answers.json?id={}", page.id)) download="answers.json" { "Answers as JSON" }
                button.quietly type="button" data-blind="delete" { "Delete the test with all answers" }
            }
                (sittings(page))
            p.quiet.small { "Answers, comments and names that listeners typed are kept in the folder, in listening/tests.sqlite, until they are deleted here. Nothing else is kept of anybody." }
        }
        section aria-labelledby="how" {
            h2 id="how" { "How it is made" }
            p { (page.n_trials) " trials that count, " (page.n_control) " control, " (page.n_catch) " in which all are the same."
                @if let Some(share) = page.finds_share { " One sitting finds a difference that is heard in " (percent(share)) " of trials in four of five tests." } }
            @if let Some(n) = page.n_sittings { p { "Fixed beforehand: " (words::number_of(n as usize, "sitting")) "."
                @if let Some(share) = page.all_find_share { " All of them together find a difference that is heard in " (percent(share)) " of trials in four of five tests." } } }
            @if !page.looks.is_empty() { p { "It may end early: " (looks(page)) "." } }
            @if let Some(a) = &page.about {
                p { (a.n_excerpts) " excerpts of " (format!("{:.2}", a.seconds)) " s, " (a.rate_hz) " Hz, " (a.bits) " bits, equally long to the frame; loudness as played "
                    (format!("{:.1}", a.loudness_lufs[0]).replace('-', "−")) " LUFS, equal within " (format!("{:.2}", a.spread_lu)) " LU (read back from what is served)."
                    @if a.equal_spectrum { " Equal spectra: the first microphone has the found difference imposed." } }
                @for r in &a.remarks { p.quiet { (r) "." } }
            }
            @for set in &page.equalisers { p { (set) "." } }
            details { summary { "The excerpts" } ul { @for e in &page.excerpts { li { (e) } } } }
        }
    }
}

fn outcome(outcome: HitOutcome) -> &'static str {
    match outcome {
        HitOutcome::Heard => "Heard",
        HitOutcome::ToldApart => "Told apart: microphone or playing",
        HitOutcome::NotMoreThanControl => "Not more than the control",
        HitOutcome::NotShown => "Not shown to be heard",
    }
}

fn looks(page: &TestPage) -> String {
    let each = page.looks.iter().map(|(n, fewest)| match fewest {
        Some(fewest) => format!("{fewest} of {n}"),
        None => format!("not at {n}"),
    });
    each.collect::<Vec<_>>().join(", ")
}

/// The numbers behind the sentences.
fn numbers(page: &TestPage) -> Markup {
    match &page.score.shown {
        None => html! {},
        Some(Shown::Hits(h)) => {
            let share = |s: f64| format!("{:.2}", s);
            let d = |d: Option<f64>| d.map_or("no limit".to_string(), |d| format!("{d:.2}"));
            html! { div.scroll { table { caption { "Right answers" } tbody {
                tr { th scope="row" { "trials that count" } td.n { (h.looked.hits) " of " (h.looked.trials) } td { "share " (share(h.share_low)) " to " (share(h.share_high)) } }
                tr { th scope="row" { "d′" } td.n { (d(h.sensitivity[0])) } td { (d(h.sensitivity[1])) " to " (d(h.sensitivity[2])) } }
                @if let Some(pairs) = h.control_pairs { tr { th scope="row" { "control: " (match pairs { Control::Placements => "two placements", Control::Passes => "two passes" }) } td.n { (h.control.hits) " of " (h.control.trials) } td {} } }
                tr { th scope="row" { "all the same" } td.n { (h.catch.hits) " of " (h.catch.trials) } td { "nobody can know" } }
                @if h.left.trials > 0 { tr { th scope="row" { "left before the end" } td.n { (h.left.hits) " of " (h.left.trials) } td { "not counted" } } }
            } } } }
        }
        Some(Shown::Preference(p)) if !p.worths.is_empty() => {
            html! { div.scroll { table { caption { "Worths (Bradley–Terry)" }
                thead { tr { th scope="col" { "microphone" } th.n scope="col" { "worth" } th.n scope="col" { "log worth, 95 %" } } }
                tbody { @for w in &p.worths { tr { th scope="row" { (name(page, &w.mic)) } td.n { (format!("{:.2}", w.share)) } td.n { (format!("{:.2} ({:.2} to {:.2})", w.log_worth[0], w.log_worth[1], w.log_worth[2]).replace('-', "−")) } } } }
            } } }
        }
        Some(Shown::Preference(_)) => html! {},
        Some(Shown::Rating(r)) => {
            html! { div.scroll { table { caption { "Ratings, 0 to 100; " (r.n_kept) " raters count" }
                thead { tr { th scope="col" { "microphone" } th.n scope="col" { "median" } th.n scope="col" { "95 %" } } }
                tbody { @for m in &r.rated { tr { th scope="row" { (name(page, &m.mic)) @if m.is_hidden_copy { " (hidden copy)" } }
                    td.n { (m.median.map_or("unknown".to_string(), |x| format!("{x:.0}"))) }
                    td.n { (m.interval.map_or("unknown".to_string(), |[low, high]| format!("{low:.0} to {high:.0}"))) } } } }
            } } }
        }
    }
}

fn name<'p>(page: &'p TestPage, key: &'p str) -> &'p str {
    page.mics.iter().find(|(k, _)| k == key).map_or(key, |(_, name)| name)
}

fn sittings(page: &TestPage) -> Markup {
    if page.sittings.is_empty() {
        return html! { p.quiet { "Nobody has listened yet." } };
    }
    let is_preference = page.score.kind == Kind::Prefer;
    html! { div.scroll { table { caption { "Sittings" @if is_preference { "; again alike: a pair that came again was answered as the first time; consistence: 1 where no three microphones go round in a circle (with three or more)" } }
        thead { tr { th scope="col" { "listener" } th scope="col" { "stands" } th.n scope="col" { "answers" } @if is_preference { th.n scope="col" { "again alike" } th.n scope="col" { "left chosen" } th.n scope="col" { "consistence" } } @else { th.n scope="col" { "right" } } th scope="col" { "comments" } th scope="col" { span.unseen { "delete" } } } }
        tbody { @for s in &page.sittings { (row(s, is_preference)) } }
    } } }
}

fn row(s: &SittingRow, is_preference: bool) -> Markup {
    html! { tr {
        th scope="row" { @if s.listener.is_empty() { span.quiet { "no name" } } @else { (s.listener) } }
        td { (match s.state { State::Open => "open: its answers are not shown before its end", State::Done => "to the end", State::Left => "left before the end" }) }
        td.n { (s.n_answers) }
        @if is_preference {
            td.n { @if let Some(o) = s.own { (o.repeated.hits) " of " (o.repeated.trials) } }
            td.n { @if let Some(o) = s.own { (o.left.hits) " of " (o.left.trials) } }
            td.n { @if let Some(o) = s.own { (o.consistence.map_or("–".to_string(), |c| format!("{c:.2}"))) } }
        } @else {
            td.n { @if let Some((hits, trials)) = s.hits { (hits) " of " (trials) } }
        }
        td { @for (n, c) in &s.comments { p { (n) ": " (c) } } }
        td { button.quietly type="button" data-blind="delete-sitting" data-sitting=(s.id) { "Delete" span.unseen { " this sitting" } } }
    } }
}
