//! Recordings of silence: noise whose spectrum is a formula, with what should not be in it on request.

use crate::field::normal;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;
use std::f64::consts::TAU;

/// Noise of a microphone: white, and more towards low frequencies.
#[derive(Debug, Clone, PartialEq)]
pub struct SelfNoise {
    /// Sampling rate in Hz.
    pub rate_hz: u32,
    /// RMS of the white part, full scale 1.
    pub white_rms: f64,
    /// RMS, before its filter, of the part that a one-pole low-pass keeps.
    pub low_rms: f64,
    /// Its pole, between 0 and 1: nearer to 1 is lower.
    pub pole: f64,
    /// Hum: frequency of the mains in Hz, amplitude of its first and third harmonic.
    pub hum: Option<(f64, f64)>,
    /// Bursts of 50 ms of louder noise: how many, how many times as loud.
    pub events: (usize, f64),
    /// Steps from one sample to the next: how many, how high in multiples of the noise's RMS.
    pub clicks: (usize, f64),
}

impl SelfNoise {
    /// Noise of about −100 dBFS with nothing in it.
    pub fn clean(rate_hz: u32) -> SelfNoise {
        SelfNoise {
            rate_hz,
            white_rms: 1e-5,
            low_rms: 2e-6,
            pole: 0.99,
            hum: None,
            events: (0, 0.0),
            clicks: (0, 0.0),
        }
    }

    /// Power per Hz at a frequency, one-sided, full-scale² / Hz; hum, events and clicks are not in it.
    pub fn power_per_hz(&self, frequency_hz: f64) -> f64 {
        let rate = f64::from(self.rate_hz);
        let cos = (TAU * frequency_hz / rate).cos();
        let low = 1.0 / (1.0 + self.pole * self.pole - 2.0 * self.pole * cos);
        2.0 / rate * (self.white_rms.powi(2) + self.low_rms.powi(2) * low)
    }

    /// Power between two frequencies weighted by a function, by sums of thin slices of a logarithmic scale.
    pub fn power(&self, from_hz: f64, to_hz: f64, weight: impl Fn(f64) -> f64) -> f64 {
        let n = 20_000;
        let ratio = (to_hz / from_hz).ln() / f64::from(n);
        (0..n)
            .map(|i| {
                let hz = from_hz * ((f64::from(i) + 0.5) * ratio).exp();
                self.power_per_hz(hz) * weight(hz) * hz * ratio
            })
            .sum()
    }

    /// A recording.
    pub fn samples(&self, seconds: f64, seed: u64) -> Vec<f32> {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let rate = f64::from(self.rate_hz);
        let n = (seconds * rate) as usize;
        // Starts in the state that it will have.
        let mut low = self.low_rms / (1.0 - self.pole * self.pole).sqrt() * normal(&mut rng);
        let mut x: Vec<f64> = (0..n)
            .map(|_| {
                low = self.pole * low + self.low_rms * normal(&mut rng);
                low + self.white_rms * normal(&mut rng)
            })
            .collect();
        if let Some((mains_hz, amplitude)) = self.hum {
            for (i, x) in x.iter_mut().enumerate() {
                let w = TAU * mains_hz * i as f64 / rate;
                *x += amplitude * (w.sin() + (3.0 * w).sin());
            }
        }
        let length = (0.05 * rate) as usize;
        for k in 0..self.events.0 {
            let start = (k + 1) * n / (self.events.0 + 1);
            x[start..(start + length).min(n)].iter_mut().for_each(|x| *x *= self.events.1);
        }
        for k in 0..self.clicks.0 {
            let start = (2 * k + 1) * n / (2 * self.clicks.0 + 1);
            let height = self.clicks.1 * self.white_rms;
            // A step that the chain's high-pass lets fade over some milliseconds.
            x[start..]
                .iter_mut()
                .take(2000)
                .enumerate()
                .for_each(|(i, x)| *x += height * (-(i as f64) / 300.0).exp());
        }
        x.into_iter().map(|x| x as f32).collect()
    }
}

/// Adds sound of the room to two microphones that stand together: the same to both, by their sensitivities.
pub fn with_room(own: &mut [f32], beside: &mut [f32], room: &[f32], gains: [f64; 2]) {
    for ((a, b), r) in own.iter_mut().zip(beside).zip(room) {
        *a += (gains[0] * f64::from(*r)) as f32;
        *b += (gains[1] * f64::from(*r)) as f32;
    }
}
