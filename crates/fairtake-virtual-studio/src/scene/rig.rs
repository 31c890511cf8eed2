//! The way to the recording: placements and microphones, both invented.

use super::{RATE_HZ, frames};
use crate::field::{between, heavy_tail, normal};
use fairtake_signal::filters::Biquad;
use rand_chacha::ChaCha8Rng;

/// One setting-up of a microphone: nearness lifts the low end, angle and offset bend the high end smoothly, and one
/// surface throws an early echo. Sizes have tails heavier than normal.
#[derive(Debug, Clone)]
pub(crate) struct Placement {
    gain: f32,
    filters: Vec<Biquad>,
    echo_gain: f32,
    echo_frames: usize,
}

impl Placement {
    pub(crate) fn draw(rng: &mut ChaCha8Rng) -> Placement {
        let rate = f64::from(RATE_HZ);
        let tail = heavy_tail(rng);
        let near_db = 0.3 * tail * normal(rng);
        let mut filters = vec![Biquad::low_shelf(rate, 180.0, near_db)];
        for _ in 0..5 {
            let hz = 900.0 * between(rng, 0.0, 4.0).exp2();
            let q = between(rng, 0.6, 2.0);
            filters.push(Biquad::peak(rate, hz, 0.35 * tail * normal(rng), q));
        }
        Placement {
            gain: 10f64.powf(0.4 * near_db / 20.0) as f32,
            filters,
            echo_gain: between(rng, 0.0, 0.04) as f32,
            echo_frames: frames(between(rng, 0.0012, 0.004)),
        }
    }

    /// Power gain at a frequency in Hz.
    pub(crate) fn power(&self, frequency_hz: f64) -> f64 {
        let rate = f64::from(RATE_HZ);
        let filtered: f64 = self.filters.iter().map(|f| f.power(rate, frequency_hz)).product();
        let phase = std::f64::consts::TAU * frequency_hz * self.echo_frames as f64 / rate;
        let (g, gain) = (f64::from(self.echo_gain), f64::from(self.gain));
        filtered * (1.0 + 2.0 * g * phase.cos() + g * g) * gain * gain
    }

    pub(crate) fn apply(&self, samples: &mut [f32]) {
        self.filters.iter().cloned().for_each(|mut f| f.run(samples));
        // From the end, so that the echo is one of what was played and not of itself.
        for i in (0..samples.len()).rev() {
            let echo =
                if i >= self.echo_frames { samples[i - self.echo_frames] * self.echo_gain } else { 0.0 };
            samples[i] = self.gain * (samples[i] + echo);
        }
    }
}

/// A microphone with its preamp as set.
#[derive(Debug, Clone)]
pub(crate) struct Microphone {
    filters: Vec<Biquad>,
    /// From the clean source to full scale.
    gain: f32,
    /// Its own noise, standard deviation re full scale.
    noise: f64,
    /// Gain of the preamp in dB, for the log.
    pub gain_db: f64,
}

/// The room's noise, standard deviation re the clean source's scale, before its low end is lifted.
const ROOM: f64 = 6e-6;

impl Microphone {
    /// One of the scene's microphones; a name that the scene does not have is one without colour.
    pub(crate) fn named(key: &str) -> Microphone {
        let rate = f64::from(RATE_HZ);
        let made = |filters: Vec<Biquad>, gain: f32, noise: f64, gain_db: f64| Microphone {
            filters,
            gain,
            noise,
            gain_db,
        };
        match key {
            // Thin below 150 Hz, a presence peak, no air.
            "moorhen" => made(
                vec![
                    Biquad::low_shelf(rate, 140.0, -3.5),
                    Biquad::peak(rate, 4800.0, 4.0, 1.1),
                    Biquad::low_pass(rate, 15_000.0),
                ],
                0.8,
                2e-5,
                52.0,
            ),
            // Level in the middle, a gentle lift at the top.
            "heron" => made(
                vec![Biquad::high_pass(rate, 18.0), Biquad::high_shelf(rate, 9000.0, 2.5)],
                1.1,
                7e-6,
                38.0,
            ),
            _ => made(vec![Biquad::high_pass(rate, 12.0)], 0.6, 7e-6, 30.0),
        }
    }

    /// Power gain at a frequency in Hz.
    pub(crate) fn power(&self, frequency_hz: f64) -> f64 {
        let rate = f64::from(RATE_HZ);
        let gain = f64::from(self.gain);
        self.filters.iter().map(|f| f.power(rate, frequency_hz)).product::<f64>() * gain * gain
    }

    /// What the microphone alone makes of the samples.
    fn colour(&self, samples: &mut [f32]) {
        self.filters.iter().cloned().for_each(|mut f| f.run(samples));
        samples.iter_mut().for_each(|x| *x *= self.gain);
    }

    /// Records: the room's noise comes in with the source, the microphone's own is added.
    pub(crate) fn record(&self, samples: &mut [f32], rng: &mut ChaCha8Rng) {
        let mut room: Vec<f32> = samples.iter().map(|_| (ROOM * normal(rng)) as f32).collect();
        Biquad::low_shelf(f64::from(RATE_HZ), 120.0, 12.0).run(&mut room);
        samples.iter_mut().zip(&room).for_each(|(x, r)| *x += r);
        self.colour(samples);
        samples.iter_mut().for_each(|x| *x += (self.noise * normal(rng)) as f32);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand_chacha::rand_core::SeedableRng;

    #[test]
    fn a_placement_does_to_a_tone_what_its_power_gain_says() {
        let placement = Placement::draw(&mut ChaCha8Rng::seed_from_u64(5));
        for hz in [100.0, 1000.0, 4000.0] {
            // A tenth of a second of whole periods, after a second in which filters and echo have come to rest.
            let sine = |i: usize| (std::f64::consts::TAU * hz * i as f64 / f64::from(RATE_HZ)).sin();
            let mut tone: Vec<f32> = (0..frames(1.1)).map(|i| sine(i) as f32).collect();
            let energy = |x: &[f32]| x[frames(1.0)..].iter().map(|v| f64::from(*v).powi(2)).sum::<f64>();
            let before = energy(&tone);
            placement.apply(&mut tone);
            // Samples of single precision: 1e-7 each.
            assert!((energy(&tone) / before / placement.power(hz) - 1.0).abs() < 1e-4, "{hz} Hz");
        }
    }
}
