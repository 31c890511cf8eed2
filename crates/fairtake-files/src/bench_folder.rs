//! A folder's measurements: the log's takes with open samples, and the files that the log names for microphones.

use crate::audio::AudioFile;
use crate::error::AudioProblem;
use crate::folder::{FolderError, ShootoutFolder};
use crate::hash::sha256;
use crate::log::Log;
use crate::log_bench::{MeasuredEntry, MicFiles};
use crate::log_error::LogError;
use crate::log_write::read_text;
use fairtake_calibrated::{
    Bench, BenchMic, BenchTake, Excitation, MeasuredRole, TextCurve, TextCurveError, TextMask,
};
use std::path::{Path, PathBuf};

/// Where the description of an excitation lies: beside its sound, as `fairtake sweep` leaves it.
pub fn described_in(excitation: &Path) -> PathBuf {
    excitation.with_extension("json")
}

impl ShootoutFolder {
    /// Reads the log and opens everything that measurements need; each file is hashed.
    ///
    /// # Errors
    /// When the log is faulty, a file that it names cannot be read, or is not what it should be.
    pub fn load_bench(&self) -> Result<Bench, FolderError> {
        let log = self.log()?;
        let mut bench = Bench {
            title: log.shootout.title.clone(),
            temperature_c: log.shootout.temperature_c,
            static_pressure_kpa: log.bench.static_pressure_kpa.map(|s| s.value),
            calibrator: log.bench.calibrator.clone(),
            full_scale_dbv: log.bench.full_scale_dbv,
            gain_within_db: log.bench.gain_within_db,
            place_within_mm: log.bench.place_within_mm,
            distance_within_mm: log.bench.distance_within_mm,
            angle_within_deg: log.bench.angle_within_deg,
            sources: log.shootout.sources.iter().map(|(key, s)| (key.clone(), s.name.clone())).collect(),
            ..Bench::default()
        };
        for (key, files) in &log.bench.mics {
            bench.mics.insert(key.clone(), self.bench_mic(&log, key, files)?);
        }
        for entry in &log.bench.takes {
            bench.takes.push(self.bench_take(&log, entry)?);
        }
        Ok(bench)
    }

    /// That a file which a microphone's entry is to name under this key is what it should be: read and understood whole.
    ///
    /// # Errors
    /// When it cannot be read, or a line of it is not understood.
    pub fn check_mic_file(&self, key: &str, file: &str) -> Result<(), FolderError> {
        match key {
            "correction" | "published" => self.parsed(file, TextCurve::parse).map(drop),
            "tolerance" => self.parsed(file, TextMask::parse).map(drop),
            _ => Ok(()),
        }
    }

    fn bench_mic(&self, log: &Log, key: &str, files: &MicFiles) -> Result<BenchMic, FolderError> {
        let mic = &log.shootout.mics[key];
        let curve = |file: &Option<String>| -> Result<Option<TextCurve>, FolderError> {
            file.as_ref().map(|file| self.parsed(file, TextCurve::parse)).transpose()
        };
        Ok(BenchMic {
            name: mic.name.clone(),
            purpose: files.purpose,
            pattern: files.pattern,
            gradient_share: mic.pattern.map(|p| p.gradient_share()),
            correction: curve(&files.correction)?,
            correction_within_db: files.correction_within_db,
            pressure_to_free_field_db: files.pressure_to_free_field_db,
            published: curve(&files.published)?,
            tolerance: files.tolerance.as_ref().map(|file| self.parsed(file, TextMask::parse)).transpose()?,
            stated: files.stated,
        })
    }

    fn bench_take(&self, log: &Log, entry: &MeasuredEntry) -> Result<BenchTake, FolderError> {
        let path = self.path().join(&entry.file);
        let opened = AudioFile::open(&path).and_then(|audio| audio.channel(entry.channel));
        let samples = match opened {
            Ok(samples) => samples,
            Err(e) if e.problem == AudioProblem::NotFound => return Err(self.missing(entry)?),
            Err(e) => return Err(FolderError::Audio(e)),
        };
        let source = log.shootout.sources.get(&entry.source);
        Ok(BenchTake {
            id: format!("{}:{}", entry.file, entry.channel),
            file: entry.file.clone(),
            mic: entry.mic.clone(),
            source: entry.source.clone(),
            role: entry.role,
            placement: entry.placement,
            performance: entry.performance,
            gain_db: entry.gain_db,
            angle_deg: entry.angle_deg.or(source.and_then(|s| s.angle_deg)).unwrap_or(0.0),
            distance_mm: entry.distance_mm.or(source.and_then(|s| s.distance_mm)),
            source_radius_mm: source.and_then(|s| s.radius_mm),
            excitation: match (&entry.excitation, entry.role) {
                (Some(file), MeasuredRole::Response) => Some(self.excitation(file)?),
                _ => None,
            },
            sha256: sha256(&path).map_err(FolderError::Audio)?,
            samples: Box::new(samples),
        })
    }

    /// A take that the log names and the folder has not.
    fn missing(&self, entry: &MeasuredEntry) -> Result<FolderError, FolderError> {
        let text = read_text(&self.log_path()).map_err(FolderError::Log)?;
        let what = format!("there is no file `{}` in the folder", entry.file);
        let hint = "paths are counted from the folder of the log";
        let name = self.log_path().display().to_string();
        Ok(FolderError::Log(LogError::at(&name, &text, entry.span.clone(), what, hint)))
    }

    fn excitation(&self, file: &str) -> Result<Excitation, FolderError> {
        let path = described_in(&self.path().join(file));
        let shown = path.display().to_string();
        let fail = |what: String| {
            let hint =
                "keep the .json that `fairtake sweep` leaves beside the sound; it says what was played";
            FolderError::Log(LogError::whole_file(&shown, what, hint))
        };
        let text = std::fs::read_to_string(&path).map_err(|e| fail(e.to_string()))?;
        serde_json::from_str(&text).map_err(|e| fail(e.to_string()))
    }

    fn parsed<T>(&self, file: &str, parse: fn(&str) -> Result<T, TextCurveError>) -> Result<T, FolderError> {
        let path = self.path().join(file);
        let shown = path.display().to_string();
        let text = std::fs::read_to_string(&path).map_err(|e| {
            let hint = "paths are counted from the folder of the log";
            FolderError::Log(LogError::whole_file(&shown, e.to_string(), hint))
        })?;
        parse(&text).map_err(|e| FolderError::Log(LogError::in_text(&shown, &e)))
    }
}
