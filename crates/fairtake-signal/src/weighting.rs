//! Frequency weightings as power gains.

/// A-weighting.
///
/// # Source
/// IEC 61672-1:2013, Annex E; checked against its Table 3 in `reference/01_frequency_weightings.csv`.
pub fn a_power(frequency_hz: f64) -> f64 {
    let f2 = frequency_hz * frequency_hz;
    let (f1, f2p, f3, f4) = (20.598_997f64, 107.652_65f64, 737.862_23f64, 12_194.217f64);
    let gain =
        f4.powi(2) * f2 * f2 / ((f2 + f1 * f1) * ((f2 + f2p * f2p) * (f2 + f3 * f3)).sqrt() * (f2 + f4 * f4));
    // Normalised to 1 at 1 kHz: Annex E gives −2.000 dB for the unnormalised gain there.
    (gain * 1.258_925).powi(2)
}

/// BS.468 weighting.
///
/// # Source
/// ITU-R BS.468-4, network of Fig. 1 as a rational function (+18.2 dB at 1 kHz in the formula's own scale); checked
/// against Table 1 in `reference/04_bs468_weighting.csv`.
pub fn bs468_power(frequency_hz: f64) -> f64 {
    let f = frequency_hz;
    let h1 = -4.737_338_981_378_384e-24 * f.powi(6) + 2.043_828_333_606_125e-15 * f.powi(4)
        - 1.363_894_795_463_638e-7 * f * f
        + 1.0;
    let h2 = 1.306_612_257_412_824e-19 * f.powi(5) - 2.118_150_887_518_656e-11 * f.powi(3)
        + 5.559_488_023_498_642e-4 * f;
    let gain = 1.246_332_637_532_143e-4 * f / (h1 * h1 + h2 * h2).sqrt();
    (gain * 10f64.powf(18.2 / 20.0)).powi(2)
}

/// Corner, quality and gain of the two K-weighting stages as analogue prototypes.
///
/// # Source
/// Re-derived from the 48 kHz coefficients of ITU-R BS.1770-5, Annex 1, Tables 1 and 2.
pub(crate) const K_SHELF: (f64, f64, f64) =
    (1_681.974_450_955_533, 0.707_175_236_955_419_6, 3.999_843_853_973_347);
/// High-pass: corner and quality.
pub(crate) const K_HIGH_PASS: (f64, f64) = (38.135_470_876_139_82, 0.500_327_037_323_877_3);

/// K-weighting.
///
/// # Source
/// ITU-R BS.1770-5, Annex 1, as analogue prototype.
pub fn k_power(frequency_hz: f64) -> f64 {
    let (f0, q, gain_db) = K_SHELF;
    let vh = 10f64.powf(gain_db / 20.0);
    let vb = vh.powf(0.499_666_774_154_541_6);
    let x = frequency_hz / f0;
    let shelf =
        ((1.0 - vh * x * x).powi(2) + (vb * x / q).powi(2)) / ((1.0 - x * x).powi(2) + (x / q).powi(2));
    let y = frequency_hz / K_HIGH_PASS.0;
    shelf * y.powi(4) / ((1.0 - y * y).powi(2) + (y / K_HIGH_PASS.1).powi(2))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rows of a reference file: the numbers of each line that is neither comment nor heading.
    fn rows(text: &str) -> Vec<Vec<f64>> {
        text.lines()
            .filter(|l| !l.starts_with('#'))
            .map(|l| l.split(',').map(|c| c.trim().parse().unwrap_or(f64::NAN)).collect::<Vec<f64>>())
            .filter(|r| !r[0].is_nan())
            .collect()
    }

    fn db(power: f64) -> f64 {
        crate::units::power_db(power).expect("a gain")
    }

    #[test]
    fn a_weighting_is_that_of_the_standard() {
        // IEC 61672-1:2013, Table 3, at the exact base-ten frequencies; half of the table's last digit.
        let rows = rows(include_str!("../../../reference/01_frequency_weightings.csv"));
        assert!(rows.len() > 30, "the table was read");
        for row in &rows {
            assert!((db(a_power(row[1])) - row[2]).abs() <= 0.05 + 1e-3, "{} Hz", row[0]);
        }
    }

    #[test]
    fn bs468_weighting_follows_its_table() {
        let text = include_str!("../../../reference/04_bs468_weighting.csv");
        let rows = rows(text);
        assert!(rows.len() > 15, "the table was read");
        for row in rows.iter().filter(|r| r[0] >= 63.0 && r[0] <= 20_000.0) {
            // The table is rounded to 0.1 dB, at 100 Hz rounded down: reference/README.md.
            assert!((db(bs468_power(row[0])) - row[1]).abs() < 0.11, "{} Hz", row[0]);
        }
    }

    #[test]
    fn k_weighting_lifts_997_hz_by_the_constant_that_loudness_takes_away() {
        // BS.1770-5: −0.691 compensates the digital filter's gain at 997 Hz and 48 kHz. The bilinear transform bends the
        // prototype's shelf by 0.04 dB there, which the filter itself (loudness.rs) has and this curve has not.
        assert!((db(k_power(997.0)) - 0.691).abs() < 0.045, "{}", db(k_power(997.0)));
    }
}
