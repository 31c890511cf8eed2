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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn there_are_120_bands_and_one_kilohertz_is_an_edge() {
        let bands = twelfth_octaves();
        assert_eq!(bands.len(), 120);
        assert!(bands.iter().any(|b| (b.from_hz - 1000.0).abs() < 1e-9));
        // METHOD: all mid-band frequencies in 19.6 Hz–20.4 kHz; one step of 1/12 octave further lies outside.
        let step = 10f64.powf(0.3 / 12.0);
        let (first, last) = (bands[0].centre_hz(), bands[119].centre_hz());
        assert!(first >= 19.6 && first / step < 19.6 && last <= 20_400.0 && last * step > 20_400.0);
    }
}
