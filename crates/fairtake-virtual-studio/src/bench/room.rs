//! What a room adds to the direct sound: single reflections, each later, weaker and duller.

use super::linear::{Chain, Filter, through};
use fairtake_transform::Complex;

/// One reflection.
#[derive(Debug, Clone, PartialEq)]
pub struct Reflection {
    /// Later than the direct sound by so many seconds.
    pub later_s: f64,
    /// Its strength against the direct sound, with sign: −1 is a soft wall.
    pub gain: f64,
    /// What the way and the wall, or the pattern of a microphone, take from it.
    pub filters: Chain,
}

/// Direct sound, and reflections.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Room {
    /// In any order.
    pub reflections: Vec<Reflection>,
}

impl Room {
    /// One without reflections.
    pub fn anechoic() -> Room {
        Room::default()
    }

    /// A floor, two walls and a ceiling, the first reflection `first_s` after the direct sound, and a tail of decaying
    /// echoes that has fallen by 60 dB after `decay_s`.
    pub fn with_walls(first_s: f64, decay_s: f64) -> Room {
        // Times without common measure, so that echoes make no rhythm: the fractional parts of multiples of the golden ratio.
        let golden = 0.5 * (1.0 + 5f64.sqrt());
        let echo = |i: usize| {
            let later_s = first_s * (1.0 + 0.8 * i as f64 + 0.7 * (golden * i as f64).fract());
            Reflection {
                later_s,
                gain: if i.is_multiple_of(2) { 0.5 } else { -0.4 }
                    * 10f64.powf(-3.0 * (later_s - first_s) / decay_s),
                filters: Chain(vec![Filter::Slope { hz: 12_000.0 / (1.0 + 0.2 * i as f64) }]),
            }
        };
        let n = (decay_s / (0.8 * first_s)) as usize;
        Room { reflections: (0..n).map(echo).collect() }
    }

    /// Response against the direct sound.
    pub fn response(&self, hz: f64) -> Complex<f64> {
        let echo =
            |r: &Reflection| r.gain * r.filters.response(hz) * Filter::Delay { s: r.later_s }.response(hz);
        Complex::new(1.0, 0.0) + self.reflections.iter().map(echo).sum::<Complex<f64>>()
    }

    /// What is heard of these samples in it.
    pub fn heard(&self, samples: &[f64], rate_hz: f64) -> Vec<f64> {
        let longest_s = self.reflections.iter().map(|r| r.later_s).fold(0.0, f64::max);
        through(samples, rate_hz, longest_s + 0.01, |hz| self.response(hz))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_impulse_comes_back_from_every_wall() {
        let room =
            Room { reflections: vec![Reflection { later_s: 0.01, gain: -0.5, filters: Chain::default() }] };
        let mut impulse = vec![0.0; 4000];
        impulse[100] = 1.0;
        let heard = room.heard(&impulse, 48_000.0);
        // 0.01 s are 480 whole samples.
        assert!((heard[100] - 1.0).abs() < 1e-9 && (heard[580] + 0.5).abs() < 1e-9);
        assert!(heard.iter().enumerate().all(|(i, x)| i == 100 || i == 580 || x.abs() < 1e-9));
    }

    #[test]
    fn walls_decay_as_asked() {
        let room = Room::with_walls(0.005, 0.3);
        let late = room.reflections.last().expect("some");
        assert!(late.later_s > 0.28 && late.gain.abs() < 2e-3, "{late:?}");
        assert!((room.reflections[0].later_s - 0.005).abs() < 1e-12);
    }
}
