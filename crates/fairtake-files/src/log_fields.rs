//! One field of the log at a time: its type, its range, its words. Every error has its place.

use crate::log_error::LogError;
use serde::de::{DeserializeOwned, IntoDeserializer};
use std::ops::Range;
use toml_edit::{Item, TableLike};

/// The text of a log, for the places of errors.
pub(crate) struct Reader<'t> {
    /// Name of the file.
    pub file: &'t str,
    /// Its text.
    pub text: &'t str,
}

/// A table of either way of writing.
pub(crate) type Fields<'d> = &'d dyn TableLike;

impl Reader<'_> {
    pub(crate) fn fail(&self, span: Range<usize>, what: String, hint: &str) -> LogError {
        LogError::at(self.file, self.text, span, what, hint)
    }

    pub(crate) fn value_span(&self, t: Fields, key: &str) -> Range<usize> {
        t.get(key).and_then(Item::span).unwrap_or(0..0)
    }

    pub(crate) fn known_keys(&self, t: Fields, known: &[&str]) -> Result<(), LogError> {
        for (key, item) in t.iter() {
            if !known.contains(&key) {
                let span = t.key(key).and_then(|k| k.span()).or(item.span()).unwrap_or(0..0);
                let hint = nearest(key, known.iter().copied());
                return Err(self.fail(span, format!("unknown key `{key}`"), &hint));
            }
        }
        Ok(())
    }

    pub(crate) fn defined<'k>(
        &self,
        t: Fields,
        (key, group): (&str, &str),
        value: &str,
        known: impl Iterator<Item = &'k String> + Clone,
    ) -> Result<(), LogError> {
        if known.clone().any(|k| k == value) {
            return Ok(());
        }
        let hint = if known.clone().next().is_none() {
            format!("define it as [{group}.{value}]")
        } else {
            nearest(value, known.map(String::as_str))
        };
        Err(self.fail(self.value_span(t, key), format!("{key} `{value}` is not defined"), &hint))
    }

    pub(crate) fn wrong<T>(&self, item: &Item, key: &str, wanted: &str) -> Result<T, LogError> {
        let what = format!("`{key}` must be {wanted}, found a value of type {}", item.type_name());
        Err(self.fail(item.span().unwrap_or(0..0), what, "change the value"))
    }

    pub(crate) fn table<'d>(&self, key: &str, item: &'d Item) -> Result<Fields<'d>, LogError> {
        match item.as_table_like() {
            Some(t) => Ok(t),
            None => self.wrong(item, key, "a table"),
        }
    }

    pub(crate) fn entries<'d>(
        &self,
        top: Fields<'d>,
        key: &str,
    ) -> Result<Vec<(&'d str, &'d Item)>, LogError> {
        match top.get(key) {
            None => Ok(Vec::new()),
            Some(item) => Ok(self.table(key, item)?.iter().collect()),
        }
    }

    pub(crate) fn tables<'d>(&self, top: Fields<'d>, key: &str) -> Result<Vec<Fields<'d>>, LogError> {
        match top.get(key) {
            None => Ok(Vec::new()),
            Some(Item::ArrayOfTables(tables)) => Ok(tables.iter().map(|t| t as Fields).collect()),
            Some(item) => self.wrong(item, key, &format!("written as [[{key}]]")),
        }
    }

    pub(crate) fn text_of(&self, t: Fields, key: &str) -> Result<Option<String>, LogError> {
        let Some(item) = t.get(key) else { return Ok(None) };
        match item.as_str() {
            Some(text) => Ok(Some(text.into())),
            None => self.wrong(item, key, "text in quotation marks"),
        }
    }

    pub(crate) fn required(&self, t: Fields, key: &str) -> Result<String, LogError> {
        match self.text_of(t, key)? {
            Some(text) if !text.is_empty() => Ok(text),
            _ => {
                let span = t.iter().find_map(|(k, _)| t.key(k).and_then(|k| k.span())).unwrap_or(0..0);
                Err(self.fail(span, format!("this take has no `{key}`"), &format!("add {key} = \"…\"")))
            }
        }
    }

    pub(crate) fn number(&self, t: Fields, key: &str, low: f64, high: f64) -> Result<Option<f64>, LogError> {
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

    pub(crate) fn whole(&self, t: Fields, key: &str, low: i64, high: i64) -> Result<Option<i64>, LogError> {
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

    pub(crate) fn switch(&self, t: Fields, key: &str) -> Result<bool, LogError> {
        let Some(item) = t.get(key) else { return Ok(false) };
        item.as_bool().map_or_else(|| self.wrong(item, key, "true or false"), Ok)
    }

    pub(crate) fn times(&self, t: Fields, key: &str) -> Result<Option<Vec<f64>>, LogError> {
        let Some(item) = t.get(key) else { return Ok(None) };
        let Some(array) = item.as_array() else { return self.wrong(item, key, "a list of seconds") };
        let seconds = |v: &toml_edit::Value| v.as_float().or(v.as_integer().map(|n| n as f64));
        let times: Option<Vec<f64>> = array.iter().map(seconds).collect();
        match times {
            Some(times) if times.iter().all(|s| s.is_finite() && *s >= 0.0) => Ok(Some(times)),
            _ => self.wrong(item, key, "a list of seconds, each 0 or more"),
        }
    }

    pub(crate) fn texts(&self, t: Fields, key: &str) -> Result<Option<Vec<String>>, LogError> {
        let Some(item) = t.get(key) else { return Ok(None) };
        let texts = item.as_array().map(|a| a.iter().map(|v| v.as_str().map(String::from)).collect());
        match texts {
            Some(Some(texts)) => Ok(Some(texts)),
            _ => self.wrong(item, key, "a list of texts in quotation marks"),
        }
    }

    pub(crate) fn word<T: DeserializeOwned>(
        &self,
        t: Fields,
        key: &str,
        words: &[&str],
    ) -> Result<Option<T>, LogError> {
        let Some(found) = self.text_of(t, key)? else { return Ok(None) };
        let parsed: Result<T, serde::de::value::Error> = T::deserialize(found.as_str().into_deserializer());
        parsed.map(Some).map_err(|_| {
            let hint = nearest(&found, words.iter().copied());
            self.fail(self.value_span(t, key), format!("`{key}` cannot be `{found}`"), &hint)
        })
    }
}

/// The nearest known word, then all of them.
pub(crate) fn nearest<'k>(found: &str, known: impl Iterator<Item = &'k str> + Clone) -> String {
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
