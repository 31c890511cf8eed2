//! The page Measure.

use super::measured_takes::{bench, files, logged, waiting};
use crate::views::MeasurePage;
use fairtake_report::sheet::sheets;
use maud::{Markup, html};

/// What is played, as it is typed.
const SWEEP: &str = "fairtake sweep excitations/sweep.wav";

pub(crate) fn measure(page: &MeasurePage) -> Markup {
    html! {
        h1 { "Measure" }
        p.quiet { "What each microphone does by itself, apart from player and place: with a loudspeaker, a quiet corner, a reference microphone, a sound calibrator. Nobody needs this to compare microphones." }
        @if let Some(what) = &page.trouble { p.trouble { (what) "." } }
        @match &page.measurements {
            Some(m) => (sheets(m)),
            None => @if page.trouble.is_none() { (how()) },
        }
        (waiting(page))
        (logged(page))
        (files(page))
        (bench(page))
    }
}

/// What to record, where nothing is.
fn how() -> Markup {
    let rows = [
        (
            "its own response",
            "a sweep before a loudspeaker, three settings-up; the same with a measurement microphone at the same place",
            "response",
        ),
        ("sensitivity", "a sound calibrator on the measurement microphone, seated three times", "calibrator"),
        ("direction", "the sweep at equal steps of angle", "response; with angle_deg"),
        ("proximity", "the sweep at six distances and more, at one gain", "response; with distance_mm"),
        ("distortion", "a sweep with level steps, near the loudspeaker", "response"),
        (
            "noise",
            "half a minute of silence, another microphone beside it, the chain alone",
            "self-noise, ambient, chain-noise",
        ),
    ];
    html! {
        section aria-labelledby="how" {
            h2 id="how" { "What to record" }
            p { "No take of a measurement is logged yet. Make what the loudspeaker plays with " code { (SWEEP) } ", record it, put the recordings into the folder, and enter them below with these roles. " code { "fairtake demo --bench" } " makes a whole session to look at." }
            dl.to-log { @for (what, record, role) in rows { dt { (what) } dd { (record) ". Role: " @let (role, with) = role.split_once("; with ").unwrap_or((role, "")); code { (role) } @if !with.is_empty() { ", with " code { (with) } } } } }
            p.quiet { "Begin with the loudspeaker's volume down, stay out of its beam, and wear hearing protection where it is loud. Keep phantom power and blowing loudspeakers away from ribbon microphones. A calibrator belongs on a microphone, never at an ear. Local rules come first." }
        }
    }
}
