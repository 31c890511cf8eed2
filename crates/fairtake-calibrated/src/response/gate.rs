//! Gates: what of an impulse response is taken, and what that does to low frequencies.

use super::error::ResponseError;
use super::impulse::{Harmonic, ImpulseResponse};
use serde::{Deserialize, Serialize};
use std::f64::consts::PI;

/// What is taken behind the direct sound.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Gate {
    /// So many seconds: up to the first reflection. Nothing is known below two periods in it.
    Seconds(f64),
    /// All that was kept, with reflections if there are any.
    Whole,
}

/// Shortest gate in seconds.
const LEAST_S: f64 = 0.0005;
/// The last part of a gate that is faded, as a share of it.
const FADED_SHARE: f64 = 0.5;
/// Without a gate only the very end is faded.
const WHOLE_FADED_SHARE: f64 = 0.1;
/// Frequencies are known from this many periods in the gate on.
const PERIODS: f64 = 2.0;

/// What a gate leaves unsure at the lowest frequency, in dB either way: what rings longer than it is cut. It falls with the third power
/// of frequency. From 150 drawn chains, docs/methods/response.md.
pub(crate) const GATE_DB: f64 = 0.45;

/// That so many bands per octave are offered.
///
/// # Errors
/// Where they are not.
pub(crate) fn checked_bands(per_octave: u32) -> Result<(), ResponseError> {
    if [3, 6, 12, 24].contains(&per_octave) {
        Ok(())
    } else {
        Err(ResponseError::PerOctave { asked: per_octave })
    }
}

impl Gate {
    /// That it can be applied to a response.
    ///
    /// # Errors
    /// Where it is too short, or longer than what was kept.
    pub(crate) fn check(self, response: &ImpulseResponse) -> Result<(), ResponseError> {
        match self {
            Gate::Seconds(gate_s) if !(gate_s >= LEAST_S && gate_s <= response.kept_s()) => {
                Err(ResponseError::Gate { gate_s, least_s: LEAST_S, most_s: response.kept_s() })
            }
            _ => Ok(()),
        }
    }
}

/// A gate as weights of samples.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Window {
    weights: Vec<f64>,
    /// The direct sound lies on this weight.
    before: usize,
    rate_hz: f64,
    gate_s: f64,
}

impl Window {
    /// Of a gate on a response.
    pub fn of(response: &ImpulseResponse, gate: Gate) -> Window {
        let rate_hz = f64::from(response.rate_hz);
        let (gate_s, faded) = match gate {
            Gate::Seconds(s) => (s, FADED_SHARE),
            Gate::Whole => (response.kept_s(), WHOLE_FADED_SHARE),
        };
        // What an ideal band limit rings before its peak; as long as behind, where there is room.
        let before_s = gate_s.min(response.arrival() / rate_hz);
        Window::new(rate_hz, before_s, gate_s, faded)
    }

    /// Of a gate on one of its harmonics, which goes on for less long.
    pub fn of_harmonic(response: &ImpulseResponse, harmonic: &Harmonic, gate: Gate) -> Window {
        let rate_hz = f64::from(response.rate_hz);
        let arrival = harmonic.zero + response.arrival_s * rate_hz;
        let room_s = (harmonic.samples.len() as f64 - arrival) / rate_hz;
        let (gate_s, faded) = match gate {
            Gate::Seconds(s) => (s.min(room_s), FADED_SHARE),
            Gate::Whole => (room_s, WHOLE_FADED_SHARE),
        };
        Window::new(rate_hz, gate_s.min(arrival / rate_hz), gate_s, faded)
    }

    /// From `before_s` before the direct sound, half of that faded in, to `gate_s` behind it, the share `faded` of that faded out.
    pub fn new(rate_hz: f64, before_s: f64, gate_s: f64, faded: f64) -> Window {
        let (before, behind) = ((before_s * rate_hz).floor() as usize, (gate_s * rate_hz).floor() as usize);
        let fade = |share: f64| 0.5 - 0.5 * (PI * share.clamp(0.0, 1.0)).cos();
        let weights = (0..before + behind)
            .map(|i| {
                if i < before {
                    fade(2.0 * (i as f64 + 0.5) / before as f64)
                } else {
                    fade((before + behind - i) as f64 / (faded * behind as f64))
                }
            })
            .collect();
        Window { weights, before, rate_hz, gate_s }
    }

    /// Length in frames.
    pub fn frames(&self) -> usize {
        self.weights.len()
    }

    /// Length of a transform that resolves the narrowest bands.
    pub fn transform_frames(&self) -> usize {
        let fine = (self.rate_hz / 0.75) as usize;
        self.weights.len().max(fine).next_power_of_two()
    }

    /// First sample that is taken, where the direct sound lies at `arrival`.
    pub fn first(&self, arrival: f64) -> usize {
        (arrival.round() as usize).saturating_sub(self.before)
    }

    /// What it takes of samples in which the direct sound lies at `arrival`.
    pub fn cut<'a>(&'a self, samples: &'a [f64], arrival: f64) -> impl Iterator<Item = f64> + 'a {
        let first = self.first(arrival);
        samples.iter().skip(first).zip(&self.weights).map(|(x, w)| x * w)
    }

    /// How many stretches of this length, half over each other, a quiet stretch holds.
    pub fn stretches<'a>(&'a self, quiet: &'a [f64], most: usize) -> impl Iterator<Item = &'a [f64]> + 'a {
        let hop = (self.weights.len() / 2).max(1);
        let n = quiet.len().saturating_sub(self.weights.len()) / hop + 1;
        let skip = n.div_ceil(most).max(1);
        quiet.windows(self.weights.len()).step_by(hop * skip)
    }

    /// What it takes of a stretch as long as itself.
    pub fn weighted<'a>(&'a self, stretch: &'a [f64]) -> impl Iterator<Item = f64> + 'a {
        stretch.iter().zip(&self.weights).map(|(x, w)| x * w)
    }

    /// Lowest frequency in Hz about which it says something.
    pub fn lowest_hz(&self) -> f64 {
        PERIODS / self.gate_s
    }

    /// Length behind the direct sound in seconds.
    pub fn gate_s(&self) -> f64 {
        self.gate_s
    }

    /// How many independent values a band of this width in Hz holds.
    pub fn independent(&self, width_hz: f64) -> Independent {
        let squares: f64 = self.weights.iter().map(|w| w * w).sum();
        let fourths: f64 = self.weights.iter().map(|w| w.powi(4)).sum();
        let at_least_one = |s: f64| (width_hz * s).max(1.0);
        Independent {
            // What the noise does to a sound is decided where the sound is: by its density there, the direct sound having weight 1.
            beside_sound: at_least_one(squares / self.rate_hz),
            alone: at_least_one(squares * squares / fourths / self.rate_hz),
        }
    }
}

/// How many independent values are averaged in a band.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Independent {
    /// Of noise times sound.
    pub beside_sound: f64,
    /// Of noise alone.
    pub alone: f64,
}

impl Independent {
    /// Variance of a power `signal` that was measured with noise of mean power `noise`: |s + n|² has 2·|s|²·N + N² where n is complex
    /// normal of mean power N.
    pub fn variance(self, signal: f64, noise: f64) -> f64 {
        2.0 * signal.max(0.0) * noise / self.beside_sound + noise * noise / self.alone
    }
}
