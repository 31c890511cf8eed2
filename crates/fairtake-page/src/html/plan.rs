//! The page Plan.

use super::field::{Field, remove};
use super::takes::new_entry;
use super::{mic, shape};
use crate::views::{PlanPage, SourcePlan, step_words};
use crate::views::{PlannedMic, SpreadFrom, errors_head};
use fairtake_compare::{Design, MicKind, Playing, PolarPattern, Step, unit_of};
use fairtake_files::Place;
use fairtake_report::words::{number, signed};
use maud::{Markup, html};

const KINDS: [(&str, &str); 5] =
    [("", "–"), ("dynamic", "dynamic"), ("condenser", "condenser"), ("ribbon", "ribbon"), ("other", "other")];
const PATTERNS: [(&str, &str); 7] = [
    ("", "–"),
    ("omni", "omni"),
    ("subcardioid", "subcardioid"),
    ("cardioid", "cardioid"),
    ("supercardioid", "supercardioid"),
    ("hypercardioid", "hypercardioid"),
    ("bidirectional", "bidirectional"),
];
const PLAYINGS: [(&str, &str); 3] =
    [("auto", "let it be found"), ("percussive", "single hits"), ("sustained", "sustained")];
const DESIGNS: [(&str, &str); 4] = [
    ("together", "all at once"),
    ("in-turn", "one after the other"),
    ("in-turn-with-witness", "one after the other, with a witness"),
    ("replayed", "one recording played back for each"),
];

pub(crate) fn plan(page: &PlanPage) -> Markup {
    let top = Place::Top;
    let field =
        |key: &'static str, label: &str| Field { id: key.into(), place: &top, key, label: label.into() };
    html! {
        h1 { "Plan" }
        div.choices {
            span.wide-field { label for="title" { "title" } (field("title", "title").text(&page.title)) }
            span { label for="margin_db" { "margin, dB" } (field("margin_db", "margin in dB").number(page.margin_db, "any")) }
            span { label for="temperature_c" { "temperature, °C" } (field("temperature_c", "temperature in degrees Celsius").number(page.temperature_c, "any")) }
        }
        p.quiet.small { "Differences smaller than the margin do not matter to you; 1 dB where it is left empty." }
        (mics(page))
        (sources(page))
        @for source in &page.sources { (of_source(page, source)) }
        @if page.mics.is_empty() || page.sources.is_empty() { p { "Name the microphones and what will be recorded; then plan each source here." } }
    }
}

fn mics(page: &PlanPage) -> Markup {
    html! {
        section aria-labelledby="mics" {
            h2 id="mics" { "Microphones" }
            @if !page.mics.is_empty() {
                div.scroll { table {
                    thead { tr { th { span.unseen { "shape" } } th { "name" } th { "kind" } th { "pattern" } th.n { "year" } th { span.unseen { "take out" } } } }
                    tbody { @for m in &page.mics { (mic_row(m)) } }
                } }
            }
            (new_entry("mics", "microphone"))
            @if page.mics.iter().any(|m| m.kind == Some(MicKind::Ribbon)) {
                p.care { strong { "Ribbon and phantom power. " } "Read the microphone's instructions before switching phantom power on; a faulty cable, or patching while it is on, can damage a ribbon. (Common practice, no source.)" }
            }
            @if page.mics.iter().any(|m| m.kind == Some(MicKind::Condenser)) {
                p.care { strong { "Phantom power and old supplies. " } "Connect before switching it on and wait until the level is steady. Supplies of valve microphones hold dangerous voltages, also when unplugged: only qualified people open them." }
            }
        }
    }
}

fn mic_row(m: &PlannedMic) -> Markup {
    let place = Place::Mic(m.named.key.clone());
    let field = |key: &'static str| Field {
        id: format!("{key}-{}", m.named.key),
        place: &place,
        key,
        label: format!("{key} of {}", m.named.name),
    };
    let kind = |k: Option<MicKind>| match k {
        None => "",
        Some(MicKind::Dynamic) => "dynamic",
        Some(MicKind::Condenser) => "condenser",
        Some(MicKind::Ribbon) => "ribbon",
        Some(MicKind::Other) => "other",
    };
    html! { tr {
        td { (shape(m.named.hue)) }
        td { (field("name").text(&m.named.name)) }
        td { (field("kind").choice(kind(m.kind), &KINDS)) }
        td { (field("pattern").choice(m.pattern.map_or("", pattern_word), &PATTERNS)) }
        td.n { (field("year").number(m.year.map(f64::from), "1")) }
        td { @if !m.has_takes { (remove(&place, &m.named.name)) } }
    } }
}

fn pattern_word(p: PolarPattern) -> &'static str {
    match p {
        PolarPattern::Omni => "omni",
        PolarPattern::Subcardioid => "subcardioid",
        PolarPattern::Cardioid => "cardioid",
        PolarPattern::Supercardioid => "supercardioid",
        PolarPattern::Hypercardioid => "hypercardioid",
        PolarPattern::Bidirectional => "bidirectional",
    }
}

fn sources(page: &PlanPage) -> Markup {
    html! {
        section aria-labelledby="sources" {
            h2 id="sources" { "What is recorded" }
            @if !page.sources.is_empty() {
                div.scroll { table {
                    thead { tr { th { "name" } th { "played" } th.n { "distance, mm" } th.n { "radius, mm" } th.n { "angle, °" } th { span.unseen { "take out" } } } }
                    tbody { @for s in &page.sources { (source_row(s)) } }
                } }
                p.quiet.small { "Distance from the grille; radius of what radiates (0: a point). Both tell how much placing can change." }
            }
            (new_entry("sources", "source"))
            p.care { strong { "Loud sources. " } "A drum or a cabinet near the ear does harm within minutes: set microphones while nobody plays, wear hearing protection, and follow your local rules on noise at work." }
        }
    }
}

fn source_row(s: &SourcePlan) -> Markup {
    let place = Place::Source(s.named.key.clone());
    let field = |key: &'static str, label: &str| Field {
        id: format!("{key}-{}", s.named.key),
        place: &place,
        key,
        label: format!("{label} of {}", s.named.name),
    };
    let playing = match s.playing {
        Playing::Auto => "auto",
        Playing::Percussive => "percussive",
        Playing::Sustained => "sustained",
    };
    html! { tr {
        td { (field("name", "name").text(&s.named.name)) }
        td { (field("playing", "playing").choice(playing, &PLAYINGS)) }
        td.n { (field("distance_mm", "distance").number(s.distance_mm, "any")) }
        td.n { (field("radius_mm", "radius").number(s.radius_mm, "any")) }
        td.n { (field("angle_deg", "angle").number(s.angle_deg, "any")) }
        td { @if !s.has_takes && s.plan.is_none() { (remove(&place, &s.named.name)) } }
    } }
}

fn of_source(page: &PlanPage, s: &SourcePlan) -> Markup {
    let place = Place::Plan(s.named.key.clone());
    let key = &s.named.key;
    let field = |name: &'static str, label: &str| Field {
        id: format!("plan-{name}-{key}"),
        place: &place,
        key: name,
        label: format!("{label} for {}", s.named.name),
    };
    let none: Vec<String> = Vec::new();
    let chosen = s.plan.as_ref().map_or(&none, |p| &p.mics);
    let in_turn =
        s.plan.as_ref().is_some_and(|p| matches!(p.design, Design::InTurn | Design::InTurnWithWitness));
    html! {
        section.plan-of aria-labelledby=(format!("plan-{key}")) {
            h2 id=(format!("plan-{key}")) { "Session: " (s.named.name) }
            fieldset.row { legend { "microphones" }
                @for m in &page.mics { (Field { id: format!("plan-{}-{key}", m.named.key), place: &place, key: "mics", label: String::new() }.member(chosen, &m.named.key, mic(&m.named))) }
            }
            @if let Some(plan) = &s.plan {
                div.choices {
                    span { label for=(format!("plan-design-{key}")) { "recorded" } (field("design", "design").choice(design_word(plan.design), &DESIGNS)) }
                    @if plan.design == Design::InTurnWithWitness {
                        span { label for=(format!("plan-witness-{key}")) { "witness" } (field("witness", "witness").choice(plan.witness.as_deref().unwrap_or(""), &with_none(page))) }
                    }
                    span { label for=(format!("plan-resolution_db-{key}")) { "find differences of, dB" } (field("resolution_db", "wanted resolution in dB").number(plan.resolution_db, "any")) }
                    span { label for=(format!("plan-placements-{key}")) { "placements" } (field("placements", "placements").number(Some(f64::from(plan.placements)), "1")) }
                    span { label for=(format!("plan-events-{key}")) { (unit_of(s.playing).words(2)) " per take" } (field("events", "events per take").number(Some(f64::from(plan.events)), "1")) }
                }
                @if let Some(db) = s.finds_db {
                    p { "This plan finds a difference of " strong { (number(Some(db))) " dB" } " in some stretch of the axis four times out of five"
                        @if plan.placements == 1 { ", and with one placement it speaks of these takes only" } "." }
                    p.quiet.small { "Reckoned with a spread of " (number(Some(s.spread.placements_db))) " dB between placements (" (known_from(s.spread_from[0])) ") and "
                        (number(Some(s.spread.events_db))) " dB between " (unit_of(s.playing).words(2)) " (" (known_from(s.spread_from[1])) ")." }
                    details { summary { "State the spread yourself" }
                        div.choices {
                            span { label for=(format!("plan-spread_placements_db-{key}")) { "between placements, dB" } (field("spread_placements_db", "spread between placements in dB").number(plan.spread_placements_db, "any")) }
                            span { label for=(format!("plan-spread_events_db-{key}")) { "between " (unit_of(s.playing).words(2)) ", dB" } (field("spread_events_db", "spread between events in dB").number(plan.spread_events_db, "any")) }
                        }
                    }
                }
                @if !s.amounts.is_empty() { (amounts(s)) }
                (run_sheet(page, s))
                @if in_turn { p.quiet { "The order goes forth and back (A B B A), so that a room that warms up, a skin that slackens and a player who tires fall on all microphones alike." } }
                @else if plan.design == Design::Together { p.quiet { "The microphones exchange their spots from round to round, so that no spot belongs to a microphone." } }
                (keep_equal())
                (distance_errors(s))
            } @else { p.quiet { "Choose the microphones to plan this source." } }
        }
    }
}

fn design_word(d: Design) -> &'static str {
    match d {
        Design::Together => "together",
        Design::InTurn => "in-turn",
        Design::InTurnWithWitness => "in-turn-with-witness",
        Design::Replayed => "replayed",
    }
}

fn with_none(page: &PlanPage) -> Vec<(&str, &str)> {
    let mut out = vec![("", "–")];
    out.extend(page.mics.iter().map(|m| (m.named.key.as_str(), m.named.name.as_str())));
    out
}

fn known_from(from: SpreadFrom) -> &'static str {
    match from {
        SpreadFrom::Stated => "as you state it",
        SpreadFrom::Recorded => "as recorded here so far",
        SpreadFrom::Assumed => "assumed, no source",
    }
}

fn amounts(s: &SourcePlan) -> Markup {
    let wanted = s.plan.as_ref().and_then(|p| p.resolution_db);
    html! {
        details { summary { "Ways to find " (number(wanted)) " dB" }
            div.scroll { table {
                thead { tr { th.n { "placements" } th.n { (unit_of(s.playing).words(2)) " per take" } th.n { "finds, dB" } th { "speaks of" } } }
                tbody { @for a in &s.amounts { tr {
                    td.n { (a.placements) }
                    td.n { @match a.events { Some(n) => (n), None => "no number is enough" } }
                    td.n { (number(Some(a.finds_db))) }
                    td { @if a.speaks_of_microphones { "the microphones" } @else { "these takes" } }
                } } }
            } }
        }
    }
}

fn run_sheet(page: &PlanPage, s: &SourcePlan) -> Markup {
    let place = Place::Plan(s.named.key.clone());
    let names: Vec<_> = page.mics.iter().map(|m| m.named.clone()).collect();
    let none: Vec<String> = Vec::new();
    let ticked = s.plan.as_ref().map_or(&none, |p| &p.ticked);
    let events = s.plan.as_ref().map_or(0, |p| p.events);
    let tick = |step: &Step| {
        Field {
            id: format!("tick-{}-{}", s.named.key, step.id),
            place: &place,
            key: "ticked",
            label: String::new(),
        }
        .member(ticked, &step.id, html! { (step_words(&names, &step.set_up)) })
    };
    html! {
        section.sheet aria-labelledby=(format!("sheet-{0} plan-{0}", s.named.key)) {
            div.between { h3 id=(format!("sheet-{}", s.named.key)) { "Run sheet" } button type="button" data-print { "Print" } }
            @if s.run_sheet.is_empty() { p.quiet { "No step yet: choose two microphones." } }
            ol { @for step in &s.run_sheet { li {
                @if step.recorded { span.mark.fair { i aria-hidden="true" { "✓" } } (step_words(&names, &step.set_up)) } @else { (tick(step)) }
                " " span.quiet { "pass " (step.performance) ", " (events) " " (unit_of(s.playing).words(events)) @if step.recorded { "; " strong { "recorded" } } }
            } } }
        }
    }
}

fn keep_equal() -> Markup {
    html! {
        details { summary { "What to keep equal" }
            ul {
                li { "Distance and angle: measure with a gauge, from the grille, every time." }
                li { "Gain: the same setting, logged, unless one would clip; then log both." }
                li { "Preamp, converter, cable: the same channel, or exchange them too. Pads and filters off on all." }
                li { "What is played: the same thing, with the same strength, with a second of quiet between hits." }
                li { "Ten seconds of silence at the end of every take, so that its noise is known." }
                li { "Temperature and place: nothing moved that stands near." }
            }
        }
    }
}

fn distance_errors(s: &SourcePlan) -> Markup {
    html! {
        @if s.errors.is_empty() { p.quiet { "Log the distance and the microphones' patterns to see what a few millimetres change." } }
        @else {
            details { summary { "What a small distance error alone changes" }
                @for e in &s.errors {
                    div.scroll { table {
                        caption { (pattern_word(e.pattern)) ": level change in dB" }
                        thead { tr { th { "off by" } @for hz in errors_head(e) { th.n { (fairtake_report::words::hertz(hz)) } } } }
                        tbody { @for (mm, row) in &e.change_db { tr { th scope="row" { (format!("{mm:+.0} mm").replace('-', "−")) } @for (_, db) in row { td.n { (signed(*db)) } } } } }
                    } }
                }
            }
        }
    }
}
