//! From the measurement microphone to another one: both in turn at one place, in one sound.

use super::sensitivity::{Conditions, Sensitivity, SoundField};
use super::{Chain, LevelCaution, LevelError, Stated};
use crate::Contribution;
use crate::band_level::DB_PER_NEPER;
use crate::bench::TEMPERATURES_C;
use crate::proximity::speed_of_sound_m_s;
use fairtake_signal::units::power_db;
use serde::{Deserialize, Serialize};

/// The reference may read this much otherwise at the end, in dB. Common practice, no source.
const DRIFT_DB: f64 = 0.2;

/// The sound field in which microphones are exchanged.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Field {
    /// Distance from loudspeaker to microphone in mm.
    pub distance_mm: f64,
    /// Level of what was played, in dBFS, where levels are re it; 0 where they are those in the file.
    pub played_dbfs: f64,
    /// How well the microphones stand at one place, in mm either way; their acoustic centres included.
    pub position_mm: f64,
    /// What reflections that are left may do at 1 kHz, in dB either way; the same place and gate do the same to both
    /// microphones but for their patterns.
    pub reflections_db: f64,
    /// Gain of the reference's chain now less that of its calibrator takes, in dB.
    pub gain_change_db: Stated,
    /// Temperature of the air in °C, which tells the speed of sound.
    pub temperature_c: f64,
}

/// Says where the reference reads otherwise at the end, from its levels in dB in the order in which they were recorded.
pub(crate) fn drifted(reference_dbfs: &[f64]) -> Option<LevelCaution> {
    let figure = (reference_dbfs.last()? - reference_dbfs.first()?).abs();
    (figure > DRIFT_DB).then_some(LevelCaution::ReferenceDrifted { figure, limit: DRIFT_DB })
}

/// Sensitivity of a microphone from levels at 1 kHz, in dB re a full-scale sine or re what was played: the reference's and its
/// own, each repeated as often as the microphone was set up. The reference comes first and last.
///
/// # Errors
/// Without a level, and with distances that cannot be.
pub fn by_substitution(
    reference: &Sensitivity,
    reference_dbfs: &[f64],
    own_dbfs: &[f64],
    field: &Field,
    chain: &Chain,
) -> Result<Sensitivity, LevelError> {
    for (what, levels) in
        [("the reference in the field", reference_dbfs), ("the microphone in the field", own_dbfs)]
    {
        if levels.is_empty() {
            return Err(LevelError::NoTakes { what });
        }
        if levels.iter().any(|level| !level.is_finite()) {
            return Err(LevelError::NotFinite);
        }
    }
    for (what, value, from, to) in [
        ("level of what was played in dBFS", field.played_dbfs, -120.0, 0.0),
        ("distance in mm", field.distance_mm, 50.0, 20_000.0),
        ("tolerance of the place in mm", field.position_mm, 0.0, field.distance_mm / 2.0),
        ("temperature in °C", field.temperature_c, TEMPERATURES_C.0, TEMPERATURES_C.1),
        ("tolerance for reflections in dB", field.reflections_db, 0.0, 6.0),
    ] {
        if !(from..=to).contains(&value) {
            return Err(LevelError::OutOfRange { what, value, from, to });
        }
    }
    let mean = |levels: &[f64]| levels.iter().sum::<f64>() / levels.len() as f64;
    let mut budget: Vec<Contribution> = reference.dbfs_per_pa.budget.clone();
    budget.push(field.gain_change_db.contribution("gain of the reference changed"));
    for (from, levels) in
        [("repeats of the reference", reference_dbfs), ("repeats of the microphone", own_dbfs)]
    {
        budget.push(Contribution::of_settings_up(from, levels));
    }
    // Level falls as one over distance: 20/ln 10 dB per share of the distance.
    let place_db = 2.0 * DB_PER_NEPER * field.position_mm / field.distance_mm;
    budget.push(Contribution::within("place", place_db));
    budget.push(Contribution::within("reflections", field.reflections_db));
    // A gradient receiver near a point reads high by up to 10 lg(1 + 1/(kr)²); its pattern is not asked here.
    let frequency_hz = reference.conditions.frequency_hz;
    let kr = std::f64::consts::TAU * frequency_hz * field.distance_mm
        / 1000.0
        / speed_of_sound_m_s(field.temperature_c);
    budget.push(Contribution::within("near field", power_db(1.0 + 1.0 / (kr * kr)).unwrap_or(0.0)));
    let mut cautions = reference.cautions.clone();
    cautions.extend(drifted(reference_dbfs));
    // Sound pressure there, in dB re 1 Pa.
    let pressure_db = mean(reference_dbfs) - field.gain_change_db.value - reference.dbfs_per_pa.value;
    let conditions = Conditions {
        frequency_hz,
        field: SoundField::FreeField,
        spl_db: Some(pressure_db + field.played_dbfs + super::sensitivity::pascal_spl_db()),
        static_pressure_kpa: reference.conditions.static_pressure_kpa,
        distance_mm: Some(field.distance_mm),
        n_takes: own_dbfs.len(),
        chain: chain.clone(),
    };
    Ok(Sensitivity::of(mean(own_dbfs) - pressure_db, budget, conditions, cautions))
}
