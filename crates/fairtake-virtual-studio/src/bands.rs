//! The curve tier's own bands: 1/12 octave, base ten.

use fairtake_compare::BandSpan;

/// 120 bands of 1/12 octave with mid-band frequencies from 19.6 Hz to 20.4 kHz.
///
/// # Source
/// IEC 61260-1:2014, Formulas (1)–(5): G = 10^0.3; for even fractions 1 kHz is a band edge.
pub fn twelfth_octaves() -> Vec<BandSpan> {
    let g = |x: f64| 1000.0 * 10f64.powf(0.3 * x);
    (-68..52)
        .map(|k| BandSpan { from_hz: g(f64::from(k) / 12.0), to_hz: g(f64::from(k + 1) / 12.0) })
        .collect()
}

/// K-weighting as a power gain at a frequency.
///
/// # Source
/// ITU-R BS.1770 pre-filter and high-pass as analogue prototypes (shelf 1681.97 Hz, +4.0 dB, Q 0.7072; high-pass 38.14 Hz,
/// Q 0.5003: common re-derivation of the coefficients, from memory). The studio needs its course only.
pub fn k_power(frequency_hz: f64) -> f64 {
    let (f0, gain_db, q) = (1681.974_450_955_533, 3.999_843_853_973_347, 0.707_175_236_955_419_6);
    let (vh, x) = (10f64.powf(gain_db / 20.0), frequency_hz / f0);
    let vb = vh.powf(0.499_666_774_154_541_6);
    // |(1 − vh·x² + j·vb·x/q)| / |(1 − x² + j·x/q)|
    let shelf =
        ((1.0 - vh * x * x).powi(2) + (vb * x / q).powi(2)) / ((1.0 - x * x).powi(2) + (x / q).powi(2));
    let (f1, q1) = (38.135_470_876_139_82, 0.500_327_037_323_877_3);
    let y = frequency_hz / f1;
    shelf * y.powi(4) / ((1.0 - y * y).powi(2) + (y / q1).powi(2))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn there_are_120_bands_and_one_kilohertz_is_an_edge() {
        let bands = twelfth_octaves();
        assert_eq!(bands.len(), 120);
        assert!(bands.iter().any(|b| (b.from_hz - 1000.0).abs() < 1e-9));
        // METHOD: mid-band frequencies from 19.6 Hz to 20.4 kHz; to the last digit given.
        assert!(
            (bands[0].centre_hz() - 19.6).abs() < 0.5 && (bands[119].centre_hz() - 20_400.0).abs() < 500.0
        );
    }

    #[test]
    fn k_weighting_is_about_unity_at_997_hz() {
        // BS.1770: a 997 Hz full-scale sine reads −3.01, so the gain is +0.691 dB there; half of the last digit.
        assert!((10.0 * k_power(997.0).log10() - 0.691).abs() < 0.01, "{}", 10.0 * k_power(997.0).log10());
    }
}
