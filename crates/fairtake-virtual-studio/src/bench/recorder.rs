//! A recorder with a clock, a noise, a ceiling and faults of its own.

use crate::field::normal;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;
use std::f64::consts::PI;

/// What happens to a signal when it is recorded. Times are those of the recording.
#[derive(Debug, Clone, PartialEq)]
pub struct Recorder {
    /// By how much its clock is faster than the player's, in parts per million: the recording grows longer.
    pub drift_ppm: f64,
    /// It starts so many seconds before the signal.
    pub early_s: f64,
    /// And goes on so many seconds behind it.
    pub late_s: f64,
    /// Gain in dB.
    pub gain_db: f64,
    /// Effective value of its white noise in dBFS; `None`: none.
    pub noise_dbfs: Option<f64>,
    /// Nothing is above this, in dBFS.
    pub ceiling_dbfs: f64,
    /// From when on, and how long, it writes zeros, in seconds.
    pub dropouts_s: Vec<(f64, f64)>,
    /// From when on, and how long, it loses what comes, without a trace, in seconds.
    pub losses_s: Vec<(f64, f64)>,
    /// Seed of its noise.
    pub seed: u64,
}

impl Recorder {
    /// One without faults, that starts half a second early and ends half a second late.
    pub fn faultless() -> Recorder {
        Recorder {
            drift_ppm: 0.0,
            early_s: 0.5,
            late_s: 0.5,
            gain_db: 0.0,
            noise_dbfs: None,
            ceiling_dbfs: 0.0,
            dropouts_s: Vec::new(),
            losses_s: Vec::new(),
            seed: 1,
        }
    }

    /// The recording of a signal.
    pub fn record(&self, signal: &[f64], rate_hz: f64) -> Vec<f32> {
        let faster = 1.0 + 1e-6 * self.drift_ppm;
        let length_s = self.early_s + signal.len() as f64 / rate_hz + self.late_s;
        let n = (length_s * rate_hz * faster) as usize;
        let kernel = Kernel::new();
        let mut rng = ChaCha8Rng::seed_from_u64(self.seed);
        let noise = self.noise_dbfs.map_or(0.0, |dbfs| 10f64.powf(dbfs / 20.0));
        let gain = 10f64.powf(self.gain_db / 20.0);
        let ceiling = 10f64.powf(self.ceiling_dbfs / 20.0);
        let mut out: Vec<f32> = (0..n)
            .map(|i| {
                let x = gain * kernel.at(signal, i as f64 / faster - self.early_s * rate_hz);
                (x + noise * normal(&mut rng)).clamp(-ceiling, ceiling) as f32
            })
            .collect();
        let frame = |s: f64| ((s * rate_hz) as usize).min(n);
        for (at_s, length_s) in &self.dropouts_s {
            out[frame(*at_s)..frame(at_s + length_s)].fill(0.0);
        }
        for (at_s, length_s) in self.losses_s.iter().rev() {
            let (from, to) = (frame(*at_s), frame(at_s + length_s).min(out.len()));
            out.drain(from..to);
        }
        out
    }
}

/// Taps of the interpolating kernel. Up to 0.45 of the sampling rate it is exact to −120 dB.
const TAPS: usize = 160;
/// Places between two samples for which the kernel is tabled.
const PLACES: usize = 1024;

/// Between samples: a sine cardinal under a window of four cosines (Nuttall 1981; coefficients from memory).
struct Kernel(Vec<[f64; TAPS]>);

impl Kernel {
    fn new() -> Kernel {
        let row = |place: usize| {
            let fraction = place as f64 / PLACES as f64;
            std::array::from_fn(|tap| {
                let x = tap as f64 - (TAPS / 2 - 1) as f64 - fraction;
                let angle = 2.0 * PI * x / TAPS as f64;
                let window = 0.363_581_9
                    + 0.489_177_5 * angle.cos()
                    + 0.136_599_5 * (2.0 * angle).cos()
                    + 0.010_641_1 * (3.0 * angle).cos();
                let sinc = if x == 0.0 { 1.0 } else { (PI * x).sin() / (PI * x) };
                window * sinc
            })
        };
        Kernel((0..=PLACES).map(row).collect())
    }

    /// The signal at a place in samples; zero beyond its ends.
    fn at(&self, signal: &[f64], place: f64) -> f64 {
        let whole = place.floor();
        let fine = (place - whole) * PLACES as f64;
        let (row, between) = (fine as usize, fine.fract());
        let first = whole as i64 - (TAPS / 2 - 1) as i64;
        let (from, to) = (first.max(0), (first + TAPS as i64).min(signal.len() as i64));
        if from >= to {
            return 0.0;
        }
        let taps = (from - first) as usize..(to - first) as usize;
        let samples = &signal[from as usize..to as usize];
        let (lower, upper) = (&self.0[row][taps.clone()], &self.0[row + 1][taps]);
        let mut sums = [0.0; 2];
        for ((x, low), up) in samples.iter().zip(lower).zip(upper) {
            sums[0] += x * low;
            sums[1] += x * up;
        }
        sums[0] + between * (sums[1] - sums[0])
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    fn sine(hz: f64) -> Vec<f64> {
        (0..48_000).map(|i| 0.5 * (TAU * hz * f64::from(i) / 48_000.0).sin()).collect()
    }

    #[test]
    fn a_drifting_clock_stretches_what_it_records() {
        let recorder = Recorder { drift_ppm: 50.0, early_s: 0.1, ..Recorder::faultless() };
        for hz in [100.0, 5000.0, 21_000.0] {
            let out = recorder.record(&sine(hz), 48_000.0);
            for (i, x) in out.iter().enumerate().skip(20_000).take(200) {
                // Exact: the signal at the true time of this sample.
                let true_s = i as f64 / (48_000.0 * 1.000_05) - 0.1;
                let expected = 0.5 * (TAU * hz * true_s).sin();
                assert!((f64::from(*x) - expected).abs() < 1e-5, "{hz} Hz: {x} {expected}");
            }
        }
    }

    #[test]
    fn faults_are_where_they_were_asked_for() {
        let recorder = Recorder {
            ceiling_dbfs: -12.0,
            dropouts_s: vec![(0.7, 0.01)],
            losses_s: vec![(1.2, 0.002)],
            ..Recorder::faultless()
        };
        let out = recorder.record(&sine(1000.0), 48_000.0);
        assert_eq!(out.len(), 48_000 * 2 - 96);
        let most = out.iter().fold(0.0f32, |most, x| most.max(x.abs()));
        assert!((f64::from(most) - 10f64.powf(-0.6)).abs() < 1e-6);
        assert!(out[33_600..34_080].iter().all(|x| *x == 0.0) && out[34_085].abs() > 1e-3);
        assert!(out[..23_000].iter().all(|x| x.abs() < 1e-4));
    }

    #[test]
    fn noise_has_the_stated_effective_value() {
        let recorder = Recorder { noise_dbfs: Some(-60.0), ..Recorder::faultless() };
        let out = recorder.record(&[0.0; 48_000], 48_000.0);
        let power = out.iter().map(|x| f64::from(x * x)).sum::<f64>() / out.len() as f64;
        // 96 000 samples: 0.5 % of power, 0.02 dB; four of them.
        assert!((10.0 * power.log10() + 60.0).abs() < 0.08, "{power}");
    }
}
