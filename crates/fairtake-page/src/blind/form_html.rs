//! Writes the form down by which a blind test is made.

use super::offered::MOST_CORRECTED;
use super::owner::{BlindPage, TRIALS};
use super::owner_html::percent;
use crate::html::mic;
use fairtake_listen::{Kind, MOST_MICS};
use maud::{Markup, html};

/// The form; `kinds` are the questions with their keys and words.
pub(super) fn form(page: &BlindPage, kinds: &[(Kind, &str, &str)]) -> Markup {
    let in_turn = serde_json::to_string(&page.played_in_turn).unwrap_or_default();
    html! {
        form id="make-test" data-source=[page.source.as_ref()] data-in-turn=(in_turn) data-most-mics=(MOST_MICS) {
            p { label for="kind" { "Question" } " " select id="kind" { @for (_, key, words) in kinds { option value=(key) { (words) } } } }
            (who(page))
            (trials(page))
            fieldset { legend { "What is heard" }
                div.row {
                    span { label for="seconds" { "length of an excerpt in seconds" } input.count type="number" id="seconds" min="0.25" max="10" step="0.25" value="2"; }
                    label { input type="checkbox" id="equal-spectrum"; "with equal spectra (a control, of two microphones as they are: what is heard then is not the spectrum)" }
                }
            }
            fieldset { legend { "Who listens" }
                div.row { span { label for="title" { "what listeners read above it" } input type="text" id="title" maxlength="120" placeholder="the name of the source"; } }
                div.row { span { label for="n-sittings" { "number of sittings, fixed beforehand" } input.count type="number" id="n-sittings" min="1" max="10000" placeholder="open"; } }
                p.quiet.small { "Left open, more sittings find more than is said: whoever goes on until something is found finds something." }
                div.row { span { label for="n-codes" { "codes to give out, one for each sitting" } input.count type="number" id="n-codes" min="0" max="500" value="0"; } }
                p.quiet.small { "Without codes, whoever has the link may listen." }
            }
            button.main type="submit" { "Make the test" }
        }
    }
}

fn who(page: &BlindPage) -> Markup {
    html! {
        fieldset { legend { "Microphones (two, where it is asked which of two or of three)" }
            @for (i, m) in page.mics.iter().enumerate() {
                label.row { input type="checkbox" name="test-mic" value=(m.key) checked[i < 2]; (mic(m)) }
            }
            details { summary { "with an equaliser" }
                p.quiet.small { "Does anyone still hear a difference once it is equalised? The one that it becomes like is ticked with it."
                    @if page.mics.len() > MOST_CORRECTED { " Offered between the first " (MOST_CORRECTED) " microphones." } }
                @for m in &page.corrected { label.row { input type="checkbox" name="test-mic" value=(m.named.key) data-from=(m.from) data-to=(m.to); (mic(&m.named)) } }
            }
            p.small role="status" id="mics-said" {}
        }
    }
}

fn trials(page: &BlindPage) -> Markup {
    let proposed = page.proposed_control.unwrap_or(0);
    html! {
        fieldset { legend { "Trials" }
            div.row {
                span { label for="n-trials" { "trials that count" } input.count type="number" id="n-trials" min="1" max="200" value=(TRIALS); }
                span { label for="n-control" { "control trials" } input.count type="number" id="n-control" min="0" max="100" value=(proposed); }
                span { label for="n-catch" { "trials in which all are the same" } input.count type="number" id="n-catch" min="0" max="50" value="2"; }
            }
            p.quiet.small { "Control trials pair two placements or passes of one microphone: then \"heard\" means more than that." }
            p.small id="in-turn" hidden[proposed == 0] { "These two microphones were played to in turn. Only control trials tell the microphone from the playing: as many of them as trials that count are proposed. Without them a result says only that the recordings can be told apart." }
            div.scroll { table { caption { "So many trials find a difference in four of five tests, by the share of trials in which it is heard" }
                thead { tr { th scope="col" { "heard in" } @for (share, ..) in &page.needed { th.n scope="col" { (percent(*share)) } } } }
                tbody {
                    tr { th scope="row" { "which of two" } @for (_, two, _) in &page.needed { td.n { (two.map_or("–".to_string(), |n| n.to_string())) } } }
                    tr { th scope="row" { "which of three" } @for (_, _, three) in &page.needed { td.n { (three.map_or("–".to_string(), |n| n.to_string())) } } }
                }
            } }
            p { label { input type="checkbox" id="may-end-early"; " may end early, without control trials: looked at after every fourth trial from the eighth on; guessing passes no more often by that" } }
        }
    }
}
