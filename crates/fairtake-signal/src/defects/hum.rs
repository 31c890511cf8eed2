//! Hum of the mains, 50 or 60 Hz and harmonics, in noise between events.
//!
//! Levels of segments are averaged in dB and not as power: hum is there all the time, and the last of a hit that dies away
//! at the frequency of a harmonic is not. The mean in dB of noise lies below its power by a known amount, which is put back.

use crate::powers::Powers;

/// Shortest segment that tells a line from its neighbourhood, in seconds: 6 bins to each side of a line stay within the
/// 50 Hz to the next.
const SHORTEST_S: f64 = 0.16;
/// Harmonics looked at, the first included.
const N_HARMONICS: usize = 10;
/// Either mains, in Hz.
const MAINS_HZ: [f64; 2] = [50.0, 60.0];
/// The line is the greatest bin within this distance: the mains keeps its frequency to about half a percent (common
/// practice, no source), a bin at the tenth harmonic.
const OWN_BINS: usize = 1;
/// The neighbourhood lies from here …
const NEAR_BINS: usize = 4;
/// … to here, on both sides: beyond the window's main lobe.
const FAR_BINS: usize = 6;
/// Fewer segments tell too little of the noise beside a line.
const FEWEST_SEGMENTS: usize = 4;
/// The mean logarithm of the power of a bin of noise, which is distributed exponentially, lies below the logarithm of its mean
/// by Euler's constant.
const NOISE_BELOW: f64 = 0.577_215_664_901_532_9;
/// Smallest power of a bin: digital silence has no logarithm.
const LEAST_POWER: f32 = 1e-30;
/// One line alone may be something else; it must stand this much higher than two.
const LONE_LINE_DB: f64 = 6.0;

/// Hum, as far as it stands out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hum {
    /// 50 or 60 Hz, whichever stands out more.
    pub mains_hz: f64,
    /// What two harmonics reach above the noise beside them, or one less 6 dB, in dB.
    pub excess_db: f64,
    /// The harmonic that stands out most, in Hz.
    pub strongest_hz: f64,
    /// How far it stands above the noise beside it, in dB.
    pub strongest_db: f64,
}

/// Takes stretches of noise and tells of hum in them.
pub struct HumFinder {
    rate_hz: f64,
    powers: Powers,
    window: Vec<f32>,
    windowed: Vec<f32>,
    /// Sum over segments of the logarithm of the power, per bin as far as the highest harmonic's neighbourhood.
    logs: Vec<f64>,
    n_segments: usize,
}

impl HumFinder {
    /// For a sampling rate.
    pub fn new(rate_hz: u32) -> HumFinder {
        let n = ((f64::from(rate_hz) * SHORTEST_S).ceil() as usize).next_power_of_two();
        let window = (0..n)
            .map(|i| (0.5 - 0.5 * (std::f64::consts::TAU * i as f64 / n as f64).cos()) as f32)
            .collect();
        let highest_hz = MAINS_HZ[1] * N_HARMONICS as f64;
        let highest_bin = (highest_hz * n as f64 / f64::from(rate_hz)).round() as usize;
        HumFinder {
            rate_hz: f64::from(rate_hz),
            powers: Powers::default(),
            window,
            windowed: Vec::new(),
            logs: vec![0.0; (highest_bin + FAR_BINS + 1).min(n / 2 + 1)],
            n_segments: 0,
        }
    }

    /// One unbroken stretch of noise; half-overlapping segments of it are averaged.
    pub fn push(&mut self, samples: &[f32]) {
        let n = self.window.len();
        for start in (0..(samples.len() + 1).saturating_sub(n)).step_by(n / 2) {
            self.windowed.clear();
            self.windowed.extend(samples[start..start + n].iter().zip(&self.window).map(|(s, w)| s * w));
            let powers = self.powers.of(&self.windowed);
            self.logs.iter_mut().zip(powers).for_each(|(l, p)| *l += f64::from(p.max(LEAST_POWER)).ln());
            self.n_segments += 1;
        }
    }

    /// How far hum stands out; `None` where there was too little noise to tell, or none at all.
    pub fn finish(&self) -> Option<Hum> {
        if self.n_segments < FEWEST_SEGMENTS {
            return None;
        }
        MAINS_HZ
            .into_iter()
            .filter_map(|mains_hz| {
                let mut lines: Vec<(f64, f64)> = (1..=N_HARMONICS)
                    .map(|k| mains_hz * k as f64)
                    .filter_map(|hz| Some((hz, self.line_db(hz)?)))
                    .collect();
                lines.sort_by(|a, b| b.1.total_cmp(&a.1));
                let (strongest_hz, strongest_db) = *lines.first()?;
                let excess_db = (strongest_db - LONE_LINE_DB).max(lines.get(1)?.1);
                Some(Hum { mains_hz, excess_db, strongest_hz, strongest_db })
            })
            .max_by(|a, b| a.excess_db.total_cmp(&b.excess_db))
    }

    /// How far a line stands above what is beside it, in dB.
    fn line_db(&self, hz: f64) -> Option<f64> {
        let bin = (hz * self.window.len() as f64 / self.rate_hz).round() as usize;
        if bin < FAR_BINS || bin + FAR_BINS >= self.logs.len() {
            return None;
        }
        let own = &self.logs[bin - OWN_BINS..=bin + OWN_BINS];
        let line = own.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        // Noise that falls with frequency falls by the same factor on both sides.
        let (below, above) = (bin - FAR_BINS..=bin - NEAR_BINS, bin + NEAR_BINS..=bin + FAR_BINS);
        let beside: Vec<f64> = self.logs[below].iter().chain(&self.logs[above]).copied().collect();
        let n = self.n_segments as f64;
        let noise = beside.iter().sum::<f64>() / beside.len() as f64 / n + NOISE_BELOW;
        Some((line / n - noise) * 10.0 / std::f64::consts::LN_10)
    }
}

#[cfg(test)]
mod tests {
    use super::super::tests::noise;
    use super::*;
    use crate::units::power_db;

    fn excess(rate: u32, mains_hz: f64, gain: f32) -> Option<Hum> {
        let mut finder = HumFinder::new(rate);
        let mut x = noise(11, 3 * rate as usize, 1e-3);
        for (i, v) in x.iter_mut().enumerate() {
            let t = std::f64::consts::TAU * mains_hz * i as f64 / f64::from(rate);
            *v += gain * (t.sin() + 0.5 * (3.0 * t).sin()) as f32;
        }
        x.chunks(rate as usize).for_each(|c| finder.push(c));
        finder.finish()
    }

    #[test]
    fn hum_stands_out_at_either_mains_even_where_it_runs_slow() {
        for rate in [16_000, 44_100, 48_000, 96_000, 192_000] {
            for mains in [50.0, 60.0, 49.8, 60.2] {
                let found = excess(rate, mains, 1e-3).expect("enough noise");
                assert!(
                    (found.mains_hz - mains).abs() < 1.0 && found.excess_db > 9.5,
                    "{rate} {mains} {found:?}"
                );
                assert_eq!(found.strongest_hz, found.mains_hz, "the first harmonic was made twice the third");
            }
        }
    }

    #[test]
    fn a_line_stands_above_noise_by_what_it_was_made() {
        // A tone of amplitude a in the middle of a bin, in white noise of variance v: its bin holds a²/4 · (Σw)², the noise beside
        // it v · Σw² (Hann: (Σw)²/Σw² = n/1.5). Bin 8 of 8192 is 46.9 Hz, within reach of the first harmonic.
        let (rate, gain, n) = (48_000, 1e-3f64, 8192.0);
        let variance = 1e-6 / 3.0;
        let made_db = power_db(gain * gain / 4.0 * n / 1.5 / variance).expect("positive");
        let found = excess(rate, 8.0 * 48_000.0 / n, gain as f32).expect("enough noise");
        // Six bins of some thirty half-overlapping segments: standard deviation of the mean 5.6 dB/√(6 · 20), three of these.
        assert!((found.strongest_db - made_db).abs() < 1.5, "{} {made_db}", found.strongest_db);
    }

    #[test]
    fn noise_alone_stays_below_and_too_little_of_it_tells_nothing() {
        for rate in [16_000, 44_100, 48_000, 96_000] {
            let found = excess(rate, 50.0, 0.0).expect("enough noise");
            assert!(found.excess_db < 5.5, "{rate} {found:?}");
        }
        let mut short = HumFinder::new(48_000);
        short.push(&noise(1, 9_000, 0.1));
        assert_eq!(short.finish(), None);
    }
}
