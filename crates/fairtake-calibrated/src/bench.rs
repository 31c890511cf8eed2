//! What was recorded for measurements, as the log has it: microphones, their files, the calibrator, the chain, and takes.

use crate::level::{Calibrator, Pattern, Purpose, Stated};
use crate::{Excitation, TextCurve, TextMask};
use fairtake_compare::Samples;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::fmt;

/// Everything that is needed to measure. Its `Debug` form names all of it but the samples, which their hashes stand for.
#[derive(Debug, Default)]
pub struct Bench {
    /// Title of the session.
    pub title: String,
    /// Temperature in °C; 20 where it is not logged.
    pub temperature_c: Option<f64>,
    /// Static pressure in kPa, where somebody read it.
    pub static_pressure_kpa: Option<f64>,
    /// Microphones by key.
    pub mics: BTreeMap<String, BenchMic>,
    /// Names of the loudspeakers for people, by key.
    pub sources: BTreeMap<String, String>,
    /// The sound calibrator. What belongs to a microphone (its pressure-to-free-field correction) stands with the microphone.
    pub calibrator: Option<Calibrator>,
    /// The converter's input at full scale, in dB re 1 V RMS of a sine; `None`: not known.
    pub full_scale_dbv: Option<Stated>,
    /// How far a logged gain may be off, in dB either way.
    pub gain_within_db: f64,
    /// How well microphones were put at one place, in mm either way.
    pub place_within_mm: f64,
    /// How far a logged distance may be off, in mm either way.
    pub distance_within_mm: f64,
    /// How far a logged angle may be off, in degrees either way.
    pub angle_within_deg: f64,
    /// The takes, in the order of the log.
    pub takes: Vec<BenchTake>,
}

/// Temperatures in °C, from and to, at which anything is measured. Common practice, no source.
pub const TEMPERATURES_C: (f64, f64) = (-40.0, 60.0);

/// Temperature that is taken where none is logged, in °C. Common practice, no source.
const USUAL_TEMPERATURE_C: f64 = 20.0;

impl Bench {
    /// A loudspeaker's name for people; its key where it has none.
    pub fn source_name<'b>(&'b self, key: &'b str) -> &'b str {
        self.sources.get(key).map_or(key, |name| name.as_str())
    }

    /// The logged temperature in °C, or the usual one.
    pub fn temperature_or_usual_c(&self) -> f64 {
        self.temperature_c.unwrap_or(USUAL_TEMPERATURE_C)
    }
}

/// One microphone as measurements need it.
#[derive(Debug, Clone, PartialEq)]
pub struct BenchMic {
    /// Name for people.
    pub name: String,
    /// What it was built for.
    pub purpose: Purpose,
    /// Directional or not.
    pub pattern: Pattern,
    /// Share of the pressure gradient that its logged pattern has, 0 to 1; `None`: not logged.
    pub gradient_share: Option<f64>,
    /// Free-field response of a reference microphone, by its file, in dB.
    pub correction: Option<TextCurve>,
    /// How far that may be off, in dB either way.
    pub correction_within_db: Option<f64>,
    /// Free-field minus pressure response at the calibrator's frequency, in dB.
    pub pressure_to_free_field_db: Stated,
    /// Response that its maker published, in dB.
    pub published: Option<TextCurve>,
    /// Tolerances for its response, in dB.
    pub tolerance: Option<TextMask>,
    /// Figures that its maker states.
    pub stated: StatedFigures,
}

/// Figures of a data sheet, to be held against what is measured. Each may be missing.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct StatedFigures {
    /// Sensitivity at 1 kHz in mV/Pa.
    pub sensitivity_mv_per_pa: Option<f64>,
    /// Equivalent noise level, A-weighted, in dB SPL.
    pub noise_dba: Option<f64>,
    /// Equivalent noise level, BS.468 quasi-peak, in dB SPL.
    pub noise_bs468_db: Option<f64>,
    /// Highest sound pressure level in dB SPL.
    pub max_spl_db: Option<f64>,
    /// Total harmonic distortion at that level, in percent.
    pub max_spl_thd_percent: Option<f64>,
    /// Level re 1 kHz down to which its effective frequency range reaches, in dB below.
    pub range_db: Option<f64>,
    /// Effective frequency range in Hz.
    pub from_hz: Option<f64>,
    /// Upper end in Hz.
    pub to_hz: Option<f64>,
}

/// What a take of a measurement is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum MeasuredRole {
    /// An excitation, played by the loudspeaker.
    Response,
    /// A sound calibrator on the microphone.
    Calibrator,
    /// Silence, at the gain of the sensitivity.
    SelfNoise,
    /// The chain without the microphone, its source impedance in its place.
    ChainNoise,
    /// Another microphone beside one whose silence is recorded, at the same time: what both hear is the room's.
    Ambient,
}

impl MeasuredRole {
    /// Every role.
    pub const ALL: [MeasuredRole; 5] = [
        MeasuredRole::Response,
        MeasuredRole::Calibrator,
        MeasuredRole::SelfNoise,
        MeasuredRole::ChainNoise,
        MeasuredRole::Ambient,
    ];

    /// As the log writes it.
    pub fn word(self) -> &'static str {
        match self {
            MeasuredRole::Response => "response",
            MeasuredRole::Calibrator => "calibrator",
            MeasuredRole::SelfNoise => "self-noise",
            MeasuredRole::ChainNoise => "chain-noise",
            MeasuredRole::Ambient => "ambient",
        }
    }

    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            MeasuredRole::Response => "response",
            MeasuredRole::Calibrator => "calibrator",
            MeasuredRole::SelfNoise => "self-noise",
            MeasuredRole::ChainNoise => "chain noise",
            MeasuredRole::Ambient => "ambient noise",
        }
    }
}

/// One take.
pub struct BenchTake {
    /// Unique: file and channel.
    pub id: String,
    /// The file as the user named it.
    pub file: String,
    /// Key of the microphone.
    pub mic: String,
    /// Key of the loudspeaker, or of whatever stands for it.
    pub source: String,
    /// What it is.
    pub role: MeasuredRole,
    /// Which setting-up, counted from 1: takes of one are repeats that tell nothing of setting up.
    pub placement: u32,
    /// Takes recorded at once share it.
    pub performance: u32,
    /// Gain in dB as logged.
    pub gain_db: Option<f64>,
    /// Direction of the sound, in degrees off the microphone's axis; 0 where it is not logged.
    pub angle_deg: f64,
    /// Distance from the loudspeaker's front to the grille, in mm, where it is logged.
    pub distance_mm: Option<f64>,
    /// Radius of what radiates, in mm, where it is logged.
    pub source_radius_mm: Option<f64>,
    /// What was played.
    pub excitation: Option<Excitation>,
    /// SHA-256 of its file.
    pub sha256: String,
    /// The samples.
    pub samples: Box<dyn Samples>,
}

impl fmt::Debug for BenchTake {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        // Taken apart whole, so that no field can be forgotten.
        let BenchTake {
            id,
            file,
            mic,
            source,
            role,
            placement,
            performance,
            gain_db,
            angle_deg,
            distance_mm,
            source_radius_mm,
            excitation,
            sha256,
            samples: _,
        } = self;
        let whose = (id, file, mic, source, role, placement, performance);
        let where_it_stands = (gain_db, angle_deg, distance_mm, source_radius_mm);
        f.debug_tuple("BenchTake")
            .field(&whose)
            .field(&where_it_stands)
            .field(excitation)
            .field(sha256)
            .finish()
    }
}

impl BenchTake {
    /// All samples, full scale ±1.
    ///
    /// # Errors
    /// When the medium fails.
    pub fn read(&self) -> Result<Vec<f32>, fairtake_compare::ReadError> {
        let mut samples = vec![0f32; self.samples.frames() as usize];
        let n = self.samples.read(0, &mut samples)?;
        samples.truncate(n);
        Ok(samples)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_role_is_read_by_the_word_that_is_written() {
        for role in MeasuredRole::ALL {
            let read: MeasuredRole = serde_json::from_value(role.word().into()).expect("a role");
            assert_eq!(read, role);
        }
        // No role is left out: serde names them all when it meets a word that is none.
        let said = serde_json::from_str::<MeasuredRole>("\"none\"").expect_err("is none").to_string();
        assert_eq!(said.matches('`').count(), 2 * (1 + MeasuredRole::ALL.len()), "{said}");
    }
}
