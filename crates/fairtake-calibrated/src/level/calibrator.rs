//! A sound calibrator: the level that it makes, and what may press on it.

use super::{LevelError, Stated};
use crate::Contribution;
use fairtake_signal::units::amplitude_db;
use serde::{Deserialize, Serialize};

/// Static pressure to which stated levels refer, in kPa.
const REFERENCE_KPA: f64 = 101.325;
/// What the weather and moderate heights may do to the pressure where nobody read it: 95 to 105 kPa, ±5 % (common
/// practice, no source; high ground lies outside, and must be entered).
const UNREAD_KPA: Stated = Stated { value: REFERENCE_KPA, doubt: super::Doubt::Within(5.0) };

/// Directional pattern of a microphone, as far as a calibrator asks.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Pattern {
    /// Takes up sound pressure.
    Omnidirectional,
    /// Takes up a pressure difference too.
    Directional,
    /// Not logged.
    Unknown,
}

/// What a microphone was built for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Purpose {
    /// Measuring: a defined diameter that fits a coupler.
    Measurement,
    /// Recording.
    Studio,
    /// Not logged.
    Unknown,
}

/// Class of a calibrator.
///
/// # Source
/// IEC 60942; names and limits from memory.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum CalibratorClass {
    /// Laboratory standard.
    Ls,
    /// Class 1.
    One,
    /// Class 2.
    Two,
}

impl CalibratorClass {
    /// Every class, the finest first.
    pub const ALL: [CalibratorClass; 3] = [CalibratorClass::Ls, CalibratorClass::One, CalibratorClass::Two];

    /// As the log writes it.
    pub fn word(self) -> &'static str {
        match self {
            CalibratorClass::Ls => "ls",
            CalibratorClass::One => "1",
            CalibratorClass::Two => "2",
        }
    }

    /// As people write it.
    pub fn words(self) -> &'static str {
        match self {
            CalibratorClass::Ls => "LS",
            CalibratorClass::One => "1",
            CalibratorClass::Two => "2",
        }
    }

    /// Largest deviation from the stated level in dB.
    ///
    /// # Source
    /// IEC 60942:2003, tolerances at 160 Hz–1250 Hz with the maker's uncertainty in them; from memory, the wider of the two
    /// editions. *Not checked against outside values.* A certificate replaces it.
    pub fn half_db(self) -> f64 {
        match self {
            CalibratorClass::Ls => 0.2,
            CalibratorClass::One => 0.4,
            CalibratorClass::Two => 0.75,
        }
    }
}

/// How a calibrator's level follows the static pressure of the air.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum PressureResponse {
    /// A reference microphone inside regulates it: this much per kPa, in dB (often near 0).
    Regulated(f64),
    /// A piston: pressure follows the air's, 20·lg(p/101.325 kPa).
    Piston,
}

/// Static pressure at the time, and what the calibrator makes of it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct StaticPressure {
    /// Read off, in kPa; `None`: nobody did, and what weather may do enters the budget.
    pub kpa: Option<Stated>,
    /// How the calibrator follows.
    pub response: PressureResponse,
}

impl StaticPressure {
    fn correction_db(&self) -> Result<Stated, LevelError> {
        let stated = self.kpa.unwrap_or(UNREAD_KPA);
        if !stated.is_usable() || !(50.0..=115.0).contains(&stated.value) {
            return Err(LevelError::OutOfRange {
                what: "static pressure in kPa",
                value: stated.value,
                from: 50.0,
                to: 115.0,
            });
        }
        let db = |kpa: f64| match self.response {
            PressureResponse::Regulated(db_per_kpa) => db_per_kpa * (kpa - REFERENCE_KPA),
            PressureResponse::Piston => amplitude_db(kpa / REFERENCE_KPA).unwrap_or(0.0),
        };
        let standard_kpa = stated.contribution("").standard;
        let standard_db = (db(stated.value + standard_kpa) - db(stated.value - standard_kpa)).abs() / 2.0;
        Ok(Stated { value: db(stated.value), doubt: super::Doubt::Standard(standard_db) })
    }
}

/// A sound calibrator as its certificate, its manual and the log describe it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Calibrator {
    /// Level that it makes, in dB SPL: mostly 94 or 114.
    pub level_db: f64,
    /// Frequency in Hz: mostly 1000.
    pub frequency_hz: f64,
    /// Class; `None`: not known, and then a certificate is needed.
    pub class: Option<CalibratorClass>,
    /// What a certificate says of the level's deviation: measured minus stated level in dB, with its uncertainty. Replaces
    /// the class.
    pub certificate_db: Option<Stated>,
    /// What adaptor and microphone change by their volume, in dB, by the manual.
    pub adaptor_db: Stated,
    /// The air's pressure.
    pub static_pressure: StaticPressure,
    /// Free-field minus pressure response of this microphone at the calibrator's frequency, in dB, by its manual.
    pub pressure_to_free_field_db: Stated,
}

impl Calibrator {
    /// Sound pressure level at the microphone's diaphragm in dB SPL, with its budget.
    pub(crate) fn pressure_level(&self) -> Result<(f64, Vec<Contribution>), LevelError> {
        for (what, value, from, to) in [
            ("level of the calibrator in dB", self.level_db, 60.0, 140.0),
            ("frequency of the calibrator in Hz", self.frequency_hz, 20.0, 20_000.0),
            ("correction of the adaptor in dB", self.adaptor_db.value, -3.0, 3.0),
            ("pressure-to-free-field correction in dB", self.pressure_to_free_field_db.value, -5.0, 5.0),
        ] {
            if !(from..=to).contains(&value) {
                return Err(LevelError::OutOfRange { what, value, from, to });
            }
        }
        let made = match (self.certificate_db, self.class) {
            (Some(certificate), _) if certificate.is_usable() => certificate,
            (None, Some(class)) => Stated::within(0.0, class.half_db()),
            _ => return Err(LevelError::CalibratorUnknown),
        };
        let air = self.static_pressure.correction_db()?;
        let level_db = self.level_db + made.value + self.adaptor_db.value + air.value;
        Ok((
            level_db,
            vec![
                made.contribution("calibrator"),
                self.adaptor_db.contribution("adaptor"),
                air.contribution("static pressure"),
            ],
        ))
    }
}

/// A calibrator makes a known pressure in a closed volume. It tells of a microphone that is a pressure receiver and seals it.
pub(crate) fn fits(pattern: Pattern, purpose: Purpose) -> Result<(), LevelError> {
    match (pattern, purpose) {
        (Pattern::Omnidirectional, Purpose::Measurement) => Ok(()),
        _ => Err(LevelError::CalibratorDoesNotFit { pattern, purpose }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn air(kpa: Option<Stated>, response: PressureResponse) -> Stated {
        StaticPressure { kpa, response }.correction_db().expect("a possible pressure")
    }

    #[test]
    fn a_piston_follows_the_air_and_a_regulated_calibrator_its_coefficient() {
        // Exact: 20 lg(90/101.325) = −1.0294 dB.
        let piston = air(Some(Stated::within(90.0, 0.3)), PressureResponse::Piston);
        assert!((piston.value - 20.0 * (90.0f64 / 101.325).ln() / 10f64.ln()).abs() < 1e-12);
        let regulated = air(Some(Stated::within(90.0, 0.3)), PressureResponse::Regulated(-0.002));
        assert!((regulated.value - 0.002 * 11.325).abs() < 1e-12);
        // Exact: 0.3/√3 kPa times the coefficient.
        let standard = regulated.contribution("").standard;
        assert!((standard - 0.002 * 0.3 / 3f64.sqrt()).abs() < 1e-12);
    }

    #[test]
    fn a_pressure_that_nobody_read_is_in_the_budget() {
        let unread = air(None, PressureResponse::Piston);
        // Exact to second order: 8.686 · 5/√3/101.325.
        let expected = 20.0 / 10f64.ln() * 5.0 / 3f64.sqrt() / 101.325;
        assert!((unread.contribution("").standard - expected).abs() < 1e-3 && unread.value == 0.0);
    }

    #[test]
    fn a_pressure_in_the_wrong_unit_is_refused() {
        let hecto =
            StaticPressure { kpa: Some(Stated::within(1013.0, 1.0)), response: PressureResponse::Piston };
        assert!(
            matches!(hecto.correction_db(), Err(LevelError::OutOfRange { value, .. }) if value == 1013.0)
        );
    }
}
