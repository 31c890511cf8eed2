//! `shootout.toml` to the domain. Whatever is not known there is an error with its place and the nearest key.
//!
//! Form: docs/formats/shootout.md.

use crate::log_bench::{self, BenchLog};
use crate::log_error::LogError;
use crate::log_fields::{Fields, Reader, nearest};
use fairtake_calibrated::MeasuredRole;
use fairtake_calibrated::bench::TEMPERATURES_C;
use fairtake_compare::{ChainEntry, Design, Mic, OwnWords, Plan, Role, Shootout, Source};
use serde::Deserialize;
use std::collections::HashSet;
use std::ops::Range;
use toml_edit::{Document, Item};

const TOP_KEYS: [&str; 10] = [
    "title",
    "margin_db",
    "temperature_c",
    "mics",
    "sources",
    "plans",
    "own_words",
    "bench",
    "calibrator",
    "takes",
];
const MIC_KEYS: [&str; 6] = ["name", "year", "serial", "kind", "pattern", "centre_offset_mm"];
const SOURCE_KEYS: [&str; 6] = ["name", "playing", "distance_mm", "radius_mm", "angle_deg", "replayed"];
const PLAN_KEYS: [&str; 9] = [
    "mics",
    "design",
    "placements",
    "events",
    "witness",
    "resolution_db",
    "ticked",
    "spread_placements_db",
    "spread_events_db",
];
const OWN_WORDS_KEYS: [&str; 4] = ["source", "reference", "against", "text"];
const TAKE_KEYS: [&str; 17] = [
    "file",
    "channel",
    "mic",
    "source",
    "placement",
    "performance",
    "order",
    "position",
    "role",
    "gain_db",
    "pad_db",
    "filter_hz",
    "preamp",
    "converter",
    "cable",
    "events_s",
    "keep_although_unfair",
];

/// One `[[takes]]` of the log.
#[derive(Debug, Clone, PartialEq)]
pub struct TakeEntry {
    /// Path from the folder.
    pub file: String,
    /// Channel, counted from 1.
    pub channel: u16,
    /// Key of the microphone.
    pub mic: String,
    /// Key of the source.
    pub source: String,
    /// Which setting-up, counted from 1.
    pub placement: u32,
    /// Which pass of playing, counted from 1; where left out, the number of the take in the log.
    pub performance: u32,
    /// In which order the takes were made.
    pub order: Option<u32>,
    /// Named spot.
    pub position: Option<String>,
    /// What the take is for.
    pub role: Role,
    /// The chain.
    pub chain: ChainEntry,
    /// Hand-set event onsets in seconds.
    pub hand_set_events_s: Option<Vec<f64>>,
    /// Kept although a check calls it unfair.
    pub keep_although_unfair: bool,
    /// Where it begins in the log, in bytes; for errors about its file.
    pub(crate) span: Range<usize>,
}

impl TakeEntry {
    /// A take of which nothing but this is known yet.
    pub fn new(file: &str, channel: u16, mic: &str, source: &str) -> TakeEntry {
        TakeEntry {
            file: file.into(),
            channel,
            mic: mic.into(),
            source: source.into(),
            placement: 1,
            performance: 1,
            order: None,
            position: None,
            role: Role::Compared,
            chain: ChainEntry::default(),
            hand_set_events_s: None,
            keep_although_unfair: false,
            span: 0..0,
        }
    }
}

/// A parsed log.
#[derive(Debug, Clone, PartialEq)]
pub struct Log {
    /// All but the takes.
    pub shootout: Shootout,
    /// The takes that are compared, or help to, in the order of the log.
    pub takes: Vec<TakeEntry>,
    /// What it says of measurements, with their takes.
    pub bench: BenchLog,
}

impl Log {
    /// True where a file is that of a take, of a comparison or a measurement, or of what was played for one.
    pub fn lists(&self, file: &str) -> bool {
        self.files().any(|known| known == file)
    }

    /// The files of all takes, and of what was played for measurements; one may come several times.
    pub fn files(&self) -> impl Iterator<Item = &str> {
        let measured = self.bench.takes.iter();
        let measured = measured.flat_map(|t| [Some(t.file.as_str()), t.excitation.as_deref()]).flatten();
        self.takes.iter().map(|t| t.file.as_str()).chain(measured)
    }
}

/// Parses the text of a log; `file` is named in errors.
///
/// # Errors
/// On anything that is not TOML, not known, of the wrong type, out of range, undefined or there twice.
pub fn parse_log(file: &str, text: &str) -> Result<Log, LogError> {
    let not_toml = |message: &str, span: Option<std::ops::Range<usize>>| {
        let what = message.lines().next().unwrap_or_default().to_lowercase();
        LogError::at(file, text, span.unwrap_or(0..0), what, "mend the TOML here")
    };
    // The library that keeps places and comments panics on some torn logs, which this one refuses.
    toml::from_str::<toml::Table>(text).map_err(|e| not_toml(e.message(), e.span()))?;
    let document = Document::parse(text).map_err(|e| not_toml(e.message(), e.span()))?;
    Reader { file, text }.log(document.as_table())
}

/// The roles of takes that are compared, or help to.
const ROLES: [&str; 4] = ["compared", "witness", "room-tone", "bleed"];

/// What a take is for.
#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(untagged)]
enum LoggedRole {
    Compared(Role),
    Measured(MeasuredRole),
}

/// A design as the log writes it.
#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum PlannedDesign {
    Together,
    InTurn,
    InTurnWithWitness,
    Replayed,
}

impl PlannedDesign {
    fn design(self) -> Design {
        match self {
            PlannedDesign::Together => Design::Together,
            PlannedDesign::InTurn => Design::InTurn,
            PlannedDesign::InTurnWithWitness => Design::InTurnWithWitness,
            PlannedDesign::Replayed => Design::Replayed,
        }
    }
}

impl Reader<'_> {
    fn log(&self, top: Fields) -> Result<Log, LogError> {
        self.known_keys(top, &TOP_KEYS)?;
        let mut shootout = Shootout {
            title: self.text_of(top, "title")?.unwrap_or_default(),
            temperature_c: self.number(top, "temperature_c", TEMPERATURES_C.0, TEMPERATURES_C.1)?,
            margin_db: self.number(top, "margin_db", 1e-3, 60.0)?,
            ..Shootout::default()
        };
        for (key, item) in self.entries(top, "mics")? {
            shootout.mics.insert(key.into(), self.mic(key, item)?);
        }
        for (key, item) in self.entries(top, "sources")? {
            shootout.sources.insert(key.into(), self.source(key, item)?);
        }
        for (key, item) in self.entries(top, "plans")? {
            let plan = self.plan(key, item, &shootout)?;
            shootout.plans.insert(key.into(), plan);
        }
        for table in self.tables(top, "own_words")? {
            let words = self.own_words(table, &shootout)?;
            shootout.own_words.push(words);
        }
        let mut takes = Vec::new();
        let mut bench = self.bench(top, &shootout)?;
        let mut seen = HashSet::new();
        for (take_idx, table) in self.tables(top, "takes")?.into_iter().enumerate() {
            let known: Vec<&str> = [TAKE_KEYS.as_slice(), &log_bench::TAKE_KEYS].concat();
            self.known_keys(table, &known)?;
            let (file, channel) = match self.role(table)? {
                LoggedRole::Measured(role) => {
                    let take = self.measured_take(table, take_idx, role, &shootout)?;
                    bench.takes.push(take.clone());
                    (take.file, take.channel)
                }
                LoggedRole::Compared(role) => {
                    let take = self.take(table, take_idx, role, &shootout)?;
                    takes.push(take.clone());
                    (take.file, take.channel)
                }
            };
            if !seen.insert((file.clone(), channel)) {
                let what = format!("{file} channel {channel} is logged twice");
                return Err(self.fail(self.value_span(table, "file"), what, "remove one of the two"));
            }
        }
        Ok(Log { shootout, takes, bench })
    }

    fn mic(&self, key: &str, item: &Item) -> Result<Mic, LogError> {
        let t = self.table(key, item)?;
        self.known_keys(t, &[MIC_KEYS.as_slice(), &log_bench::MIC_KEYS].concat())?;
        Ok(Mic {
            name: self.text_of(t, "name")?.unwrap_or_else(|| key.into()),
            year: self.whole(t, "year", 1800, 9999)?.map(|y| y as i32),
            serial: self.text_of(t, "serial")?,
            kind: self.word(t, "kind", &["dynamic", "condenser", "ribbon", "other"])?,
            pattern: self.word(
                t,
                "pattern",
                &["omni", "subcardioid", "cardioid", "supercardioid", "hypercardioid", "bidirectional"],
            )?,
            centre_offset_mm: self.number(t, "centre_offset_mm", -1000.0, 1000.0)?,
        })
    }

    fn source(&self, key: &str, item: &Item) -> Result<Source, LogError> {
        let t = self.table(key, item)?;
        self.known_keys(t, &SOURCE_KEYS)?;
        Ok(Source {
            name: self.text_of(t, "name")?.unwrap_or_else(|| key.into()),
            playing: self.word(t, "playing", &["percussive", "sustained", "auto"])?.unwrap_or_default(),
            distance_mm: self.number(t, "distance_mm", 0.0, 1e6)?,
            radius_mm: self.number(t, "radius_mm", 0.0, 1e6)?,
            angle_deg: self.number(t, "angle_deg", -360.0, 360.0)?,
            replayed: self.switch(t, "replayed")?,
        })
    }

    fn plan(&self, key: &str, item: &Item, shootout: &Shootout) -> Result<Plan, LogError> {
        let t = self.table(key, item)?;
        self.known_keys(t, &PLAN_KEYS)?;
        if !shootout.sources.contains_key(key) {
            let hint = nearest(key, shootout.sources.keys().map(String::as_str));
            let span = item.span().unwrap_or(0..0);
            return Err(self.fail(span, format!("source `{key}` is planned and not defined"), &hint));
        }
        let mics = self.texts(t, "mics")?.unwrap_or_default();
        let witness = self.text_of(t, "witness")?;
        for mic in mics.iter().chain(&witness) {
            let key = if Some(mic) == witness.as_ref() { "witness" } else { "mics" };
            self.defined(t, (key, "mics"), mic, shootout.mics.keys())?;
        }
        if let Some(twice) = mics.iter().enumerate().find(|(i, mic)| mics[..*i].contains(mic)) {
            let what = format!("microphone `{}` is planned twice", twice.1);
            return Err(self.fail(self.value_span(t, "mics"), what, "name it once"));
        }
        // A run sheet that nobody can work through is a slip of the finger.
        let count = |key, most| self.whole(t, key, 1, most).map(|n| n.map(|n| n as u32));
        Ok(Plan {
            mics,
            design: self
                .word(t, "design", &["together", "in-turn", "in-turn-with-witness", "replayed"])?
                .map_or(Design::InTurn, PlannedDesign::design),
            placements: count("placements", 100)?.unwrap_or(2),
            events: count("events", 10_000)?.unwrap_or(12),
            witness,
            resolution_db: self.number(t, "resolution_db", 1e-3, 60.0)?,
            ticked: self.texts(t, "ticked")?.unwrap_or_default(),
            spread_placements_db: self.number(t, "spread_placements_db", 0.0, 60.0)?,
            spread_events_db: self.number(t, "spread_events_db", 0.0, 60.0)?,
        })
    }

    fn own_words(&self, t: Fields, shootout: &Shootout) -> Result<OwnWords, LogError> {
        self.known_keys(t, &OWN_WORDS_KEYS)?;
        let words = OwnWords {
            source: self.required(t, "source")?,
            reference: self.required(t, "reference")?,
            against: self.required(t, "against")?,
            text: self.text_of(t, "text")?.unwrap_or_default(),
        };
        self.defined(t, ("source", "sources"), &words.source, shootout.sources.keys())?;
        self.defined(t, ("reference", "mics"), &words.reference, shootout.mics.keys())?;
        self.defined(t, ("against", "mics"), &words.against, shootout.mics.keys())?;
        Ok(words)
    }

    /// What a take is for: the words of comparisons and of measurements are one list to whoever writes them.
    fn role(&self, t: Fields) -> Result<LoggedRole, LogError> {
        let words: Vec<&str> = ROLES.into_iter().chain(MeasuredRole::ALL.map(MeasuredRole::word)).collect();
        Ok(self.word(t, "role", &words)?.unwrap_or(LoggedRole::Compared(Role::Compared)))
    }

    fn take(
        &self,
        t: Fields,
        take_idx: usize,
        role: Role,
        shootout: &Shootout,
    ) -> Result<TakeEntry, LogError> {
        if let Some(key) = log_bench::TAKE_KEYS.into_iter().find(|key| t.contains_key(key)) {
            let hint = format!("add a role: {}", MeasuredRole::ALL.map(MeasuredRole::word).join(", "));
            let what = format!("`{key}` belongs to takes of a measurement");
            return Err(self.fail(self.value_span(t, key), what, &hint));
        }
        let mic = self.required(t, "mic")?;
        let source = self.required(t, "source")?;
        self.defined(t, ("mic", "mics"), &mic, shootout.mics.keys())?;
        self.defined(t, ("source", "sources"), &source, shootout.sources.keys())?;
        let count = |key| self.whole(t, key, 1, i64::from(u32::MAX)).map(|n| n.map(|n| n as u32));
        Ok(TakeEntry {
            file: self.required(t, "file")?,
            channel: self.whole(t, "channel", 1, i64::from(u16::MAX))?.unwrap_or(1) as u16,
            mic,
            source,
            placement: count("placement")?.unwrap_or(1),
            performance: count("performance")?.unwrap_or(take_idx as u32 + 1),
            order: count("order")?,
            position: self.text_of(t, "position")?,
            role,
            chain: ChainEntry {
                gain_db: self.number(t, "gain_db", -200.0, 200.0)?,
                pad_db: self.number(t, "pad_db", -200.0, 200.0)?,
                filter_hz: self.number(t, "filter_hz", 0.0, 1e6)?,
                preamp: self.text_of(t, "preamp")?,
                converter: self.text_of(t, "converter")?,
                cable: self.text_of(t, "cable")?,
            },
            hand_set_events_s: self.times(t, "events_s")?,
            keep_although_unfair: self.switch(t, "keep_although_unfair")?,
            span: self.value_span(t, "file"),
        })
    }
}
