//! What each page shows, as data: computed here, written down by `html`, given to programs as the page's JSON twin.

mod bridge;
mod compare;
mod listen;
mod measure;
mod parts;
mod plan;
mod takes;
mod write_up;

pub(crate) use bridge::{BridgePage, FoundBridge, bridge_file, bridged};
pub(crate) use compare::{ComparePage, Found, Other, Pictures, SMOOTHINGS, compared_mics};
pub(crate) use listen::{Heard, ListenPage, Pair};
pub(crate) use measure::{MeasurePage, MicFields};
pub(crate) use parts::{all_others, evidence, export, figure, findings, report, wave};
pub(crate) use plan::{PlanPage, PlannedMic, SourcePlan, SpreadFrom, errors_head};
pub(crate) use takes::{Event, Group, Open, TakeRow, TakesPage, Waiting, Wave, step_words};
pub(crate) use write_up::WriteUpPage;

use crate::desk::{Desk, Now};
use crate::trouble::Trouble;
use fairtake_bridge::mic_name;
use fairtake_compare::Shootout;
use maud::Markup;
use serde::Serialize;
use serde::de::DeserializeOwned;

/// A page.
pub(crate) trait View: Serialize + Send + Sized + 'static {
    /// What the address may ask for.
    type Query: DeserializeOwned + Send + 'static;
    /// Which step of the work it is.
    const STEP: Step;

    /// Makes it of the folder as it is now.
    fn make(desk: &Desk, query: Self::Query) -> Result<Self, Trouble>;

    /// Its main part.
    fn html(&self) -> Markup;
}

/// The steps of the work, in their order.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Step {
    Plan,
    Takes,
    Compare,
    Listen,
    Measure,
    WriteUp,
}

impl Step {
    pub(crate) const ALL: [Step; 6] =
        [Step::Plan, Step::Takes, Step::Compare, Step::Listen, Step::Measure, Step::WriteUp];

    /// Word and address.
    pub(crate) fn named(self) -> (&'static str, &'static str) {
        match self {
            Step::Plan => ("Plan", "/plan"),
            Step::Takes => ("Takes", "/takes"),
            Step::Compare => ("Compare", "/compare"),
            Step::Listen => ("Listen", "/listen"),
            Step::Measure => ("Measure", "/measure"),
            Step::WriteUp => ("Write up", "/write-up"),
        }
    }
}

/// What stands around every page.
pub(crate) struct Frame {
    /// The news that it was made after.
    pub news: u64,
    pub step: Step,
    pub title: String,
    /// What is wrong with the log, where it cannot be read.
    pub log_trouble: Option<String>,
    pub has_link: bool,
}

impl Frame {
    pub(crate) fn of(desk: &Desk, step: Step) -> Frame {
        // Looked at first: what changes from here on is told to the page.
        let news = desk.latest();
        let (title, log_trouble) = match desk.folder().log() {
            Ok(log) => (log.shootout.title, None),
            Err(e) => (String::new(), Some(e.to_string())),
        };
        let title = if title.is_empty() {
            desk.path().file_name().map_or("shootout".into(), |n| n.to_string_lossy().into_owned())
        } else {
            title
        };
        Frame { news, step, title, log_trouble, has_link: desk.access().has_link() }
    }
}

/// A microphone or source to be chosen.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub(crate) struct Named {
    /// Key of the log.
    pub key: String,
    /// Name for people.
    pub name: String,
    /// Of a microphone: which hue and shape it has everywhere.
    pub hue: usize,
}

/// The microphones of the log; hues in the order of first takes, as the findings have them.
pub(crate) fn mics(now: &Now) -> Vec<Named> {
    let mut order: Vec<&String> = Vec::new();
    let of_takes = now.loaded.takes.iter().map(|t| &t.mic);
    for mic in of_takes.chain(now.loaded.log.shootout.mics.keys()) {
        if !order.contains(&mic) {
            order.push(mic);
        }
    }
    let log = &now.loaded.log.shootout;
    let named = |(hue, key): (usize, &&String)| Named { key: (*key).clone(), name: mic_name(log, key), hue };
    order.iter().enumerate().map(named).collect()
}

/// The sources of the log, those with takes first.
pub(crate) fn sources(now: &Now) -> Vec<Named> {
    let log = &now.loaded.log;
    let mut order: Vec<&String> = Vec::new();
    for source in log.takes.iter().map(|t| &t.source).chain(log.shootout.sources.keys()) {
        if !order.contains(&source) {
            order.push(source);
        }
    }
    order
        .into_iter()
        .map(|key| Named { key: key.clone(), name: source_name(&log.shootout, key), hue: 0 })
        .collect()
}

pub(crate) fn source_name(log: &Shootout, key: &str) -> String {
    log.sources.get(key).map_or(key, |s| s.name.as_str()).to_string()
}

/// The folder holds takes of measurements, and none that is compared.
pub(crate) fn only_measured(now: &Now) -> bool {
    let log = &now.loaded.log;
    log.takes.is_empty() && !log.bench.takes.is_empty()
}

/// Of those asked for and there are, the one meant: the asked one if it is there, else the first.
pub(crate) fn chosen(asked: Option<&String>, there_are: &[Named]) -> Option<String> {
    let there = asked.filter(|a| there_are.iter().any(|n| n.key == **a));
    there.cloned().or_else(|| there_are.first().map(|n| n.key.clone()))
}

/// One of the words of a form, as a query or the log has it.
pub(crate) fn word<T: DeserializeOwned>(text: &str) -> Option<T> {
    serde_json::from_value(serde_json::Value::String(text.to_string())).ok()
}
