//! Second-order filters as every console has them: shelves, peaks, cuts.

use std::f64::consts::PI;

/// A second-order filter with its state.
///
/// # Source
/// R. Bristow-Johnson, "Cookbook formulae for audio equalizer biquad filter coefficients", W3C Working Group Note, 2021;
/// formulas from memory, held against their defining gains in the tests.
#[derive(Debug, Clone, PartialEq)]
pub struct Biquad {
    /// b0, b1, b2 over a0.
    b: [f64; 3],
    /// a1, a2 over a0.
    a: [f64; 2],
    state: [f64; 2],
}

impl Biquad {
    /// A peak (positive gain) or dip at a frequency in Hz, gain in dB, Q as bandwidth.
    pub fn peak(rate_hz: f64, at_hz: f64, gain_db: f64, q: f64) -> Biquad {
        let (cos, alpha, root) = parts(rate_hz, at_hz, gain_db, q);
        Biquad::of(
            [1.0 + alpha * root, -2.0 * cos, 1.0 - alpha * root],
            [1.0 + alpha / root, -2.0 * cos, 1.0 - alpha / root],
        )
    }

    /// Raises (or lowers) all below a frequency in Hz by a gain in dB; half of it at the frequency.
    pub fn low_shelf(rate_hz: f64, at_hz: f64, gain_db: f64) -> Biquad {
        let (cos, alpha, root) = parts(rate_hz, at_hz, gain_db, std::f64::consts::FRAC_1_SQRT_2);
        let slope = 2.0 * root.sqrt() * alpha;
        let (plus, minus) = (root + 1.0, root - 1.0);
        Biquad::of(
            [
                root * (plus - minus * cos + slope),
                2.0 * root * (minus - plus * cos),
                root * (plus - minus * cos - slope),
            ],
            [plus + minus * cos + slope, -2.0 * (minus + plus * cos), plus + minus * cos - slope],
        )
    }

    /// Raises (or lowers) all above a frequency in Hz by a gain in dB; half of it at the frequency.
    pub fn high_shelf(rate_hz: f64, at_hz: f64, gain_db: f64) -> Biquad {
        let (cos, alpha, root) = parts(rate_hz, at_hz, gain_db, std::f64::consts::FRAC_1_SQRT_2);
        let slope = 2.0 * root.sqrt() * alpha;
        let (plus, minus) = (root + 1.0, root - 1.0);
        Biquad::of(
            [
                root * (plus + minus * cos + slope),
                -2.0 * root * (minus + plus * cos),
                root * (plus + minus * cos - slope),
            ],
            [plus - minus * cos + slope, 2.0 * (minus - plus * cos), plus - minus * cos - slope],
        )
    }

    /// Second-order Butterworth high-pass: −3 dB at the corner in Hz.
    pub fn high_pass(rate_hz: f64, corner_hz: f64) -> Biquad {
        let (cos, alpha, _) = parts(rate_hz, corner_hz, 0.0, std::f64::consts::FRAC_1_SQRT_2);
        Biquad::of(
            [(1.0 + cos) / 2.0, -(1.0 + cos), (1.0 + cos) / 2.0],
            [1.0 + alpha, -2.0 * cos, 1.0 - alpha],
        )
    }

    /// Second-order Butterworth low-pass: −3 dB at the corner in Hz.
    pub fn low_pass(rate_hz: f64, corner_hz: f64) -> Biquad {
        let (cos, alpha, _) = parts(rate_hz, corner_hz, 0.0, std::f64::consts::FRAC_1_SQRT_2);
        Biquad::of([(1.0 - cos) / 2.0, 1.0 - cos, (1.0 - cos) / 2.0], [1.0 + alpha, -2.0 * cos, 1.0 - alpha])
    }

    fn of(b: [f64; 3], a: [f64; 3]) -> Biquad {
        Biquad { b: b.map(|v| v / a[0]), a: [a[1] / a[0], a[2] / a[0]], state: [0.0; 2] }
    }

    /// Filters samples in place, carrying the state on.
    pub fn run(&mut self, samples: &mut [f32]) {
        for x in samples {
            let input = f64::from(*x);
            let out = self.b[0] * input + self.state[0];
            self.state[0] = self.b[1] * input - self.a[0] * out + self.state[1];
            self.state[1] = self.b[2] * input - self.a[1] * out;
            *x = out as f32;
        }
    }

    /// Power gain at a frequency in Hz.
    pub fn power(&self, rate_hz: f64, frequency_hz: f64) -> f64 {
        let w = 2.0 * PI * frequency_hz / rate_hz;
        let at = |c: [f64; 3]| {
            let re = c[0] + c[1] * w.cos() + c[2] * (2.0 * w).cos();
            let im = c[1] * w.sin() + c[2] * (2.0 * w).sin();
            re * re + im * im
        };
        at(self.b) / at([1.0, self.a[0], self.a[1]])
    }

    /// Power gain where the squared sine of half the angular frequency is `half_sine`: quick where many filters are tried at
    /// the same frequencies, and as good as [`Biquad::power`] but for rounding, which stays small far below the sampling rate
    /// too, since the sum of the coefficients is squared before anything is taken off.
    pub fn power_at(&self, half_sine: f64) -> f64 {
        let at = |[p, q, r]: [f64; 3]| {
            let sum = p + q + r;
            sum * sum + half_sine * (16.0 * p * r * half_sine - 4.0 * (p * q + q * r + 4.0 * p * r))
        };
        at(self.b) / at([1.0, self.a[0], self.a[1]])
    }
}

/// cos ω, α = sin ω / 2Q, and the square root of the amplitude gain.
fn parts(rate_hz: f64, at_hz: f64, gain_db: f64, q: f64) -> (f64, f64, f64) {
    let w = 2.0 * PI * at_hz / rate_hz;
    (w.cos(), w.sin() / (2.0 * q), crate::units::db_to_power(gain_db / 4.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::power_db;

    const RATE_HZ: f64 = 48_000.0;

    fn db(filter: &Biquad, hz: f64) -> f64 {
        power_db(filter.power(RATE_HZ, hz)).expect("no zero there")
    }

    #[test]
    fn every_filter_has_the_gain_that_defines_it() {
        // Exact by definition; 1e-6 dB is rounding.
        let close = |a: f64, b: f64| (a - b).abs() < 1e-6;
        let peak = Biquad::peak(RATE_HZ, 3000.0, 4.5, 1.2);
        assert!(close(db(&peak, 3000.0), 4.5) && db(&peak, 30.0).abs() < 0.01);
        let low = Biquad::low_shelf(RATE_HZ, 200.0, -6.0);
        assert!(
            close(db(&low, 0.0), -6.0) && close(db(&low, 200.0), -3.0) && db(&low, 20_000.0).abs() < 0.01
        );
        let high = Biquad::high_shelf(RATE_HZ, 8000.0, 5.0);
        assert!(
            close(db(&high, 24_000.0), 5.0) && close(db(&high, 8000.0), 2.5) && db(&high, 20.0).abs() < 0.01
        );
        let half = power_db(0.5).expect("positive");
        assert!(close(db(&Biquad::high_pass(RATE_HZ, 40.0), 40.0), half));
        assert!(close(db(&Biquad::low_pass(RATE_HZ, 9000.0), 9000.0), half));
    }

    #[test]
    fn the_quick_way_to_the_gain_is_the_slow_one() {
        for (hz, filter) in [20.0, 150.0, 3000.0, 20_000.0].into_iter().flat_map(|hz| {
            let made = [Biquad::peak(RATE_HZ, 900.0, 6.0, 1.4), Biquad::low_shelf(RATE_HZ, 60.0, -9.0)];
            made.map(|filter| (hz, filter))
        }) {
            let half_sine = (PI * hz / RATE_HZ).sin().powi(2);
            // At 20 Hz five digits of sixteen cancel.
            assert!((filter.power_at(half_sine) / filter.power(RATE_HZ, hz) - 1.0).abs() < 1e-9, "{hz}");
        }
    }

    #[test]
    fn what_runs_through_has_the_power_that_is_computed() {
        // Parseval: energy of the impulse response is the mean power gain over the circle.
        let filter = Biquad::peak(RATE_HZ, 5000.0, 6.0, 2.0);
        let mut impulse = vec![0f32; 4096];
        impulse[0] = 1.0;
        filter.clone().run(&mut impulse);
        let energy: f64 = impulse.iter().map(|x| f64::from(*x).powi(2)).sum();
        let n = 4096;
        let mean = (0..n).map(|k| filter.power(RATE_HZ, RATE_HZ * f64::from(k) / f64::from(n))).sum::<f64>()
            / f64::from(n);
        // f32 samples: 1e-6 relative.
        assert!((energy / mean - 1.0).abs() < 1e-6, "{energy} {mean}");
    }
}
