//! Measure: data sheets of the folder's microphones, from recordings of a loudspeaker, a calibrator and silence, and whose those are.

use super::takes::{Waiting, waiting};
use super::{Named, Step, View, mics, sources};
use crate::desk::Desk;
use crate::html;
use crate::trouble::Trouble;
use fairtake_calibrated::level::CalibratorClass;
use fairtake_calibrated::{MeasuredRole, Measurements};
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
    pub takes: Vec<MeasuredRow>,
    /// Files of the folder that the log does not list.
    pub waiting: Vec<Waiting>,
    pub bench: BenchFields,
}

/// One logged take.
#[derive(Debug, Serialize)]
pub(crate) struct MeasuredRow {
    pub file: String,
    pub channel: u16,
    pub mic: String,
    pub source: String,
    pub role: MeasuredRole,
    pub placement: u32,
    pub performance: u32,
    pub gain_db: Option<f64>,
    pub excitation: Option<String>,
    pub angle_deg: Option<f64>,
    pub distance_mm: Option<f64>,
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
        let (measurements, trouble) = match (log.takes.is_empty(), desk.measurements()) {
            (true, _) => (None, None),
            (false, Ok(found)) => (Some((*found).clone()), None),
            (false, Err(e)) => (None, Some(format!("{}; {}", e.what, e.hint))),
        };
        let mut excitations = excitations_in(desk.path());
        excitations.extend(log.takes.iter().filter_map(|t| t.excitation.clone()));
        excitations.sort();
        excitations.dedup();
        let mut waiting = waiting(desk, &now)?;
        // What is played is no recording of it.
        waiting.retain(|w| !w.is_cut && !excitations.contains(&w.file));
        Ok(MeasurePage {
            measurements,
            trouble,
            mics: mics(&now),
            sources: sources(&now).into_iter().filter(|s| !s.key.is_empty()).collect(),
            excitations,
            takes: log.takes.iter().map(row).collect(),
            waiting,
            bench: fields(log),
        })
    }

    fn html(&self) -> Markup {
        html::measure(self)
    }
}

fn row(take: &MeasuredEntry) -> MeasuredRow {
    MeasuredRow {
        file: take.file.clone(),
        channel: take.channel,
        mic: take.mic.clone(),
        source: take.source.clone(),
        role: take.role,
        placement: take.placement,
        performance: take.performance,
        gain_db: take.gain_db,
        excitation: take.excitation.clone(),
        angle_deg: take.angle_deg,
        distance_mm: take.distance_mm,
    }
}

fn fields(log: &BenchLog) -> BenchFields {
    BenchFields {
        calibrator_level_db: log.calibrator.as_ref().map(|c| c.level_db),
        calibrator_class: match log.calibrator.as_ref().and_then(|c| c.class) {
            None => "",
            Some(CalibratorClass::Ls) => "ls",
            Some(CalibratorClass::One) => "1",
            Some(CalibratorClass::Two) => "2",
        },
        full_scale_dbv: log.full_scale_dbv.map(|s| s.value),
    }
}
