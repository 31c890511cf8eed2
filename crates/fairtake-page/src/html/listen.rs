//! The page Listen.

use super::takes::encoded;
use super::{mic, only_measured};
use crate::views::{Heard, ListenPage, Pair};
use fairtake_audition::{MomentKind, Paired};
use fairtake_report::words::{hertz, number, signed};
use maud::{Markup, html};

pub(crate) fn listen(page: &ListenPage) -> Markup {
    html! {
        h1 { "Listen" }
        p.quiet { "You see what plays: this is for getting to know a difference, and proves nothing. Start quiet: loud playback can do harm within minutes; your local rules on noise at work hold here too." }
        p { a.button href="/blind" { "Blind tests: does anyone hear it?" } }
        form.choices action="/listen" data-live {
            span { label for="source" { "on" } select id="source" name="source" { @for s in &page.sources { option value=(s.key) selected[Some(&s.key) == page.source.as_ref()] { (s.name) } } } }
            @if let Some(heard) = &page.heard {
                span { label for="moment" { "what" } select id="moment" name="moment" {
                    @for (i, m) in heard.moments.iter().enumerate() { option value=(i) selected[i == heard.moment] { (moment(m, i)) } }
                } }
            }
            noscript { button type="submit" { "Show" } }
        }
        @match &page.heard {
            None if page.only_measured => (only_measured()),
            None => { @if let Some(why) = &page.why_nothing { p.trouble { (why) "." } } },
            Some(heard) => (player(page, heard)),
        }
    }
}

/// The filters of a bridge, and in words.
const BRIDGED: [(&str, &str); 2] =
    [("equaliser", "the equaliser"), ("correction", "the smoothest correction")];

fn bridge(page: &ListenPage, pair: &Pair) -> String {
    let source = page.source.as_deref().unwrap_or_default();
    format!(
        "/bridge?source={}&from={}&to={}",
        encoded(source),
        encoded(&pair.reference),
        encoded(&pair.against)
    )
}

fn moment(m: &fairtake_audition::Moment, i: usize) -> String {
    let what = match m.kind {
        MomentKind::Event => "one event".to_string(),
        MomentKind::Passage => format!("{} events in a row", m.onsets_s.len()),
        MomentKind::Whole => "the whole".to_string(),
        MomentKind::Beginning => "from the beginning".to_string(),
    };
    let at = m.parts.first().map_or(0.0, |p| p.stretch.start as f64 / f64::from(p.rate_hz));
    format!("{}: {what}, {:.1} s, from {:.1} s", i + 1, m.duration_s, at.max(0.0))
}

fn player(page: &ListenPage, heard: &Heard) -> Markup {
    let m = &heard.moments[heard.moment];
    html! {
        p { (match heard.paired {
            Paired::SamePerformance => "Recorded together: you hear the same sound through each microphone.",
            Paired::SameRecording => "Played back from one recording: you hear the same sound through each microphone.",
            Paired::PlayedAgain => "Played one after the other: besides the microphones you hear that nobody plays twice alike.",
        }) }
        section.audition id="audition" aria-label="audition" data-source=[page.source.as_ref()] data-moment=(heard.moment)
            data-seconds=(m.duration_s) data-onsets=(serde_json::json!(m.onsets_s)) {
            div.row {
                button.main type="button" id="play" aria-keyshortcuts="Space" { "Play" }
                label { input type="checkbox" id="loop" checked; " loop" }
                span { label for="loop-what" { "over" } select id="loop-what" {
                    option value="all" { "all of it" }
                    @for (i, s) in m.onsets_s.iter().enumerate() { option value=(i) { "event " (i + 1) (format!(" ({s:.2} s)")) } }
                } }
                span { label for="volume" { "volume" } input type="range" id="volume" min="-60" max="0" step="1" value="-30" aria-describedby="volume-db"; output id="volume-db" for="volume" { "−30 dB" } }
                label { input type="checkbox" id="matched" checked; " level-matched" }
            }
            div.lane-times id="lanes" { canvas id="wave-lane" width="1000" height="90" aria-hidden="true" {} }
            p.readout id="at" { "Loading …" }
            ul.voices role="list" {
                @for (i, (named, gain)) in heard.mics.iter().zip(&heard.gains).enumerate() {
                    li { button.voice type="button" data-voice=(i) data-mic=(named.key) data-name=(named.name) data-gain=(gain.gain_db) aria-pressed="false" aria-keyshortcuts=(i + 1) {
                        kbd { (i + 1) } (mic(named)) span.quiet.small { @match &gain.remark { Some(remark) => (remark), None => { (number(Some(gain.gain_db))) " dB" } } }
                    } }
                }
            }
            @for (p, pair) in heard.pairs.iter().enumerate() {
                @let name = |key: &str| heard.mics.iter().find(|m| m.key == key).map_or(key.to_string(), |m| m.name.clone());
                @let gain = |key: &str| heard.mics.iter().zip(&heard.gains).find(|(m, _)| m.key == key).map_or(0.0, |(_, g)| g.gain_db);
                fieldset.difference { legend { (name(&pair.against)) " against " (name(&pair.reference)) }
                    button.voice type="button" data-imposed=(p) data-reference=(pair.reference) data-against=(pair.against) data-gain=(gain(&pair.reference)) aria-pressed="false" aria-keyshortcuts=[(p == 0).then_some("d")] {
                        @if p == 0 { kbd { "d" } } span { (name(&pair.reference)) " with the whole found difference" } }
                    @for r in &pair.regions {
                        button.voice type="button" data-imposed=(p) data-reference=(pair.reference) data-against=(pair.against) data-from=(r.from_hz) data-to=(r.to_hz) data-gain=(gain(&pair.reference)) aria-pressed="false" {
                            span { (name(&pair.reference)) " with " (signed(r.difference_db)) " dB from " (hertz(r.from_hz)) " to " (hertz(r.to_hz)) } }
                    }
                    @for (by, words) in BRIDGED {
                        button.voice type="button" data-corrected data-by=(by) data-reference=(pair.reference) data-against=(pair.against) data-gain=(gain(&pair.reference)) aria-pressed="false" {
                            span { (name(&pair.reference)) " with " (words) " that brings it to " (name(&pair.against)) } }
                    }
                    @if pair.has_left_over {
                        button.voice type="button" data-left data-reference=(pair.reference) data-against=(pair.against) aria-pressed="false" {
                            span { "what is left: " (name(&pair.against)) " minus " (name(&pair.reference)) " after gain and delay" } }
                        button.voice type="button" data-left data-by="correction" data-reference=(pair.reference) data-against=(pair.against) aria-pressed="false" {
                            span { "what is left with the smoothest correction, after gain and delay" } }
                    }
                    a href=(bridge(page, pair)) { "How much is equalising?" }
                }
            }
            p.quiet.small { "Keys: space plays and stops; 1 to 9 choose a microphone; d and then the same number again go back and forth; l loops; ← and → go from event to event. All microphones start at the same sample and go on while another is heard. The match only ever turns down, and nothing is played louder than the loudest original." }
        }
    }
}
