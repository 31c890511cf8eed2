//! Linear parts of the bench: analogue filters, whose responses are formulas, applied to the spectrum of a whole signal.

use fairtake_transform::{Complex, fast_length, forward, inverse};
use std::f64::consts::TAU;

/// An analogue filter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Filter {
    /// Second order, falling by 12 dB per octave below `hz`; `q` is its gain there.
    HighPass {
        /// Corner in Hz.
        hz: f64,
        /// Gain at the corner.
        q: f64,
    },
    /// Second order, falling by 12 dB per octave above `hz`; `q` is its gain there.
    LowPass {
        /// Corner in Hz.
        hz: f64,
        /// Gain at the corner.
        q: f64,
    },
    /// First order, falling by 6 dB per octave above `hz`.
    Slope {
        /// Where it has fallen by 3 dB, in Hz.
        hz: f64,
    },
    /// A rise or dip around `hz`.
    Peak {
        /// Middle in Hz.
        hz: f64,
        /// Quality.
        q: f64,
        /// Gain in the middle, in dB.
        db: f64,
    },
    /// The same at every frequency.
    Gain {
        /// In dB.
        db: f64,
    },
    /// Later by so much.
    Delay {
        /// In seconds.
        s: f64,
    },
}

impl Filter {
    /// Its complex response at a frequency in Hz.
    pub fn response(self, hz: f64) -> Complex<f64> {
        let one = Complex::new(1.0, 0.0);
        // jω/ω0
        let s = |corner_hz: f64| Complex::new(0.0, hz / corner_hz);
        match self {
            Filter::HighPass { hz, q } => s(hz) * s(hz) / (s(hz) * s(hz) + s(hz) / q + one),
            Filter::LowPass { hz, q } => one / (s(hz) * s(hz) + s(hz) / q + one),
            Filter::Slope { hz } => one / (one + s(hz)),
            Filter::Peak { hz, q, db } => {
                // Gain A in the middle, symmetric between rise and dip.
                let root = 10f64.powf(db / 40.0);
                let s = s(hz);
                (s * s + s * (root / q) + one) / (s * s + s / (root * q) + one)
            }
            Filter::Gain { db } => Complex::new(10f64.powf(db / 20.0), 0.0),
            Filter::Delay { s } => Complex::from_polar(1.0, -TAU * hz * s),
        }
    }
}

/// Filters one after the other.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Chain(pub Vec<Filter>);

impl Chain {
    /// Complex response at a frequency in Hz.
    pub fn response(&self, hz: f64) -> Complex<f64> {
        self.0.iter().fold(Complex::new(1.0, 0.0), |all, filter| all * filter.response(hz))
    }

    /// Gain at a frequency in Hz, in dB.
    pub fn db(&self, hz: f64) -> f64 {
        20.0 * self.response(hz).norm().log10()
    }

    /// Mean power gain over a band in dB: what a measurement with that resolution should find.
    pub fn band_db(&self, from_hz: f64, to_hz: f64) -> f64 {
        const STEPS: usize = 64;
        let at = |i: usize| from_hz + (to_hz - from_hz) * (i as f64 + 0.5) / STEPS as f64;
        let power = (0..STEPS).map(|i| self.response(at(i)).norm_sqr()).sum::<f64>() / STEPS as f64;
        10.0 * power.log10()
    }

    /// Samples through the filters, as long as before and `ringing_s` longer.
    pub fn through(&self, samples: &[f64], rate_hz: f64, ringing_s: f64) -> Vec<f64> {
        through(samples, rate_hz, ringing_s, |hz| self.response(hz))
    }
}

/// Samples through whatever has this response; what rings longer than `ringing_s` is cut.
pub fn through(
    samples: &[f64],
    rate_hz: f64,
    ringing_s: f64,
    response: impl Fn(f64) -> Complex<f64>,
) -> Vec<f64> {
    let wanted = samples.len() + (ringing_s * rate_hz) as usize;
    // The rest of the circle takes what an ideal band limit puts before the first sample.
    let n = fast_length(wanted + wanted / 16 + 4096);
    let mut spectrum = spectrum_of(samples, n);
    let step_hz = rate_hz / n as f64;
    spectrum.iter_mut().enumerate().for_each(|(k, x)| *x *= response(k as f64 * step_hz));
    let mut out = samples_of(spectrum, n);
    out.truncate(wanted);
    out
}

/// Spectrum of samples filled up to `n`.
pub(super) fn spectrum_of(samples: &[f64], n: usize) -> Vec<Complex<f64>> {
    let plan = forward(n);
    let (mut padded, mut out) = (samples.to_vec(), plan.make_output_vec());
    padded.resize(n, 0.0);
    plan.process(&mut padded, &mut out).expect("lengths are those of the plan");
    out
}

/// The `n` samples of a spectrum.
pub(super) fn samples_of(mut spectrum: Vec<Complex<f64>>, n: usize) -> Vec<f64> {
    let plan = inverse(n);
    let last = spectrum.len() - 1;
    (spectrum[0].im, spectrum[last].im) = (0.0, 0.0);
    let mut out = plan.make_output_vec();
    plan.process(&mut spectrum, &mut out).expect("lengths are those of the plan");
    out.iter_mut().for_each(|x| *x /= n as f64);
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn filters_have_the_gain_that_their_names_say() {
        // Exact: gain q at the corner, 12 dB per octave far from it; db in the middle of a peak.
        let q = 0.8;
        let db = |filter: Filter, hz: f64| Chain(vec![filter]).db(hz);
        let at_corner = 20.0 * f64::log10(q);
        assert!((db(Filter::HighPass { hz: 80.0, q }, 80.0) - at_corner).abs() < 1e-9);
        assert!((db(Filter::LowPass { hz: 80.0, q }, 80.0) - at_corner).abs() < 1e-9);
        assert!((db(Filter::HighPass { hz: 8000.0, q }, 8.0) + 120.0).abs() < 1e-4);
        assert!((db(Filter::Peak { hz: 3000.0, q: 2.0, db: -4.0 }, 3000.0) + 4.0).abs() < 1e-9);
        assert!((db(Filter::Slope { hz: 500.0 }, 500.0) + 3.0103).abs() < 1e-4);
    }

    #[test]
    fn a_sine_comes_out_with_the_gain_and_delay_of_the_formula() {
        let chain = Chain(vec![Filter::Gain { db: 6.0 }, Filter::Delay { s: 0.01 + 0.3 / 48_000.0 }]);
        let sine = |t: f64| (TAU * 1000.0 * t).sin();
        let samples: Vec<f64> = (0..48_000).map(|i| sine(f64::from(i) / 48_000.0)).collect();
        let out = chain.through(&samples, 48_000.0, 0.02);
        let gain = 10f64.powf(6.0 / 20.0);
        for i in (20_000..20_100).map(|i| i as usize) {
            let expected = gain * sine(i as f64 / 48_000.0 - 0.01 - 0.3 / 48_000.0);
            // Ends of the sine ring as 1/t between samples: 1/(π·20 000).
            assert!((out[i] - expected).abs() < 1e-4, "{} {expected}", out[i]);
        }
    }
}
