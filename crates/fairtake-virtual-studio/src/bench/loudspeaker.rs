//! A loudspeaker (or a microphone) with a known response and known distortion.

use super::linear::{Chain, samples_of, spectrum_of};
use fairtake_transform::fast_length;

/// How many times finer distortion is computed than the samples are: products up to the fifth order then fold nowhere into the
/// range of the samples.
const FINER: usize = 4;

/// What bends: z = before(x), and x + Σ c·zⁿ goes on.
#[derive(Debug, Clone, PartialEq)]
pub struct Distortion {
    /// What reaches the bend: distortion depends on frequency by it.
    pub before: Chain,
    /// Order n (2 to 5) and coefficient c.
    pub terms: Vec<(u32, f64)>,
}

/// Bends, then filters.
#[derive(Debug, Clone, PartialEq)]
pub struct Loudspeaker {
    /// What bends; `None`: nothing.
    pub distortion: Option<Distortion>,
    /// Linear response behind it.
    pub response: Chain,
}

impl Loudspeaker {
    /// One that only filters.
    pub fn linear(response: Chain) -> Loudspeaker {
        Loudspeaker { distortion: None, response }
    }

    /// What comes out when these samples are played, and so many seconds of ringing.
    pub fn play(&self, samples: &[f64], rate_hz: f64, ringing_s: f64) -> Vec<f64> {
        match &self.distortion {
            None => self.response.through(samples, rate_hz, ringing_s),
            Some(distortion) => self.response.through(&distortion.bend(samples, rate_hz), rate_hz, ringing_s),
        }
    }

    /// Amplitudes of the harmonics 1 to 5 in the output for a sine of amplitude `amplitude`, by the formula.
    pub fn harmonics(&self, hz: f64, amplitude: f64) -> [f64; 5] {
        let bent =
            self.distortion.as_ref().map_or([amplitude, 0.0, 0.0, 0.0, 0.0], |d| d.harmonics(hz, amplitude));
        std::array::from_fn(|i| bent[i] * self.response.response((i + 1) as f64 * hz).norm())
    }

    /// Total harmonic distortion of the orders 2 to 5 against the fundamental, in percent.
    pub fn thd_percent(&self, hz: f64, amplitude: f64) -> f64 {
        let h = self.harmonics(hz, amplitude);
        100.0 * h[1..].iter().map(|x| x * x).sum::<f64>().sqrt() / h[0]
    }
}

impl Distortion {
    /// One that does not depend on frequency.
    pub fn memoryless(terms: &[(u32, f64)]) -> Distortion {
        Distortion { before: Chain::default(), terms: terms.to_vec() }
    }

    fn bend(&self, samples: &[f64], rate_hz: f64) -> Vec<f64> {
        let n = fast_length(samples.len() + samples.len() / 16 + 4096);
        let step_hz = rate_hz / n as f64;
        let mut fine = spectrum_of(samples, n);
        fine.iter_mut()
            .enumerate()
            .for_each(|(k, x)| *x *= FINER as f64 * self.before.response(k as f64 * step_hz));
        fine.resize(FINER * n / 2 + 1, Default::default());
        let mut bent = samples_of(fine, FINER * n);
        bent.iter_mut().for_each(|z| {
            *z = self.terms.iter().map(|(order, c)| c * z.powi(*order as i32)).sum();
        });
        let mut coarse = spectrum_of(&bent, FINER * n);
        coarse.truncate(n / 2 + 1);
        coarse.iter_mut().for_each(|x| *x /= FINER as f64);
        let products = samples_of(coarse, n);
        samples.iter().zip(&products).map(|(x, d)| x + d).collect()
    }

    /// Amplitudes of harmonics 1 to 5 behind the bend: those of a sine of power n are its binomial coefficients.
    fn harmonics(&self, hz: f64, amplitude: f64) -> [f64; 5] {
        let before = self.before.response(hz);
        let mut out = [fairtake_transform::Complex::new(0.0, 0.0); 5];
        out[0].re = amplitude;
        for (order, c) in &self.terms {
            let n = *order as usize;
            let z = before.norm() * amplitude;
            for k in (1..=n.min(5)).filter(|k| (n - k).is_multiple_of(2)) {
                // cosⁿ: 2^(1−n)·C(n, (n−k)/2) at k; the phase of the fundamental turns k times.
                let amplitude = c * z.powi(n as i32) * 2f64.powi(1 - n as i32) * choose(n, (n - k) / 2);
                out[k - 1] += fairtake_transform::Complex::from_polar(amplitude, k as f64 * before.arg());
            }
        }
        out.map(|x| x.norm())
    }
}

fn choose(n: usize, k: usize) -> f64 {
    (0..k).map(|i| (n - i) as f64 / (i + 1) as f64).product()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::linear::Filter;
    use std::f64::consts::TAU;

    const TABLE: &str = include_str!("../../../../reference/09_distortion.csv");

    #[test]
    fn harmonics_of_known_bends_are_those_of_the_table() {
        // Reference: expansions of static nonlinearities, eight decimals. Its polynomials, as powers.
        let bends: [(&str, &[(u32, f64)]); 3] = [
            ("square_law", &[(2, 0.02)]),
            ("cube_law", &[(3, -0.04)]),
            ("quintic", &[(2, 0.02), (3, -0.04), (5, 0.016)]),
        ];
        for (name, terms) in bends {
            let line = TABLE.lines().find(|l| l.starts_with(name)).expect("in the table");
            let numbers: Vec<f64> = line.rsplit(',').take(8).map(|c| c.parse().expect("a number")).collect();
            let speaker =
                Loudspeaker { distortion: Some(Distortion::memoryless(terms)), response: Chain::default() };
            let found = speaker.harmonics(1000.0, 1.0);
            for (i, h) in found.iter().enumerate() {
                assert!((h - numbers[7 - i].abs()).abs() < 1e-8, "{name} {}: {h}", i + 1);
            }
            assert!((speaker.thd_percent(1000.0, 1.0) - numbers[2]).abs() < 1e-6, "{name}");
        }
    }

    #[test]
    fn a_bent_sine_has_the_harmonics_of_the_formula() {
        let speaker = Loudspeaker {
            distortion: Some(Distortion {
                before: Chain(vec![Filter::Slope { hz: 500.0 }]),
                terms: vec![(2, 0.05), (3, 0.1), (5, 0.02)],
            }),
            response: Chain(vec![Filter::Gain { db: -6.0 }, Filter::Peak { hz: 2000.0, q: 1.0, db: 6.0 }]),
        };
        let (hz, amplitude) = (500.0, 0.5);
        let samples: Vec<f64> =
            (0..96_000).map(|i| amplitude * (TAU * hz * f64::from(i) / 48_000.0).sin()).collect();
        let out = speaker.play(&samples, 48_000.0, 0.0);
        // A second in the middle holds whole periods.
        let spectrum = spectrum_of(&out[24_000..72_000], 48_000);
        for (i, expected) in speaker.harmonics(hz, amplitude).iter().enumerate() {
            let found = 2.0 * spectrum[(i + 1) * 500].norm() / 48_000.0;
            assert!((found - expected).abs() < 1e-5, "{}: {found} {expected}", i + 1);
        }
    }
}
