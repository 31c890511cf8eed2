//! What the log says of measurements: the keys beside those of a comparison.

use crate::log_error::LogError;
use crate::log_fields::{Fields, Reader};
use fairtake_calibrated::level::{
    Calibrator, CalibratorClass, Doubt, Pattern, PressureResponse, Purpose, Stated, StaticPressure,
};
use fairtake_calibrated::{MeasuredRole, StatedFigures};
use fairtake_compare::{PolarPattern, Shootout};
use serde::Serialize;
use std::collections::BTreeMap;
use std::ops::Range;
use toml_edit::Item;

/// Keys of a microphone that only measurements ask for.
pub(crate) const MIC_KEYS: [&str; 8] = [
    "measurement",
    "correction",
    "correction_within_db",
    "free_field_db",
    "free_field_within_db",
    "published",
    "tolerance",
    "stated",
];
/// Keys of a take that only measurements ask for.
pub(crate) const TAKE_KEYS: [&str; 3] = ["excitation", "angle_deg", "distance_mm"];
const STATED_KEYS: [&str; 8] = [
    "sensitivity_mv_per_pa",
    "noise_dba",
    "noise_bs468_db",
    "max_spl_db",
    "max_spl_thd_percent",
    "range_db",
    "from_hz",
    "to_hz",
];
const CALIBRATOR_KEYS: [&str; 9] = [
    "level_db",
    "frequency_hz",
    "class",
    "certificate_db",
    "certificate_expanded_db",
    "adaptor_db",
    "adaptor_within_db",
    "db_per_kpa",
    "piston",
];
const BENCH_KEYS: [&str; 8] = [
    "static_pressure_kpa",
    "static_pressure_within_kpa",
    "full_scale_dbv",
    "full_scale_within_db",
    "gain_within_db",
    "place_within_mm",
    "distance_within_mm",
    "angle_within_deg",
];
/// How far things may be off where nothing is said (common practice, no source): a stepped gain, a full scale read off a
/// manual, a place, a distance, an angle, a pressure read off a weather report, a pressure-to-free-field correction, a correction file.
const GAIN_WITHIN_DB: f64 = 0.3;
const FULL_SCALE_WITHIN_DB: f64 = 0.3;
const PLACE_WITHIN_MM: f64 = 5.0;
const DISTANCE_WITHIN_MM: f64 = 2.0;
const ANGLE_WITHIN_DEG: f64 = 1.0;
const PRESSURE_WITHIN_KPA: f64 = 0.5;
const FREE_FIELD_WITHIN_DB: f64 = 0.2;
const ADAPTOR_WITHIN_DB: f64 = 0.1;
/// Coverage factor of expanded uncertainties, as certificates use it.
const COVERAGE_FACTOR: f64 = 2.0;

/// What the log says of the bench as a whole.
#[derive(Debug, Clone, PartialEq)]
pub struct BenchLog {
    /// Static pressure in kPa.
    pub static_pressure_kpa: Option<Stated>,
    /// Input of the converter at full scale, in dB re 1 V RMS of a sine.
    pub full_scale_dbv: Option<Stated>,
    /// How far a logged gain may be off, in dB either way.
    pub gain_within_db: f64,
    /// How well microphones were put at one place, in mm either way.
    pub place_within_mm: f64,
    /// How far a logged distance may be off, in mm either way.
    pub distance_within_mm: f64,
    /// How far a logged angle may be off, in degrees either way.
    pub angle_within_deg: f64,
    /// The calibrator, without what belongs to a microphone.
    pub calibrator: Option<Calibrator>,
    /// Microphones by key.
    pub mics: BTreeMap<String, MicFiles>,
    /// The takes in the order of the log.
    pub takes: Vec<MeasuredEntry>,
}

/// What the log says of a microphone for measurements; files by their path from the folder.
#[derive(Debug, Clone, PartialEq)]
pub struct MicFiles {
    /// What it was built for.
    pub purpose: Purpose,
    /// Directional or not.
    pub pattern: Pattern,
    /// File of a reference's free-field response.
    pub correction: Option<String>,
    /// How far that may be off, in dB either way.
    pub correction_within_db: Option<f64>,
    /// Free-field minus pressure response at the calibrator's frequency, in dB.
    pub pressure_to_free_field_db: Stated,
    /// File of the published response.
    pub published: Option<String>,
    /// File of the tolerances.
    pub tolerance: Option<String>,
    /// Figures that its maker states.
    pub stated: StatedFigures,
}

/// One `[[takes]]` that is a measurement.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MeasuredEntry {
    /// Path from the folder.
    pub file: String,
    /// Channel, counted from 1.
    pub channel: u16,
    /// Key of the microphone.
    pub mic: String,
    /// Key of the source.
    pub source: String,
    /// What it is.
    pub role: MeasuredRole,
    /// Which setting-up, counted from 1.
    pub placement: u32,
    /// Which pass, counted from 1; where left out, the number of the take in the log.
    pub performance: u32,
    /// Gain as set on the preamp.
    pub gain_db: Option<f64>,
    /// Path of what was played, from the folder.
    pub excitation: Option<String>,
    /// Direction of the sound off the axis, in degrees.
    pub angle_deg: Option<f64>,
    /// Distance from the loudspeaker in mm.
    pub distance_mm: Option<f64>,
    /// Where it begins in the log, in bytes.
    #[serde(skip)]
    pub(crate) span: Range<usize>,
}

impl Reader<'_> {
    /// Everything at the top but the takes, which are read one by one.
    pub(crate) fn bench(&self, top: Fields, shootout: &Shootout) -> Result<BenchLog, LogError> {
        let mut bench = BenchLog {
            static_pressure_kpa: None,
            full_scale_dbv: None,
            gain_within_db: GAIN_WITHIN_DB,
            place_within_mm: PLACE_WITHIN_MM,
            distance_within_mm: DISTANCE_WITHIN_MM,
            angle_within_deg: ANGLE_WITHIN_DEG,
            calibrator: None,
            mics: BTreeMap::new(),
            takes: Vec::new(),
        };
        if let Some(item) = top.get("bench") {
            let t = self.table("bench", item)?;
            self.known_keys(t, &BENCH_KEYS)?;
            bench.static_pressure_kpa = self.stated(
                t,
                ("static_pressure_kpa", 50.0, 115.0),
                ("static_pressure_within_kpa", PRESSURE_WITHIN_KPA),
            )?;
            bench.full_scale_dbv = self.stated(
                t,
                ("full_scale_dbv", -60.0, 60.0),
                ("full_scale_within_db", FULL_SCALE_WITHIN_DB),
            )?;
            bench.gain_within_db = self.number(t, "gain_within_db", 0.0, 20.0)?.unwrap_or(GAIN_WITHIN_DB);
            bench.place_within_mm =
                self.number(t, "place_within_mm", 0.0, 1000.0)?.unwrap_or(PLACE_WITHIN_MM);
            bench.distance_within_mm =
                self.number(t, "distance_within_mm", 0.0, 100.0)?.unwrap_or(DISTANCE_WITHIN_MM);
            bench.angle_within_deg =
                self.number(t, "angle_within_deg", 0.0, 45.0)?.unwrap_or(ANGLE_WITHIN_DEG);
        }
        if let Some(item) = top.get("calibrator") {
            bench.calibrator = Some(self.calibrator(item, bench.static_pressure_kpa)?);
        }
        for (key, item) in self.entries(top, "mics")? {
            let pattern = shootout.mics.get(key).and_then(|m| m.pattern);
            bench.mics.insert(key.into(), self.mic_files(self.table(key, item)?, pattern)?);
        }
        Ok(bench)
    }

    fn stated(
        &self,
        t: Fields,
        (key, low, high): (&str, f64, f64),
        (within_key, within): (&str, f64),
    ) -> Result<Option<Stated>, LogError> {
        let within = self.number(t, within_key, 0.0, 100.0)?.unwrap_or(within);
        Ok(self.number(t, key, low, high)?.map(|value| Stated::within(value, within)))
    }

    fn calibrator(&self, item: &Item, air: Option<Stated>) -> Result<Calibrator, LogError> {
        let t = self.table("calibrator", item)?;
        self.known_keys(t, &CALIBRATOR_KEYS)?;
        let level_db = self.number(t, "level_db", 60.0, 140.0)?;
        let Some(level_db) = level_db else {
            let span = item.span().unwrap_or(0..0);
            return Err(self.fail(span, "the calibrator has no `level_db`".into(), "add level_db = 94.0"));
        };
        let class: Option<String> = self.text_of(t, "class")?;
        let class = match class.as_deref() {
            None => None,
            Some(word) => match CalibratorClass::ALL.into_iter().find(|class| class.word() == word) {
                Some(class) => Some(class),
                None => {
                    let what = format!("`class` cannot be `{word}`");
                    let hint = format!("write one of {:?}", CalibratorClass::ALL.map(CalibratorClass::word));
                    return Err(self.fail(self.value_span(t, "class"), what, &hint));
                }
            },
        };
        let expanded = self.number(t, "certificate_expanded_db", 0.0, 10.0)?;
        let certificate_db = match (self.number(t, "certificate_db", -5.0, 5.0)?, expanded) {
            (None, None) => None,
            (Some(value), Some(half)) => {
                Some(Stated { value, doubt: Doubt::Expanded { half, coverage_factor: COVERAGE_FACTOR } })
            }
            _ => {
                let hint = "give certificate_db (measured minus stated) and certificate_expanded_db (k = 2)";
                let span = item.span().unwrap_or(0..0);
                return Err(self.fail(span, "half of a certificate".into(), hint));
            }
        };
        let coefficient = self.number(t, "db_per_kpa", -1.0, 1.0)?;
        let response = match (self.switch(t, "piston")?, coefficient) {
            (true, Some(_)) => {
                let what = "a piston has no coefficient of its own".to_string();
                return Err(self.fail(self.value_span(t, "db_per_kpa"), what, "leave one of the two out"));
            }
            (true, None) => PressureResponse::Piston,
            (false, db) => PressureResponse::Regulated(db.unwrap_or(0.0)),
        };
        let adaptor = self.stated(t, ("adaptor_db", -3.0, 3.0), ("adaptor_within_db", ADAPTOR_WITHIN_DB))?;
        Ok(Calibrator {
            level_db,
            frequency_hz: self.number(t, "frequency_hz", 20.0, 20_000.0)?.unwrap_or(1000.0),
            class,
            certificate_db,
            adaptor_db: adaptor.unwrap_or(Stated::exact(0.0)),
            static_pressure: StaticPressure { kpa: air, response },
            pressure_to_free_field_db: Stated::exact(0.0),
        })
    }

    fn mic_files(&self, t: Fields, pattern: Option<PolarPattern>) -> Result<MicFiles, LogError> {
        let free_field =
            self.stated(t, ("free_field_db", -5.0, 5.0), ("free_field_within_db", FREE_FIELD_WITHIN_DB))?;
        let stated = match t.get("stated") {
            None => StatedFigures::default(),
            Some(item) => self.stated_figures(self.table("stated", item)?)?,
        };
        Ok(MicFiles {
            purpose: match t.get("measurement") {
                None => Purpose::Unknown,
                Some(_) if self.switch(t, "measurement")? => Purpose::Measurement,
                Some(_) => Purpose::Studio,
            },
            pattern: match pattern {
                None => Pattern::Unknown,
                Some(PolarPattern::Omni) => Pattern::Omnidirectional,
                Some(_) => Pattern::Directional,
            },
            correction: self.text_of(t, "correction")?,
            correction_within_db: self.number(t, "correction_within_db", 0.0, 20.0)?,
            // Where nothing is entered nothing is corrected, and what that may be off enters the budget.
            pressure_to_free_field_db: free_field.unwrap_or(Stated::within(0.0, FREE_FIELD_WITHIN_DB)),
            published: self.text_of(t, "published")?,
            tolerance: self.text_of(t, "tolerance")?,
            stated,
        })
    }

    fn stated_figures(&self, t: Fields) -> Result<StatedFigures, LogError> {
        self.known_keys(t, &STATED_KEYS)?;
        Ok(StatedFigures {
            sensitivity_mv_per_pa: self.number(t, "sensitivity_mv_per_pa", 1e-3, 1e4)?,
            noise_dba: self.number(t, "noise_dba", -30.0, 120.0)?,
            noise_bs468_db: self.number(t, "noise_bs468_db", -30.0, 140.0)?,
            max_spl_db: self.number(t, "max_spl_db", 40.0, 220.0)?,
            max_spl_thd_percent: self.number(t, "max_spl_thd_percent", 1e-3, 100.0)?,
            range_db: self.number(t, "range_db", 0.1, 40.0)?,
            from_hz: self.number(t, "from_hz", 0.1, 1e5)?,
            to_hz: self.number(t, "to_hz", 1.0, 1e6)?,
        })
    }

    /// A take whose role is one of a measurement.
    pub(crate) fn measured_take(
        &self,
        t: Fields,
        take_idx: usize,
        role: MeasuredRole,
        shootout: &Shootout,
    ) -> Result<MeasuredEntry, LogError> {
        let mic = self.required(t, "mic")?;
        self.defined(t, ("mic", "mics"), &mic, shootout.mics.keys())?;
        let source = match role {
            MeasuredRole::Response => self.required(t, "source")?,
            // Nothing is played: a source may be named, and means nothing.
            _ => self.text_of(t, "source")?.unwrap_or_default(),
        };
        if !source.is_empty() {
            self.defined(t, ("source", "sources"), &source, shootout.sources.keys())?;
        }
        let count = |key| self.whole(t, key, 1, i64::from(u32::MAX)).map(|n| n.map(|n| n as u32));
        let excitation = self.text_of(t, "excitation")?;
        if role == MeasuredRole::Response && excitation.is_none() {
            let what = "a response needs what was played".to_string();
            let hint = "add excitation = \"…\", the file that `fairtake sweep` made";
            return Err(self.fail(self.value_span(t, "role"), what, hint));
        }
        Ok(MeasuredEntry {
            file: self.required(t, "file")?,
            channel: self.whole(t, "channel", 1, i64::from(u16::MAX))?.unwrap_or(1) as u16,
            mic,
            source,
            role,
            placement: count("placement")?.unwrap_or(1),
            performance: count("performance")?.unwrap_or(take_idx as u32 + 1),
            gain_db: self.number(t, "gain_db", -200.0, 200.0)?,
            excitation,
            angle_deg: self.number(t, "angle_deg", -360.0, 360.0)?,
            distance_mm: self.number(t, "distance_mm", 0.0, 1e6)?,
            span: self.value_span(t, "file"),
        })
    }
}
