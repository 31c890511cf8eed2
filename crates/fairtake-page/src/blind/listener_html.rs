//! What a listener sees. Nothing here depends on which microphone plays, but the order of opaque names that was drawn.

use super::hall::Live;
use crate::trouble::Trouble;
use fairtake_files::StoredTest;
use fairtake_listen::{Kind, MOST_COMMENT, Role, State, Trial};
use maud::{Markup, html};

/// Words of the scale, from its left end to its right.
///
/// # Source
/// Of likeness our own; of liking those of ITU-R BS.1534, whose five bands of twenty both have.
const LIKE_WORDS: [&str; 5] = ["not at all", "hardly", "partly", "closely", "the same"];
const LIKING_WORDS: [&str; 5] = ["bad", "poor", "fair", "good", "excellent"];

fn document(title: &str, body: Markup) -> Markup {
    let head = html! { meta name="robots" content="noindex"; link rel="stylesheet" href="/web/sitting.css"; };
    crate::html::framed(title, "sitting", &head, &html! { body.sitting { (body) } })
}

pub(super) fn trouble(trouble: &Trouble) -> Markup {
    document(
        "Not here",
        html! { main id="main" tabindex="-1" { h1 { "This cannot be shown" } p.said { (trouble.what) "." } p { (trouble.hint) "." } } },
    )
}

pub(super) fn no_test() -> Markup {
    document(
        "Listening",
        html! { main id="main" tabindex="-1" { h1 { "Listening" } p { "Open the address that was given to you; it leads to one test." } } },
    )
}

fn question(kind: Kind) -> &'static str {
    match kind {
        Kind::Which => "Which of the two is it?",
        Kind::OddOne => "Which of the three differs?",
        Kind::Prefer => "Which do you prefer?",
        Kind::Likeness => "How like is each?",
        Kind::Liking => "How do you like each?",
    }
}

fn how(kind: Kind) -> &'static str {
    match kind {
        Kind::Which => {
            "Two recordings lie left and right, an unknown one between them. It was made by the microphone of one of the two. Push it to the side where it belongs."
        }
        Kind::OddOne => {
            "Two of three recordings were made by one microphone, the third by another. Point at the one that differs."
        }
        Kind::Prefer => {
            "Two recordings lie left and right. Push the stone to the one that you would rather use."
        }
        Kind::Likeness => {
            "One recording is given. Lay a numbered pebble for each other one on the scale: the more like the given one it sounds, the farther right. One of them is by the same microphone."
        }
        Kind::Liking => {
            "Lay a numbered pebble for each recording on the scale: the better you like its sound, the farther right. Two may lie on one place."
        }
    }
}

/// The start of a test.
pub(super) fn start(test: &StoredTest) -> Markup {
    let plan = &test.plan;
    let most = if plan.rule().is_some() { "up to " } else { "" };
    document(
        &test.title,
        html! {
            main id="main" tabindex="-1" data-begin=(format!("/t/{}/begin", test.id)) {
                p.quiet { (test.title) }
                h1 { (question(plan.kind())) }
                p { (how(plan.kind())) " You do this " (most) (plan.n_all()) " times. Listen to all as often as you like; there is no time limit." }
                p.care { strong { "Start quiet. " } "Set the volume of your headphones or loudspeakers low now and raise it slowly when you hear something. Loud playback can do harm within minutes; where you listen at work, your local rules on noise hold." }
                @if test.is_open {
                    form.begin id="begin" {
                        p { label for="listener" { "A name for this sitting (may stay empty)" } input type="text" id="listener" name="listener" maxlength="80" autocomplete="off"; }
                        @if test.needs_code {
                            p { label for="code" { "The code that you were given" } input type="text" id="code" name="code" required autocomplete="off" autocapitalize="characters"; }
                        }
                        button.main type="submit" { "Begin" }
                    }
                    noscript { p.trouble { "The page plays sound with a script; please allow it." } }
                    p.readout role="status" id="state" {}
                } @else {
                    p.trouble { "This test takes no more listeners." }
                }
                h2 { "What is kept" }
                p { "Your answers with the time of each, your comments, and the name that you type: nothing else. They lie with whoever invited you until they delete them; ask them to delete yours. After the last answer you see what was played, and can check that it was fixed before you began." }
            }
        },
    )
}

/// A sitting, as a whole page.
pub(super) fn sitting(live: &Live) -> Markup {
    document(&live.test.title, main(live))
}

/// Its main part.
pub(super) fn main(live: &Live) -> Markup {
    match live.sitting.awaited() {
        Some(trial) => trial_part(live, trial),
        None => end(live),
    }
}

fn trial_part(live: &Live, n: usize) -> Markup {
    let plan = live.plan();
    let trial = &live.sitting.key().trials[n];
    let most = if plan.rule().is_some() { "at most " } else { "" };
    html! {
        main id="main" tabindex="-1" data-at=(format!("/s/{}", live.id)) data-trial=(n) data-kind=(word(plan.kind())) {
            p.quiet { (n + 1) " of " (most) (plan.n_all()) }
            h1 { (question(plan.kind())) }
            @if n == 0 {
                p { (how(plan.kind())) }
                p.quiet.small { "Sealed before your first answer: " code.seal { (live.seal) } " Write down its beginning, or keep this page; it is shown again at the end." }
            }
            p.care { "Start quiet: raise the volume slowly." }
            p.row { label for="volume" { "volume" } input type="range" id="volume" min="-60" max="0" step="1" value="-30" aria-describedby="volume-db"; output id="volume-db" for="volume" { "−30 dB" } }
            (board(live, trial))
            p.readout role="status" id="state" { "Loading …" }
            details { summary { "A comment" } p { label for="comment" { "What did you hear? (may stay empty)" } } textarea id="comment" rows="2" maxlength=(MOST_COMMENT) {} }
            p.row {
                button.main type="button" id="keep" disabled { "Keep this answer" }
                button.quietly type="button" id="leave" { "Leave before the end" }
            }
            p.quiet.small { (keys(plan.kind())) }
        }
    }
}

fn keys(kind: Kind) -> &'static str {
    match kind {
        Kind::Which => {
            "Keys: 1 plays the left one, 2 the unknown one, 3 the right one; 0 stops. ← and → push the unknown one. Enter keeps the answer."
        }
        Kind::OddOne => "Keys: 1, 2 and 3 play; 0 stops. ← and → point at one. Enter keeps the answer.",
        Kind::Prefer => {
            "Keys: 1 plays the left one, 2 the right one; 0 stops. ← and → push the stone. Enter keeps the answer."
        }
        Kind::Likeness => {
            "Keys: 0 plays the given one, 1 to 9 play and choose a pebble, Escape stops; ← and → move the pebble that is chosen, with ⇧ by ten. Enter keeps the answer."
        }
        Kind::Liking => {
            "Keys: 1 to 9 play and choose a pebble, 0 stops; ← and → move the pebble that is chosen, with ⇧ by ten. Enter keeps the answer."
        }
    }
}

fn word(kind: Kind) -> &'static str {
    match kind {
        Kind::Which => "which",
        Kind::OddOne => "odd_one",
        Kind::Prefer => "prefer",
        Kind::Likeness => "likeness",
        Kind::Liking => "liking",
    }
}

/// A button that plays a presentation.
fn plays(trial: &Trial, slot: usize, key: usize, words: &str, look: &str) -> Markup {
    html! {
        button class=(format!("play {look}")) type="button" data-sound=(trial.slots[slot].name) data-key=(key) aria-pressed="false" aria-keyshortcuts=(key) { span.figure aria-hidden="true" {} span { (words) } }
    }
}

fn board(live: &Live, trial: &Trial) -> Markup {
    match live.plan().kind() {
        Kind::Which => html! {
            div.board.lane {
                (plays(trial, 0, 1, "left", "round"))
                (plays(trial, 2, 2, "unknown", "unknown"))
                (plays(trial, 1, 3, "right", "square"))
                label.unseen for="stone" { "The unknown one belongs to" }
                input.stone type="range" id="stone" min="-1" max="1" step="1" value="0" aria-valuetext="in the middle, not decided" data-words="with the left one|in the middle, not decided|with the right one";
            }
        },
        Kind::Prefer => html! {
            div.board.lane.two {
                (plays(trial, 0, 1, "left", "round"))
                (plays(trial, 1, 2, "right", "square"))
                label.unseen for="stone" { "I prefer" }
                input.stone type="range" id="stone" min="-1" max="1" step="1" value="0" aria-valuetext="in the middle, not decided" data-words="the left one|in the middle, not decided|the right one";
            }
        },
        Kind::OddOne => html! {
            div.board.three {
                (plays(trial, 0, 1, "first", "round"))
                (plays(trial, 1, 2, "second", "square"))
                (plays(trial, 2, 3, "third", "edge"))
                fieldset.point { legend { "The one that differs" }
                    @for (i, word) in ["first", "second", "third"].iter().enumerate() {
                        label { input type="radio" name="odd" value=(i); span { (word) } }
                    }
                }
            }
        },
        kind @ (Kind::Likeness | Kind::Liking) => {
            let first = usize::from(kind == Kind::Likeness);
            let words = if kind == Kind::Likeness { LIKE_WORDS } else { LIKING_WORDS };
            html! {
                @if first == 1 { p.given { (plays(trial, 0, 0, "the given one", "given")) } }
                div.board.shore {
                    div.bands aria-hidden="true" { @for w in words { span { (w) } } }
                    ol.pebbles { @for (i, _) in trial.slots[first..].iter().enumerate() {
                        li {
                            (plays(trial, first + i, i + 1, &format!("{}", i + 1), "pebble-play"))
                            label.unseen for=(format!("pebble-{i}")) { "Pebble " (i + 1) ", from " (words[0]) " to " (words[4]) }
                            input.pebble.unlaid type="range" id=(format!("pebble-{i}")) min="0" max="100" step="1" value="50" data-number=(i + 1) aria-valuetext="not laid yet" data-words=(words.join("|"));
                        }
                    } }
                }
            }
        }
    }
}

/// After the last answer.
fn end(live: &Live) -> Markup {
    let (hits, trials) = live.sitting.tally(Role::Looked);
    let has_right = live.plan().kind().guess().is_some();
    html! {
        main id="main" tabindex="-1" data-ended="" {
            h1 { @if live.sitting.state() == State::Left { "You left before the end" } @else { "Thank you for listening" } }
            @if live.sitting.state() == State::Left { p { "What you answered is kept and reported as a sitting that did not come to its end." } }
            @if has_right && trials > 0 { p.lead { (hits) " of " (trials) " answers that count were right." } }
            @if has_right { p.quiet { "One sitting shows little. What all of them show, and what not, is told by whoever invited you." } }
            h2 { "What was played was fixed before you began" }
            p { "This was shown before your first answer:" }
            p { code.seal { (live.seal) } }
            p { a.button href=(format!("/s/{}/key.txt", live.id)) download="key.txt" { "Save the key" } }
            p { "To check: the SHA-256 of that file must be the digits above, for example by " code { "sha256sum key.txt" } ". It says for every trial what was where." }
            (revealed(live))
        }
    }
}

fn revealed(live: &Live) -> Markup {
    let plan = live.plan();
    let text = live.sitting.key().text(plan);
    html! { details { summary { "The key" } pre { (text) } } }
}
