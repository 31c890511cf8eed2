//! Levels of one take in third octaves, as plain data.

use fairtake_signal::units::{db_to_power, power_db};
use serde::{Deserialize, Serialize};

/// A level in a band.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct BandLevel {
    /// Middle of the band in Hz, exact or nominal.
    pub centre_hz: f64,
    /// Level in dB, re whatever the takes of one measurement share.
    pub level_db: f64,
    /// Standard uncertainty of this reading alone in dB; `None`: not known.
    pub standard_db: Option<f64>,
    /// Degrees of freedom of that; `None`: taken as known exactly.
    pub degrees_of_freedom: Option<f64>,
}

/// 10/ln 10: a small relative change of a power in dB.
pub(crate) const DB_PER_NEPER: f64 = 10.0 / std::f64::consts::LN_10;

/// The same band in two takes: their middles differ by less than a twelfth of an octave.
pub(crate) fn same_band(a_hz: f64, b_hz: f64) -> bool {
    a_hz > 0.0 && b_hz > 0.0 && (a_hz / b_hz).log2().abs() < 1.0 / 12.0
}

/// Levels of bands that belong together as one: the mean of their powers, each first divided by what it is re. Uncertainties
/// add up as independent ones; degrees of freedom by Welch and Satterthwaite.
pub(crate) fn joined(centre_hz: f64, parts: &[(BandLevel, f64)]) -> Option<BandLevel> {
    let powers: Vec<f64> = parts.iter().map(|(band, re_db)| db_to_power(band.level_db - re_db)).collect();
    let sum: f64 = powers.iter().sum();
    let shares: Option<Vec<f64>> =
        parts.iter().zip(&powers).map(|((band, _), p)| Some(band.standard_db? * p / sum)).collect();
    let standard_db = shares.as_ref().map(|s| s.iter().map(|v| v * v).sum::<f64>().sqrt());
    let doubt: f64 = shares
        .iter()
        .flatten()
        .zip(parts)
        .filter_map(|(share, (band, _))| band.degrees_of_freedom.map(|df| share.powi(4) / df))
        .sum();
    Some(BandLevel {
        centre_hz,
        level_db: power_db(sum / parts.len() as f64)?,
        standard_db,
        degrees_of_freedom: standard_db.filter(|_| doubt > 0.0).map(|s| s.powi(4) / doubt),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn joined_bands_have_the_mean_of_their_powers() {
        let band = |level_db, standard_db| BandLevel {
            centre_hz: 1000.0,
            level_db,
            standard_db,
            degrees_of_freedom: Some(4.0),
        };
        let found =
            joined(1000.0, &[(band(3.0, Some(0.1)), 3.0), (band(-10.0, Some(0.1)), 0.0)]).expect("power");
        // Exact: (1 + 0.1)/2 of the power; shares 1/1.1 and 0.1/1.1 of 0.1 dB.
        assert!((found.level_db - 10.0 * 0.55f64.ln() / 10f64.ln()).abs() < 1e-12);
        let standard = 0.1 * (1.0f64 + 0.01).sqrt() / 1.1;
        assert!((found.standard_db.expect("known") - standard).abs() < 1e-12);
        // Exact: (Σs²)²·4/Σs⁴.
        let df = 4.0 * 1.01f64.powi(2) / 1.0001;
        assert!((found.degrees_of_freedom.expect("known") - df).abs() < 1e-9);
        assert_eq!(joined(1000.0, &[(band(0.0, None), 0.0)]).expect("power").standard_db, None);
    }

    #[test]
    fn nominal_and_exact_middles_are_one_band() {
        assert!(same_band(1250.0, 1258.925) && same_band(31.5, 31.623) && !same_band(1000.0, 1258.925));
    }
}
