//! One value of the log changed, by a page or a program, so that two who work on one folder cannot overwrite each other:
//! a change says what the value was when its author saw it, and is refused where it is something else by now.

use crate::log::parse_log;
use crate::log_error::LogError;
use crate::log_write::LogFile;
use serde::{Deserialize, Serialize};
use serde_json::Value as Json;
use std::fmt;
use toml_edit::{Array, ArrayOfTables, DocumentMut, Item, Table, Value};

/// Which part of the log.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Place {
    /// The top: title, margin, temperature.
    Top,
    /// What measurements need of the bench as a whole; made where it is new.
    Bench,
    /// The sound calibrator; made where it is new.
    Calibrator,
    /// A microphone by key; made where it is new.
    Mic(String),
    /// A source by key; made where it is new.
    Source(String),
    /// The plan of a source by its key; made where it is new.
    Plan(String),
    /// A take that is listed.
    Take {
        /// Path from the folder.
        file: String,
        /// Channel, counted from 1.
        channel: u16,
    },
    /// The user's own words on a pair; made where they are new.
    OwnWords {
        /// Key of the source.
        source: String,
        /// Key of the reference.
        reference: String,
        /// Key of the other microphone.
        against: String,
    },
}

/// A value to be set.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Change {
    /// Where.
    pub place: Place,
    /// Key there; `None`: the whole entry, which is removed.
    pub key: Option<String>,
    /// What its author saw: text, number, switch, list, or null where it was not there.
    #[serde(default)]
    pub was: Json,
    /// What it shall be; null takes it out.
    #[serde(default)]
    pub to: Json,
}

/// A change was not made; the log is as it was.
#[derive(Debug, Clone, PartialEq)]
pub enum ChangeError {
    /// Somebody else changed the same value in the meantime.
    Conflict {
        /// Key.
        key: String,
        /// What it is now.
        now: Json,
    },
    /// The log would not be valid, or cannot be written.
    Log(LogError),
}

impl fmt::Display for ChangeError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            ChangeError::Conflict { key, now } => {
                write!(f, "`{key}` was changed meanwhile and is now {now}; nothing was written")
            }
            ChangeError::Log(e) => e.fmt(f),
        }
    }
}

impl std::error::Error for ChangeError {}

impl ChangeError {
    /// What to do about it.
    pub fn hint(&self) -> &str {
        match self {
            ChangeError::Conflict { .. } => {
                "look at the new value, and change it again if it should be another"
            }
            ChangeError::Log(e) => &e.hint,
        }
    }
}

impl LogFile {
    /// Makes changes in the log in memory, all or none; [`LogFile::write`] puts them in place.
    ///
    /// # Errors
    /// When a value is no longer what the change says, or the log would not be valid.
    pub fn change(&mut self, changes: &[Change]) -> Result<(), ChangeError> {
        let mut document = self.document.clone();
        for change in changes {
            apply(&mut document, change).map_err(|e| match e {
                Refused::Conflict(now) => ChangeError::Conflict {
                    key: change.key.clone().unwrap_or_else(|| "the entry".into()),
                    now,
                },
                Refused::Shape(what) => {
                    ChangeError::Log(self.fail(what, "reload the page, or mend the log by hand"))
                }
            })?;
        }
        let text = document.to_string();
        parse_log(&self.path.display().to_string(), &text).map_err(ChangeError::Log)?;
        // Parsed again, so that the places of new tables are settled.
        self.document =
            text.parse().map_err(|e: toml_edit::TomlError| ChangeError::Log(self.fail(e.to_string(), "")))?;
        Ok(())
    }
}

enum Refused {
    Conflict(Json),
    Shape(String),
}

fn apply(document: &mut DocumentMut, change: &Change) -> Result<(), Refused> {
    let Some(key) = &change.key else { return remove(document, &change.place) };
    let table = table_of(document, &change.place)?;
    if table.get(key).is_some_and(|item| !item.is_value()) {
        return Err(Refused::Shape(format!("`{key}` holds entries; they are changed one by one")));
    }
    let now = table.get(key).map_or(Json::Null, json_of);
    if !same(&now, &change.was) {
        return Err(Refused::Conflict(now));
    }
    match value_of(&change.to)? {
        None => drop(table.remove(key)),
        // The old value's comments stay with the new one.
        Some(mut new) => match table.get_mut(key) {
            Some(Item::Value(old)) => {
                *new.decor_mut() = old.decor().clone();
                *old = new;
            }
            _ => drop(table.insert(key, Item::Value(new))),
        },
    }
    Ok(())
}

/// The table that is meant, made where it may be.
fn table_of<'d>(
    document: &'d mut DocumentMut,
    place: &Place,
) -> Result<&'d mut dyn toml_edit::TableLike, Refused> {
    let shape = |what: &str| Refused::Shape(what.to_string());
    let group = |place: &Place| match place {
        Place::Mic(key) => Some(("mics", key.clone())),
        Place::Source(key) => Some(("sources", key.clone())),
        Place::Plan(key) => Some(("plans", key.clone())),
        _ => None,
    };
    if let Some((group, key)) = group(place) {
        let groups = document.entry(group).or_insert_with(|| {
            let mut table = Table::new();
            table.set_implicit(true);
            Item::Table(table)
        });
        let groups = groups.as_table_like_mut().ok_or_else(|| shape(&format!("`{group}` is no table")))?;
        if !groups.contains_key(&key) {
            groups.insert(&key, Item::Table(Table::new()));
        }
        return groups
            .get_mut(&key)
            .and_then(Item::as_table_like_mut)
            .ok_or_else(|| shape(&format!("`{group}.{key}` is no table")));
    }
    match place {
        Place::Bench | Place::Calibrator => {
            let name = if *place == Place::Bench { "bench" } else { "calibrator" };
            let table = document.entry(name).or_insert_with(|| Item::Table(Table::new()));
            table.as_table_like_mut().ok_or_else(|| shape(&format!("`{name}` is no table")))
        }
        Place::Take { file, channel } => {
            let takes = document.get_mut("takes").and_then(Item::as_array_of_tables_mut);
            takes
                .and_then(|t| t.iter_mut().find(|t| is_take(t, file, *channel)))
                .map(|t| t as &mut dyn toml_edit::TableLike)
                .ok_or_else(|| shape(&format!("{file} channel {channel} is not in the log any more")))
        }
        Place::OwnWords { source, reference, against } => {
            let all =
                document.entry("own_words").or_insert_with(|| Item::ArrayOfTables(ArrayOfTables::new()));
            let all =
                all.as_array_of_tables_mut().ok_or_else(|| shape("`own_words` is not written as tables"))?;
            let parts = [("source", source), ("reference", reference), ("against", against)];
            let at = all.iter().position(|t| {
                parts.iter().all(|(key, value)| t.get(key).and_then(Item::as_str) == Some(value.as_str()))
            });
            let at = at.unwrap_or_else(|| {
                let mut table = Table::new();
                parts.iter().for_each(|(key, value)| table[key] = toml_edit::value(value.as_str()));
                all.push(table);
                all.len() - 1
            });
            all.get_mut(at).map(|t| t as &mut dyn toml_edit::TableLike).ok_or_else(|| shape("no such entry"))
        }
        _ => Ok(document.as_table_mut()),
    }
}

/// Takes an entry out of the log. The files stay where they are.
fn remove(document: &mut DocumentMut, place: &Place) -> Result<(), Refused> {
    let gone = |what: String| Refused::Shape(format!("{what} is not in the log any more"));
    let out_of = |document: &mut DocumentMut, group: &str, key: &String| {
        let groups = document.get_mut(group).and_then(Item::as_table_like_mut);
        groups.and_then(|g| g.remove(key)).map(drop).ok_or_else(|| gone(format!("{group}.{key}")))
    };
    match place {
        Place::Mic(key) => out_of(document, "mics", key),
        Place::Source(key) => out_of(document, "sources", key),
        Place::Plan(key) => out_of(document, "plans", key),
        Place::Take { file, channel } => {
            let takes = document.get_mut("takes").and_then(Item::as_array_of_tables_mut);
            let missing = || gone(format!("{file} channel {channel}"));
            let takes = takes.ok_or_else(missing)?;
            let at = takes.iter().position(|t| is_take(t, file, *channel)).ok_or_else(missing)?;
            takes.remove(at);
            Ok(())
        }
        Place::Top | Place::Bench | Place::Calibrator | Place::OwnWords { .. } => {
            Err(Refused::Shape("this entry cannot be removed".into()))
        }
    }
}

fn is_take(table: &Table, file: &str, channel: u16) -> bool {
    table.get("file").and_then(Item::as_str) == Some(file)
        && table.get("channel").and_then(Item::as_integer).unwrap_or(1) == i64::from(channel)
}

fn json_of(item: &Item) -> Json {
    fn of(value: &Value) -> Json {
        match value {
            Value::String(s) => Json::from(s.value().as_str()),
            Value::Integer(n) => Json::from(*n.value()),
            Value::Float(x) => Json::from(*x.value()),
            Value::Boolean(b) => Json::from(*b.value()),
            Value::Array(a) => Json::Array(a.iter().map(of).collect()),
            other => Json::from(other.to_string()),
        }
    }
    item.as_value().map_or(Json::Null, of)
}

/// Numbers are equal as numbers, and nothing is an empty text or list.
fn same(a: &Json, b: &Json) -> bool {
    let nothing = |v: &Json| match v {
        Json::Null => true,
        Json::String(s) => s.is_empty(),
        Json::Array(a) => a.is_empty(),
        _ => false,
    };
    match (a, b) {
        (Json::Number(a), Json::Number(b)) => a.as_f64() == b.as_f64(),
        (Json::Array(a), Json::Array(b)) => a.len() == b.len() && a.iter().zip(b).all(|(a, b)| same(a, b)),
        (a, b) => a == b || (nothing(a) && nothing(b)),
    }
}

fn value_of(json: &Json) -> Result<Option<Value>, Refused> {
    Ok(match json {
        Json::Null => None,
        Json::String(s) => Some(Value::from(s.as_str())),
        Json::Bool(b) => Some(Value::from(*b)),
        Json::Number(n) => match (n.as_i64(), n.as_f64()) {
            (Some(n), _) => Some(Value::from(n)),
            (None, Some(x)) => Some(Value::from(x)),
            (None, None) => return Err(Refused::Shape(format!("{n} is no number of the log"))),
        },
        Json::Array(items) => {
            let mut array = Array::new();
            for item in items {
                array.extend(value_of(item)?);
            }
            Some(Value::Array(array))
        }
        Json::Object(_) => return Err(Refused::Shape("a value of the log is no object".into())),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    const LOG: &str = "title = \"Boathouse\" # ours\n\n[mics.heron]\nname = \"Heron 3\"\n\n[mics.coot]\n\n[sources.drum]\n\n\
                       # the first one\n[[takes]]\nfile = \"takes/a.wav\"\nmic = \"heron\"\nsource = \"drum\"\n\
                       placement = 2 # again\n";

    fn log() -> (tempfile::TempDir, LogFile) {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let path = folder.path().join("shootout.toml");
        std::fs::write(&path, LOG).expect("written");
        let file = LogFile::read(&path).expect("is valid");
        (folder, file)
    }

    fn take(key: &str, was: Json, to: Json) -> Change {
        let place = Place::Take { file: "takes/a.wav".into(), channel: 1 };
        Change { place, key: Some(key.into()), was, to }
    }

    #[test]
    fn a_value_is_changed_and_comments_stay() {
        let (_folder, mut file) = log();
        file.change(&[take("placement", json!(2), json!(3)), take("mic", json!("heron"), json!("coot"))])
            .expect("valid");
        let wanted =
            LOG.replace("placement = 2", "placement = 3").replace("mic = \"heron\"", "mic = \"coot\"");
        assert_eq!(file.text(), wanted);
        file.change(&[take("gain_db", Json::Null, json!(38.5))]).expect("valid");
        assert!(file.text().contains("gain_db = 38.5"));
        file.change(&[take("gain_db", json!(38.5), Json::Null)]).expect("valid");
        assert_eq!(file.text(), wanted);
    }

    #[test]
    fn a_value_that_somebody_else_changed_is_not_overwritten() {
        let (_folder, mut file) = log();
        let refused = file.change(&[take("placement", json!(1), json!(3))]);
        assert_eq!(refused, Err(ChangeError::Conflict { key: "placement".into(), now: json!(2) }));
        assert_eq!(file.text(), LOG);
    }

    #[test]
    fn what_would_not_be_valid_is_refused_and_of_several_changes_none_is_made() {
        let (_folder, mut file) = log();
        let changes = [take("placement", json!(2), json!(3)), take("mic", json!("heron"), json!("moorhen"))];
        let Err(ChangeError::Log(e)) = file.change(&changes) else { panic!("moorhen is not defined") };
        assert!(e.what.contains("moorhen") && e.hint.contains("heron"), "{e:?}");
        // A microphone that a take names cannot be taken out.
        let place = Place::Mic("heron".into());
        assert!(file.change(&[Change { place, key: None, was: Json::Null, to: Json::Null }]).is_err());
        let nested = take("mic", json!("heron"), json!({"a": 1}));
        assert!(matches!(file.change(&[nested]), Err(ChangeError::Log(_))));
        // A whole group is no value: nobody has seen all of it, so nobody may take it out in one go.
        for group in ["mics", "sources", "takes"] {
            let change =
                Change { place: Place::Top, key: Some(group.into()), was: Json::Null, to: Json::Null };
            assert!(matches!(file.change(&[change]), Err(ChangeError::Log(_))), "{group}");
        }
        assert_eq!(file.text(), LOG);
    }

    #[test]
    fn entries_are_made_where_they_are_new_and_taken_out_again() {
        let (_folder, mut file) = log();
        let set = |place: &Place, key: &str, to: Json| Change {
            place: place.clone(),
            key: Some(key.into()),
            was: Json::Null,
            to,
        };
        let (plan, mic) = (Place::Plan("drum".into()), Place::Mic("rail".into()));
        let words =
            Place::OwnWords { source: "drum".into(), reference: "heron".into(), against: "coot".into() };
        file.change(&[
            set(&mic, "name", json!("Rail")),
            set(&plan, "mics", json!(["heron", "rail"])),
            set(&plan, "design", json!("in-turn")),
            set(&words, "text", json!("Softer \"up there\".\nStill good.")),
        ])
        .expect("valid");
        let log = parse_log("x", &file.text()).expect("valid").shootout;
        assert_eq!(log.plans["drum"].mics, ["heron", "rail"]);
        assert_eq!(log.own_words[0].text, "Softer \"up there\".\nStill good.");
        let take_out =
            Change { place: Place::Plan("drum".into()), key: None, was: Json::Null, to: Json::Null };
        file.change(&[take_out]).expect("valid");
        assert!(parse_log("x", &file.text()).expect("valid").shootout.plans.is_empty());
    }
}
