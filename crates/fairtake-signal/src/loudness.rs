//! K-weighting as a running filter, and gated loudness.

use crate::weighting::{K_HIGH_PASS, K_SHELF};

/// One second-order section, direct form I: of all forms the one in which an output waits for the least of the one before
/// it, and in f64 exact enough at every rate.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Section {
    b: [f64; 3],
    a: [f64; 2],
    /// The last two inputs.
    x: [f64; 2],
    /// The last two outputs.
    y: [f64; 2],
}

impl Section {
    #[inline(always)]
    fn step(&mut self, x: f64) -> f64 {
        let known = (self.b[0] * x + self.b[1] * self.x[0]) + (self.b[2] * self.x[1] - self.a[1] * self.y[1]);
        let y = known - self.a[0] * self.y[0];
        (self.x, self.y) = ([x, self.x[0]], [y, self.y[0]]);
        y
    }
}

/// The K-weighting filter for any sampling rate; keeps its state between calls.
#[derive(Debug, Clone, PartialEq)]
pub struct KWeighting {
    shelf: Section,
    high_pass: Section,
}

impl KWeighting {
    /// The filter for `rate_hz`.
    ///
    /// # Source
    /// ITU-R BS.1770-5, Annex 1: bilinear transform of the prototypes behind Tables 1 and 2; reproduces them at 48 kHz.
    pub fn new(rate_hz: u32) -> KWeighting {
        let rate = f64::from(rate_hz);
        let (f0, q, gain_db) = K_SHELF;
        let k = (std::f64::consts::PI * f0 / rate).tan();
        let vh = 10f64.powf(gain_db / 20.0);
        let vb = vh.powf(0.499_666_774_154_541_6);
        let a0 = 1.0 + k / q + k * k;
        let shelf = Section {
            b: [(vh + vb * k / q + k * k) / a0, 2.0 * (k * k - vh) / a0, (vh - vb * k / q + k * k) / a0],
            a: [2.0 * (k * k - 1.0) / a0, (1.0 - k / q + k * k) / a0],
            x: [0.0; 2],
            y: [0.0; 2],
        };
        let (f1, q1) = K_HIGH_PASS;
        let k = (std::f64::consts::PI * f1 / rate).tan();
        let a0 = 1.0 + k / q1 + k * k;
        let high_pass = Section {
            b: [1.0, -2.0, 1.0],
            a: [2.0 * (k * k - 1.0) / a0, (1.0 - k / q1 + k * k) / a0],
            x: [0.0; 2],
            y: [0.0; 2],
        };
        KWeighting { shelf, high_pass }
    }

    /// Energy (sum of squares) of the next samples after weighting.
    pub fn energy(&mut self, samples: &[f32]) -> f64 {
        // Local copies stay in registers.
        let (mut shelf, mut high_pass, mut sum) = (self.shelf, self.high_pass, 0.0);
        for x in samples {
            let y = high_pass.step(shelf.step(f64::from(*x)));
            sum += y * y;
        }
        (self.shelf, self.high_pass) = (shelf, high_pass);
        sum
    }
}

/// Loudness of a mean square after K-weighting, in LUFS; −∞ has none.
pub fn loudness(mean_square: f64) -> Option<f64> {
    crate::units::power_db(mean_square).map(|db| db - 0.691)
}

/// Gated programme loudness from mean squares of consecutive 100 ms stretches.
///
/// # Source
/// ITU-R BS.1770-5, Annex 1: 400 ms blocks, 75 % overlap, gates at −70 LUFS and −10 LU. `None` when nothing passes.
pub fn gated_loudness(tenths: &[f64]) -> Option<f64> {
    let blocks: Vec<f64> = tenths.windows(4).map(|w| w.iter().sum::<f64>() / 4.0).collect();
    let mean_above = |gate: f64| {
        let kept: Vec<f64> =
            blocks.iter().copied().filter(|b| loudness(*b).is_some_and(|l| l > gate)).collect();
        (!kept.is_empty()).then(|| kept.iter().sum::<f64>() / kept.len() as f64)
    };
    let relative = loudness(mean_above(-70.0)?)? - 10.0;
    loudness(mean_above(relative.max(-70.0))?)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_filter_at_48_khz_has_the_coefficients_of_the_recommendation() {
        let k = KWeighting::new(48_000);
        // Reference: ITU-R BS.1770-5, Annex 1, Tables 1 and 2 (reference/03_bs1770.toml). Rounding of the derivation.
        let near = |a: f64, b: f64| assert!((a - b).abs() < 1e-8, "{a} {b}");
        near(k.shelf.b[0], 1.535_124_859_586_97);
        near(k.shelf.b[1], -2.691_696_189_406_38);
        near(k.shelf.b[2], 1.198_392_810_852_85);
        near(k.shelf.a[0], -1.690_659_293_182_41);
        near(k.shelf.a[1], 0.732_480_774_215_85);
        near(k.high_pass.a[0], -1.990_047_454_833_98);
        near(k.high_pass.a[1], 0.990_072_250_366_21);
    }

    fn sine_tenths(rate: u32, hz: f64, peak_dbfs: f64, seconds: f64) -> Vec<f64> {
        let mut filter = KWeighting::new(rate);
        let peak = 10f64.powf(peak_dbfs / 20.0);
        let n = (f64::from(rate) * seconds) as usize;
        let samples: Vec<f32> = (0..n)
            .map(|i| (peak * (2.0 * std::f64::consts::PI * hz * i as f64 / f64::from(rate)).sin()) as f32)
            .collect();
        let tenth = rate as usize / 10;
        samples.chunks_exact(tenth).map(|c| filter.energy(c) / tenth as f64).collect()
    }

    #[test]
    fn a_sine_reads_three_below_its_peak_in_one_channel_at_any_rate() {
        for rate in [44_100, 48_000, 96_000, 192_000] {
            let l = gated_loudness(&sine_tenths(rate, 997.0, -20.0, 5.0)).expect("loud enough");
            // BS.1770-5: one channel of 997 Hz at −20 dBFS reads −23.01 at 48 kHz. At other rates the bilinear transform bends
            // the same prototype less or more: up to 0.03 dB, well inside the ±0.1 LU of EBU Tech 3341.
            let tolerance = if rate == 48_000 { 0.005 } else { 0.035 };
            assert!((l + 23.01).abs() < tolerance, "{rate}: {l}");
        }
    }

    #[test]
    fn quiet_stretches_do_not_count() {
        // EBU Tech 3341 case 3 in one channel: 10 s at −36, 60 s at −23, 10 s at −36 dBFS peak; two channels read −23.0,
        // one 3.01 less. Tolerance ±0.1 LU as there.
        let mut tenths = sine_tenths(48_000, 1000.0, -36.0, 10.0);
        tenths.extend(sine_tenths(48_000, 1000.0, -23.0, 60.0));
        tenths.extend(sine_tenths(48_000, 1000.0, -36.0, 10.0));
        let l = gated_loudness(&tenths).expect("loud enough");
        assert!((l + 26.01).abs() < 0.1, "{l}");
    }

    #[test]
    fn silence_has_no_loudness() {
        assert_eq!(gated_loudness(&[0.0; 100]), None);
    }
}
