//! Measure: data sheets of the folder's microphones, from recordings of a loudspeaker, a calibrator and silence, and whose those are.

use super::takes::{Waiting, waiting};
use super::{Named, Step, View, mics, sources};
use crate::desk::Desk;
use crate::html;
use crate::trouble::Trouble;
use fairtake_calibrated::Measurements;
use fairtake_calibrated::level::{CalibratorClass, Purpose};
use fairtake_files::{BenchLog, MeasuredEntry, excitations_in};
use maud::Markup;
use serde::{Deserialize, Serialize};

/// The page.
#[derive(Debug, Serialize)]
pub(crate) struct MeasurePage {
    /// What was measured; `None`: no take of a measurement is logged.
    pub measurements: Option<Measurements>,
    /// What the log cannot do with, where it has such takes.
    pub trouble: Option<String>,
    pub mics: Vec<Named>,
    pub sources: Vec<Named>,
    /// Files of `fairtake sweep` in the folder, and those that the log names.
    pub excitations: Vec<String>,
    /// Takes of measurements that are logged.
    pub takes: Vec<MeasuredEntry>,
    /// Files of the folder that the log does not list.
    pub waiting: Vec<Waiting>,
    pub bench: BenchFields,
    /// What measurements need to know of each microphone that is in a take of one.
    pub files: Vec<MicFields>,
}

/// Files of a microphone, as the log names them.
#[derive(Debug, Serialize)]
pub(crate) struct MicFields {
    pub mic: Named,
    /// It was built for measuring.
    pub measurement: bool,
    pub correction: Option<String>,
    pub correction_within_db: Option<f64>,
    pub published: Option<String>,
    pub tolerance: Option<String>,
}

/// What all takes share, as far as the page lets it be typed.
#[derive(Debug, Serialize)]
pub(crate) struct BenchFields {
    pub calibrator_level_db: Option<f64>,
    /// As the log writes it.
    pub calibrator_class: &'static str,
    pub full_scale_dbv: Option<f64>,
}

/// The address asks for nothing.
#[derive(Debug, Default, Deserialize)]
pub(crate) struct MeasureQuery {}

impl View for MeasurePage {
    type Query = MeasureQuery;
    const STEP: Step = Step::Measure;

    fn make(desk: &Desk, _: MeasureQuery) -> Result<MeasurePage, Trouble> {
        let now = desk.now()?;
        let log = &now.loaded.log.bench;
        let measured = (!log.takes.is_empty()).then(|| desk.measurements());
        let (measurements, trouble) = match measured {
            None => (None, None),
            Some(Ok(found)) => (Some((*found).clone()), None),
            Some(Err(e)) => (None, Some(format!("{}; {}", e.what, e.hint))),
        };
        let mut excitations = excitations_in(desk.path());
        excitations.extend(log.takes.iter().filter_map(|t| t.excitation.clone()));
        excitations.sort();
        excitations.dedup();
        let mut waiting = waiting(desk, &now)?;
        // What is played is no recording of it.
        waiting.retain(|w| !w.is_cut && !excitations.contains(&w.file));
        let mics = mics(&now);
        Ok(MeasurePage {
            measurements,
            trouble,
            files: files(log, &mics),
            mics,
            sources: sources(&now).into_iter().filter(|s| !s.key.is_empty()).collect(),
            excitations,
            takes: log.takes.clone(),
            waiting,
            bench: fields(log),
        })
    }

    fn html(&self) -> Markup {
        html::measure(self)
    }
}

fn files(log: &BenchLog, mics: &[Named]) -> Vec<MicFields> {
    let measured = mics.iter().filter(|mic| log.takes.iter().any(|t| t.mic == mic.key));
    let of = |mic: &Named| {
        let files = log.mics.get(&mic.key)?;
        Some(MicFields {
            mic: mic.clone(),
            measurement: files.purpose == Purpose::Measurement,
            correction: files.correction.clone(),
            correction_within_db: files.correction_within_db,
            published: files.published.clone(),
            tolerance: files.tolerance.clone(),
        })
    };
    measured.filter_map(of).collect()
}

fn fields(log: &BenchLog) -> BenchFields {
    BenchFields {
        calibrator_level_db: log.calibrator.as_ref().map(|c| c.level_db),
        calibrator_class: log.calibrator.as_ref().and_then(|c| c.class).map_or("", CalibratorClass::word),
        full_scale_dbv: log.full_scale_dbv.map(|s| s.value),
    }
}
