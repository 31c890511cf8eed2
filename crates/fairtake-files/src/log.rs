//! `shootout.toml` to the domain. Whatever is not known there is an error with its place and the nearest key.
//!
//! Form: docs/formats/shootout.md.

use crate::log_error::LogError;
use fairtake_compare::{ChainEntry, Mic, Role, Shootout, Source};
use serde::de::{DeserializeOwned, IntoDeserializer};
use std::collections::HashSet;
use std::ops::Range;
use toml_edit::{Document, Item, TableLike};

const TOP_KEYS: [&str; 6] = ["title", "margin_db", "temperature_c", "mics", "sources", "takes"];
const MIC_KEYS: [&str; 6] = ["name", "year", "serial", "kind", "pattern", "centre_offset_mm"];
const SOURCE_KEYS: [&str; 6] = ["name", "playing", "distance_mm", "radius_mm", "angle_deg", "replayed"];
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
    /// The takes in the order of the log.
    pub takes: Vec<TakeEntry>,
}

/// Parses the text of a log; `file` is named in errors.
///
/// # Errors
/// On anything that is not TOML, not known, of the wrong type, out of range, undefined or there twice.
pub fn parse_log(file: &str, text: &str) -> Result<Log, LogError> {
    let document = Document::parse(text).map_err(|e| {
        let what = e.message().lines().next().unwrap_or_default().to_lowercase();
        LogError::at(file, text, e.span().unwrap_or(0..0), what, "mend the TOML here")
    })?;
    Reader { file, text }.log(document.as_table())
}

struct Reader<'t> {
    file: &'t str,
    text: &'t str,
}

type Fields<'d> = &'d dyn TableLike;

impl Reader<'_> {
    fn log(&self, top: Fields) -> Result<Log, LogError> {
        self.known_keys(top, &TOP_KEYS)?;
        let mut shootout = Shootout {
            title: self.text_of(top, "title")?.unwrap_or_default(),
            temperature_c: self.number(top, "temperature_c", -50.0, 80.0)?,
            margin_db: self.number(top, "margin_db", 1e-3, 60.0)?,
            ..Shootout::default()
        };
        for (key, item) in self.entries(top, "mics")? {
            shootout.mics.insert(key.into(), self.mic(key, item)?);
        }
        for (key, item) in self.entries(top, "sources")? {
            shootout.sources.insert(key.into(), self.source(key, item)?);
        }
        let mut takes = Vec::new();
        let mut seen = HashSet::new();
        for table in self.take_tables(top)? {
            let take = self.take(table, takes.len(), &shootout)?;
            if !seen.insert((take.file.clone(), take.channel)) {
                let what = format!("{} channel {} is logged twice", take.file, take.channel);
                return Err(self.fail(self.value_span(table, "file"), what, "remove one of the two"));
            }
            takes.push(take);
        }
        Ok(Log { shootout, takes })
    }

    fn mic(&self, key: &str, item: &Item) -> Result<Mic, LogError> {
        let t = self.table(key, item)?;
        self.known_keys(t, &MIC_KEYS)?;
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

    fn take(&self, t: Fields, take_idx: usize, shootout: &Shootout) -> Result<TakeEntry, LogError> {
        self.known_keys(t, &TAKE_KEYS)?;
        let mic = self.required(t, "mic")?;
        let source = self.required(t, "source")?;
        self.defined(t, "mic", &mic, shootout.mics.keys())?;
        self.defined(t, "source", &source, shootout.sources.keys())?;
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
            role: self
                .word(t, "role", &["compared", "witness", "room-tone", "bleed", "calibrator"])?
                .unwrap_or_default(),
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

    fn fail(&self, span: Range<usize>, what: String, hint: &str) -> LogError {
        LogError::at(self.file, self.text, span, what, hint)
    }

    fn value_span(&self, t: Fields, key: &str) -> Range<usize> {
        t.get(key).and_then(Item::span).unwrap_or(0..0)
    }

    fn known_keys(&self, t: Fields, known: &[&str]) -> Result<(), LogError> {
        for (key, item) in t.iter() {
            if !known.contains(&key) {
                let span = t.key(key).and_then(|k| k.span()).or(item.span()).unwrap_or(0..0);
                let hint = nearest(key, known.iter().copied());
                return Err(self.fail(span, format!("unknown key `{key}`"), &hint));
            }
        }
        Ok(())
    }

    fn defined<'k>(
        &self,
        t: Fields,
        key: &str,
        value: &str,
        known: impl Iterator<Item = &'k String> + Clone,
    ) -> Result<(), LogError> {
        if known.clone().any(|k| k == value) {
            return Ok(());
        }
        let hint = if known.clone().next().is_none() {
            format!("define it as [{key}s.{value}]")
        } else {
            nearest(value, known.map(String::as_str))
        };
        Err(self.fail(self.value_span(t, key), format!("{key} `{value}` is not defined"), &hint))
    }

    fn wrong<T>(&self, item: &Item, key: &str, wanted: &str) -> Result<T, LogError> {
        let what = format!("`{key}` must be {wanted}, found a value of type {}", item.type_name());
        Err(self.fail(item.span().unwrap_or(0..0), what, "change the value"))
    }

    fn table<'d>(&self, key: &str, item: &'d Item) -> Result<Fields<'d>, LogError> {
        match item.as_table_like() {
            Some(t) => Ok(t),
            None => self.wrong(item, key, "a table"),
        }
    }

    fn entries<'d>(&self, top: Fields<'d>, key: &str) -> Result<Vec<(&'d str, &'d Item)>, LogError> {
        match top.get(key) {
            None => Ok(Vec::new()),
            Some(item) => Ok(self.table(key, item)?.iter().collect()),
        }
    }

    fn take_tables<'d>(&self, top: Fields<'d>) -> Result<Vec<Fields<'d>>, LogError> {
        match top.get("takes") {
            None => Ok(Vec::new()),
            Some(Item::ArrayOfTables(tables)) => Ok(tables.iter().map(|t| t as Fields).collect()),
            Some(item) => self.wrong(item, "takes", "written as [[takes]]"),
        }
    }

    fn text_of(&self, t: Fields, key: &str) -> Result<Option<String>, LogError> {
        let Some(item) = t.get(key) else { return Ok(None) };
        match item.as_str() {
            Some(text) => Ok(Some(text.into())),
            None => self.wrong(item, key, "text in quotation marks"),
        }
    }

    fn required(&self, t: Fields, key: &str) -> Result<String, LogError> {
        match self.text_of(t, key)? {
            Some(text) if !text.is_empty() => Ok(text),
            _ => {
                let span = t.iter().find_map(|(k, _)| t.key(k).and_then(|k| k.span())).unwrap_or(0..0);
                Err(self.fail(span, format!("this take has no `{key}`"), &format!("add {key} = \"…\"")))
            }
        }
    }

    fn number(&self, t: Fields, key: &str, low: f64, high: f64) -> Result<Option<f64>, LogError> {
        let Some(item) = t.get(key) else { return Ok(None) };
        let Some(x) = item.as_float().or(item.as_integer().map(|n| n as f64)) else {
            return self.wrong(item, key, "a number");
        };
        if (low..=high).contains(&x) {
            return Ok(Some(x));
        }
        let what = format!("`{key}` is {x}, outside {low} to {high}");
        Err(self.fail(item.span().unwrap_or(0..0), what, "check the value and its unit"))
    }

    fn whole(&self, t: Fields, key: &str, low: i64, high: i64) -> Result<Option<i64>, LogError> {
        let Some(item) = t.get(key) else { return Ok(None) };
        match item.as_integer() {
            Some(n) if (low..=high).contains(&n) => Ok(Some(n)),
            Some(n) => {
                let what = format!("`{key}` is {n}, outside {low} to {high}");
                Err(self.fail(item.span().unwrap_or(0..0), what, "check the value"))
            }
            None => self.wrong(item, key, "a whole number"),
        }
    }

    fn switch(&self, t: Fields, key: &str) -> Result<bool, LogError> {
        let Some(item) = t.get(key) else { return Ok(false) };
        item.as_bool().map_or_else(|| self.wrong(item, key, "true or false"), Ok)
    }

    fn times(&self, t: Fields, key: &str) -> Result<Option<Vec<f64>>, LogError> {
        let Some(item) = t.get(key) else { return Ok(None) };
        let Some(array) = item.as_array() else { return self.wrong(item, key, "a list of seconds") };
        let seconds = |v: &toml_edit::Value| v.as_float().or(v.as_integer().map(|n| n as f64));
        let times: Option<Vec<f64>> = array.iter().map(seconds).collect();
        match times {
            Some(times) if times.iter().all(|s| s.is_finite() && *s >= 0.0) => Ok(Some(times)),
            _ => self.wrong(item, key, "a list of seconds, each 0 or more"),
        }
    }

    fn word<T: DeserializeOwned>(&self, t: Fields, key: &str, words: &[&str]) -> Result<Option<T>, LogError> {
        let Some(found) = self.text_of(t, key)? else { return Ok(None) };
        let parsed: Result<T, serde::de::value::Error> = T::deserialize(found.as_str().into_deserializer());
        parsed.map(Some).map_err(|_| {
            let hint = nearest(&found, words.iter().copied());
            self.fail(self.value_span(t, key), format!("`{key}` cannot be `{found}`"), &hint)
        })
    }
}

/// The nearest known word, then all of them.
fn nearest<'k>(found: &str, known: impl Iterator<Item = &'k str> + Clone) -> String {
    let all = known.clone().collect::<Vec<_>>().join(", ");
    let best = known.max_by(|a, b| strsim::jaro_winkler(found, a).total_cmp(&strsim::jaro_winkler(found, b)));
    match best {
        // Below this likeness a guess would mislead; the list still helps.
        Some(word) if strsim::jaro_winkler(found, word) >= 0.7 => {
            format!("did you mean `{word}`? Known here: {all}")
        }
        _ => format!("known here: {all}"),
    }
}
