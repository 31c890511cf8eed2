//! The synchronised exponential sine sweep.

use super::form::{Form, MOST_EQUALISED_DB};
use fairtake_signal::units::db_to_power;
use std::f64::consts::{PI, TAU};

/// Rising from silence takes so many octaves at the low end: a sweep that begins at once clicks.
const FADE_IN_OCTAVES: f64 = 0.5;
/// And falling at the high end.
const FADE_OUT_OCTAVES: f64 = 1.0 / 24.0;
/// Steps of the table of an equalised sweep per octave.
const TABLE_PER_OCTAVE: f64 = 24.0;

/// A sweep of peak amplitude 1: sin(2π·f1·L·exp(t/L)), faded at both ends.
///
/// # Source
/// A. Novak, P. Lotton and L. Simon (2015), "Synchronized Swept-Sine: Theory, Application, and Implementation", J. Audio Eng. Soc.
/// 63(10), equations 32 and 33 (L a whole number of periods of the lowest frequency, so that every harmonic is the sweep itself,
/// earlier by L·ln n); A. Farina (2000), "Simultaneous measurement of impulse response and distortion with a swept-sine
/// technique", AES 108. Checked against `reference/09_sweeps.csv`.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Sweep {
    /// Lowest frequency in Hz.
    pub from_hz: f64,
    /// Highest frequency in Hz.
    pub to_hz: f64,
    /// Seconds in which the frequency rises by a factor of e.
    pub rise_s: f64,
    /// Amplitude of an equalised sweep from the lowest frequency on, so many per octave; empty: 1.
    amplitudes: Vec<f64>,
}

impl Sweep {
    /// The sweep of a description.
    pub fn new(form: &Form) -> Sweep {
        let mut sweep = Sweep::plain(form.from_hz, form.to_hz, form.seconds);
        if let Some(curve) = &form.loudspeaker {
            let (low_hz, high_hz) = curve.range_hz();
            let n = (TABLE_PER_OCTAVE * (form.to_hz / form.from_hz).log2()).ceil() as usize + 2;
            let gains_db: Vec<f64> = (0..n)
                .map(|i| form.from_hz * (i as f64 / TABLE_PER_OCTAVE).exp2())
                // Beyond its ends the loudspeaker is taken as it is there.
                .map(|hz| -curve.db(hz.clamp(low_hz, high_hz)).unwrap_or(0.0))
                .collect();
            let most = gains_db.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            sweep.amplitudes =
                gains_db.iter().map(|db| db_to_power((db - most).max(-MOST_EQUALISED_DB)).sqrt()).collect();
        }
        sweep
    }

    /// A sweep that is not equalised, of about so many seconds.
    pub fn plain(from_hz: f64, to_hz: f64, seconds: f64) -> Sweep {
        // Equation 33: so many whole periods of the lowest frequency.
        let periods = (from_hz * seconds / (to_hz / from_hz).ln()).round().max(1.0);
        Sweep { from_hz, to_hz, rise_s: periods / from_hz, amplitudes: Vec::new() }
    }

    /// The shortest sweep over a range, in seconds: L is half a period of the lowest frequency or more before it is rounded.
    pub fn least_s(from_hz: f64, to_hz: f64) -> f64 {
        0.5 * (to_hz / from_hz).ln() / from_hz
    }

    /// True length in seconds.
    pub fn seconds(&self) -> f64 {
        self.rise_s * (self.to_hz / self.from_hz).ln()
    }

    /// When it passes a frequency in Hz, in seconds from its beginning.
    pub fn time_s(&self, hz: f64) -> f64 {
        self.rise_s * (hz / self.from_hz).ln()
    }

    /// By how much earlier its harmonic of this order is found than the response, in seconds.
    pub fn lead_s(&self, order: u32) -> f64 {
        self.rise_s * f64::from(order).ln()
    }

    /// Its samples where one frame lasts `frame_s` and the first lies `first_s` after the beginning of the sweep: 0 outside.
    pub fn samples(&self, frame_s: f64, first_s: f64, n: usize) -> Vec<f64> {
        let seconds = self.seconds();
        let turns = TAU * self.from_hz * self.rise_s;
        // exp(t/L) goes on by a constant factor; taken anew every so often, rounding does not add up.
        const ANEW: usize = 64;
        let step = (frame_s / self.rise_s).exp();
        let mut rise = 1.0;
        (0..n)
            .map(|i| {
                let t = first_s + i as f64 * frame_s;
                rise = if i.is_multiple_of(ANEW) { (t / self.rise_s).exp() } else { rise * step };
                if t < 0.0 || t > seconds {
                    return 0.0;
                }
                self.amplitude(t, seconds) * (turns * rise).sin()
            })
            .collect()
    }

    /// Its envelope at a time within its length.
    fn amplitude(&self, t: f64, seconds: f64) -> f64 {
        let octave_s = self.rise_s * std::f64::consts::LN_2;
        let (rising_s, falling_s) = (FADE_IN_OCTAVES * octave_s, FADE_OUT_OCTAVES * octave_s);
        let left_s = seconds - t;
        let mut amplitude = if t < rising_s {
            0.5 - 0.5 * (PI * t / rising_s).cos()
        } else if left_s < falling_s {
            0.5 - 0.5 * (PI * left_s / falling_s).cos()
        } else {
            1.0
        };
        if !self.amplitudes.is_empty() {
            let at = TABLE_PER_OCTAVE * t / octave_s;
            let i = (at as usize).min(self.amplitudes.len() - 2);
            let (below, above) = (self.amplitudes[i], self.amplitudes[i + 1]);
            amplitude *= below + (above - below) * (at - i as f64);
        }
        amplitude
    }
}
