//! Sensitivity by a sound calibrator, and the forms in which it is stated.

use super::calibrator::fits;
use super::{Calibrator, Chain, LevelCaution, LevelError, Pattern, Purpose, Tone, tone};
use crate::band_level::DB_PER_NEPER;
use crate::{Contribution, Quantity};
use fairtake_signal::units::amplitude_db;
use serde::{Deserialize, Serialize};

/// Sound pressure that levels refer to, in Pa (ISO 1683).
const REFERENCE_PA: f64 = 20e-6;
/// What seating the microphone in the calibrator once more may change, in dB either way, where it was seated once. Common
/// practice, no source.
const SEATED_ONCE_DB: f64 = 0.1;
/// Takes from which on seating is measured and not assumed.
const SEATED_OFTEN: usize = 3;

/// 1 Pa in dB SPL.
pub(crate) fn pascal_spl_db() -> f64 {
    amplitude_db(1.0 / REFERENCE_PA).unwrap_or(0.0)
}

/// The sound field for which a sensitivity holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SoundField {
    /// Equal pressure all over the diaphragm, carried over to the free field by the entered correction.
    PressureToFreeField,
    /// Sound from the front in a field without reflections, or with reflections cut off in time.
    FreeField,
}

/// What a sensitivity was measured under.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Conditions {
    /// Frequency in Hz.
    pub frequency_hz: f64,
    /// Sound field.
    pub field: SoundField,
    /// Sound pressure level at the microphone in dB SPL; `None`: not known.
    pub spl_db: Option<f64>,
    /// Static pressure in kPa; `None`: nobody read it.
    pub static_pressure_kpa: Option<f64>,
    /// Distance of the loudspeaker in mm; `None` without one.
    pub distance_mm: Option<f64>,
    /// Takes that were averaged; by substitution settings-up.
    pub n_takes: usize,
    /// The chain as it was entered.
    pub chain: Chain,
}

/// Sensitivity at 1 kHz (or the calibrator's frequency), free field, loaded by the chain as it was used.
///
/// # Source
/// IEC 60268-4: rated free-field sensitivity at the reference frequency; terms from memory.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Sensitivity {
    /// Level in the file for 1 Pa, in dB re a sine that just reaches full scale: dBFS/Pa.
    pub dbfs_per_pa: Quantity,
    /// In mV/Pa; `None` where the chain's gain or scale is not known.
    pub mv_per_pa: Option<Quantity>,
    /// In dB re 1 V/Pa; `None` likewise.
    pub db_re_1v_per_pa: Option<Quantity>,
    /// Sound pressure level of a sine at this frequency that just reaches full scale, in dB SPL.
    pub full_scale_spl_db: Quantity,
    /// What it was measured under.
    pub conditions: Conditions,
    /// What is doubtful.
    pub cautions: Vec<LevelCaution>,
}

impl Sensitivity {
    /// All forms of one sensitivity that was found in dBFS/Pa.
    pub(crate) fn of(
        dbfs_per_pa: f64,
        budget: Vec<Contribution>,
        conditions: Conditions,
        cautions: Vec<LevelCaution>,
    ) -> Sensitivity {
        // V/Pa at the microphone: the file's level for 1 Pa, times the voltage of full scale at the chain's input.
        let volts = conditions.chain.input_at_full_scale_dbv().map(|(full_scale_dbv, doubts)| {
            let budget = budget.iter().cloned().chain(doubts).collect();
            Quantity::new(dbfs_per_pa + full_scale_dbv, budget)
        });
        Sensitivity {
            mv_per_pa: volts.as_ref().map(millivolts),
            db_re_1v_per_pa: volts,
            full_scale_spl_db: Quantity::new(pascal_spl_db() - dbfs_per_pa, budget.clone()),
            dbfs_per_pa: Quantity::new(dbfs_per_pa, budget),
            conditions,
            cautions,
        }
    }

    /// Level in dB SPL of sound whose mean square is `power`, in full-scale².
    pub(crate) fn spl_db(&self, power: f64) -> Option<f64> {
        // A sine that just reaches full scale has a mean square of one half.
        fairtake_signal::units::power_db(2.0 * power)
            .map(|dbfs| dbfs - self.dbfs_per_pa.value + pascal_spl_db())
    }
}

/// dB re 1 V/Pa as mV/Pa; uncertainties by the slope, which for 0.5 dB is true to 3 % of themselves.
fn millivolts(volts_db: &Quantity) -> Quantity {
    let value = 1000.0 * fairtake_signal::units::db_to_power(volts_db.value).sqrt();
    let slope = value / (2.0 * DB_PER_NEPER);
    let budget = volts_db
        .budget
        .iter()
        .map(|part| Contribution { standard: slope * part.standard, ..part.clone() })
        .collect();
    Quantity::new(value, budget)
}

/// Sensitivity of a measurement microphone from takes of a calibrator's tone; each take seated anew.
///
/// # Errors
/// For a microphone that is not an omnidirectional measurement microphone, a calibrator of which too little is known, and
/// takes that hold no proper tone.
pub fn by_calibrator(
    takes: &[&[f32]],
    rate_hz: u32,
    (pattern, purpose): (Pattern, Purpose),
    calibrator: &Calibrator,
    chain: &Chain,
) -> Result<Sensitivity, LevelError> {
    fits(pattern, purpose)?;
    if takes.is_empty() {
        return Err(LevelError::NoTakes { what: "the calibrator's tone" });
    }
    let (spl_db, mut budget) = calibrator.pressure_level()?;
    let tones = takes.iter().map(|take| tone(take, rate_hz, calibrator.frequency_hz));
    let tones: Vec<Tone> = tones.collect::<Result<_, _>>()?;
    let levels: Vec<f64> = tones.iter().map(|t| t.level_dbfs).collect();
    let mean = levels.iter().sum::<f64>() / levels.len() as f64;
    budget.push(calibrator.pressure_to_free_field_db.contribution("pressure to free field"));
    let mut cautions: Vec<LevelCaution> = tones.iter().flat_map(|t| t.cautions.clone()).collect();
    // With two takes the spread is known to one degree of freedom: worse than the assumption.
    match Contribution::of_repeats(&levels) {
        Some(repeats) if levels.len() >= SEATED_OFTEN => budget.push(repeats),
        _ => {
            let half = SEATED_ONCE_DB / (levels.len() as f64).sqrt();
            budget.push(Contribution::within("seating (assumed)", half));
            budget.push(Contribution {
                from: "reading".into(),
                standard: tones.iter().map(|t| t.standard_db.powi(2)).sum::<f64>().sqrt()
                    / levels.len() as f64,
                degrees_of_freedom: Some(tones.iter().map(|t| t.n_blocks as f64 - 1.0).sum()),
            });
            cautions
                .push(LevelCaution::SeatedOnce { figure: levels.len() as f64, limit: SEATED_OFTEN as f64 });
        }
    }
    let conditions = Conditions {
        frequency_hz: calibrator.frequency_hz,
        field: SoundField::PressureToFreeField,
        spl_db: Some(spl_db),
        static_pressure_kpa: calibrator.static_pressure.kpa.map(|kpa| kpa.value),
        distance_mm: None,
        n_takes: takes.len(),
        chain: chain.clone(),
    };
    let dbfs_per_pa = mean - (spl_db - pascal_spl_db()) + calibrator.pressure_to_free_field_db.value;
    Ok(Sensitivity::of(dbfs_per_pa, budget, conditions, cautions))
}

#[cfg(test)]
#[path = "sensitivity_tests.rs"]
mod tests;
