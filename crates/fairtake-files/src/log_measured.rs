//! Takes of measurements entered in the log.

use crate::log::parse_log;
use crate::log_error::LogError;
use crate::log_write::LogFile;
use fairtake_calibrated::{Excitation, MeasuredRole};
use serde::{Deserialize, Serialize};
use std::path::Path;
use toml_edit::{ArrayOfTables, Item, Table, value};

/// A take of a measurement that is to be entered; keys as in docs/formats/shootout.md.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct NewMeasured {
    /// Path from the folder.
    pub file: String,
    /// Channel, counted from 1.
    pub channel: u16,
    /// Key of the microphone.
    pub mic: String,
    /// What it is.
    pub role: MeasuredRole,
    /// Key of the source; empty: none, as where nothing is played.
    #[serde(default)]
    pub source: String,
    /// Path of what was played, from the folder.
    pub excitation: Option<String>,
    /// Which setting-up, counted from 1.
    pub placement: u32,
    /// Which pass, counted from 1; takes recorded at once share it.
    pub performance: u32,
    /// Gain as set on the preamp.
    pub gain_db: Option<f64>,
    /// Direction of the sound off the axis, in degrees.
    pub angle_deg: Option<f64>,
    /// Distance from the loudspeaker in mm.
    pub distance_mm: Option<f64>,
}

impl LogFile {
    /// Adds a take of a measurement at the end.
    ///
    /// # Errors
    /// When the log would not be valid afterwards; it is then left as it was.
    pub fn add_measured(&mut self, take: &NewMeasured) -> Result<(), LogError> {
        let mut changed = self.document.clone();
        let takes = changed.entry("takes").or_insert_with(|| Item::ArrayOfTables(ArrayOfTables::new()));
        if let Some(takes) = takes.as_array_of_tables_mut() {
            takes.push(table(take));
        }
        let text = changed.to_string();
        let log = parse_log(&self.path.display().to_string(), &text)?;
        if !log.bench.takes.last().is_some_and(|t| t.file == take.file && t.channel == take.channel) {
            let what = "the take cannot be added to the list as it is written".into();
            return Err(self.fail(what, "write the takes as [[takes]]"));
        }
        // Parsed again, so that the places of new tables are settled.
        self.document = text.parse().map_err(|e: toml_edit::TomlError| self.fail(e.to_string(), ""))?;
        Ok(())
    }
}

fn table(take: &NewMeasured) -> Table {
    let mut t = Table::new();
    t["file"] = value(take.file.as_str());
    if take.channel != 1 {
        t["channel"] = value(i64::from(take.channel));
    }
    t["mic"] = value(take.mic.as_str());
    if !take.source.is_empty() {
        t["source"] = value(take.source.as_str());
    }
    t["role"] = value(take.role.word());
    if let Some(file) = &take.excitation {
        t["excitation"] = value(file.as_str());
    }
    t["placement"] = value(i64::from(take.placement));
    t["performance"] = value(i64::from(take.performance));
    for (key, number) in
        [("gain_db", take.gain_db), ("angle_deg", take.angle_deg), ("distance_mm", take.distance_mm)]
    {
        if let Some(number) = number {
            t[key] = value(number);
        }
    }
    t
}

/// Folders of a shootout in which files of `fairtake sweep` are looked for.
const PLACES: [&str; 2] = ["", "excitations/"];

/// Files that `fairtake sweep` made and that lie in a folder or in its `excitations`: paths from the folder, in order.
pub fn excitations_in(folder: &Path) -> Vec<String> {
    let mut found: Vec<String> = PLACES
        .iter()
        .flat_map(|place| {
            let entries = std::fs::read_dir(folder.join(place)).into_iter().flatten().flatten();
            entries.filter_map(move |entry| {
                let described = entry.path();
                let name = described.file_name()?.to_str()?.strip_suffix(".json")?.to_string();
                let is_one = described.with_extension("wav").is_file()
                    && serde_json::from_slice::<Excitation>(&std::fs::read(&described).ok()?).is_ok();
                is_one.then(|| format!("{place}{name}.wav"))
            })
        })
        .collect();
    found.sort();
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    const LOG: &str = "title = \"Boathouse\" # ours\n\n[mics.tern]\nmeasurement = true\n\n[sources.box]\n";

    fn take() -> NewMeasured {
        NewMeasured {
            file: "takes/a.wav".into(),
            channel: 2,
            mic: "tern".into(),
            role: MeasuredRole::Response,
            source: "box".into(),
            excitation: Some("excitations/sweep.wav".into()),
            placement: 3,
            performance: 4,
            gain_db: Some(30.0),
            angle_deg: Some(-15.0),
            distance_mm: Some(1000.0),
        }
    }

    #[test]
    fn a_take_is_entered_as_the_log_reads_it_again_and_what_is_there_stays() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let path = folder.path().join("shootout.toml");
        std::fs::write(&path, LOG).expect("written");
        let mut file = LogFile::read(&path).expect("is valid");
        file.add_measured(&take()).expect("valid");
        let silence = NewMeasured {
            file: "takes/b.wav".into(),
            channel: 1,
            role: MeasuredRole::SelfNoise,
            source: String::new(),
            excitation: None,
            gain_db: None,
            angle_deg: None,
            distance_mm: None,
            ..take()
        };
        file.add_measured(&silence).expect("valid");
        assert!(file.text().starts_with(LOG));
        let log = parse_log("x", &file.text()).expect("valid");
        let [one, other] = log.bench.takes.as_slice() else { panic!("{:?}", log.bench.takes) };
        assert_eq!((one.file.as_str(), one.channel, one.mic.as_str()), ("takes/a.wav", 2, "tern"));
        assert_eq!((one.source.as_str(), one.role), ("box", MeasuredRole::Response));
        assert_eq!((one.placement, one.performance, one.gain_db), (3, 4, Some(30.0)));
        assert_eq!((one.angle_deg, one.distance_mm), (Some(-15.0), Some(1000.0)));
        assert_eq!(one.excitation.as_deref(), Some("excitations/sweep.wav"));
        assert_eq!((other.role, other.source.as_str(), other.gain_db), (MeasuredRole::SelfNoise, "", None));
        // What the log could not read again is not entered.
        let before = file.text();
        for bad in [
            NewMeasured { excitation: None, file: "takes/c.wav".into(), ..take() },
            NewMeasured { mic: "coot".into(), file: "takes/c.wav".into(), ..take() },
            NewMeasured { distance_mm: Some(-1.0), file: "takes/c.wav".into(), ..take() },
            take(),
        ] {
            assert!(file.add_measured(&bad).is_err(), "{bad:?}");
        }
        assert_eq!(file.text(), before);
    }

    #[test]
    fn only_what_fairtake_sweep_made_is_an_excitation() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let write = |name: &str, text: &str| std::fs::write(folder.path().join(name), text).expect("written");
        std::fs::create_dir(folder.path().join("excitations")).expect("made");
        let form = fairtake_calibrated::excitation::Form::standard(48_000);
        let made = serde_json::to_string(&Excitation::new(form).expect("good")).expect("is data");
        for (name, text) in [
            ("excitations/steps.json", made.as_str()),
            ("excitations/steps.wav", ""),
            ("sweep.json", &made),
            ("sweep.wav", ""),
            ("excitations/no-sound.json", &made),
            ("other.json", "{}"),
            ("other.wav", ""),
        ] {
            write(name, text);
        }
        assert_eq!(excitations_in(folder.path()), ["excitations/steps.wav", "sweep.wav"]);
        assert_eq!(excitations_in(&folder.path().join("nowhere")), Vec::<String>::new());
    }
}
