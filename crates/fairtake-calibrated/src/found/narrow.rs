//! The recording at a lower rate, in which marks are sought: a tenth of the work.

use fairtake_signal::fir::{to_frequency, to_time};
use fairtake_transform::{Complex, fast_length};
use std::f64::consts::PI;

/// The lower rate is this or up to twice as much, in Hz.
const LEAST_RATE_HZ: f64 = 11_000.0;
/// Flat up to about 0.27 of the lower rate, which is 3 kHz or more; fallen by half here, and gone from 0.61 on, which folds to 0.39.
const CORNER_SHARE: f64 = 0.44;
/// Length of the filter in periods of the lower rate, on each side.
const REACH: usize = 12;
/// Range in which marks are, in Hz.
pub(super) const MARKS_HZ: (f64, f64) = (500.0, 4000.0);

/// The recording at the lower rate.
pub(super) struct Narrow {
    /// Samples at the lower rate. The first lies on the first of the recording.
    pub samples: Vec<f64>,
    /// Lower rate in Hz.
    pub rate_hz: f64,
    /// Rate of the recording in Hz.
    pub full_rate_hz: f64,
}

impl Narrow {
    /// Every so manyth sample of the recording, without what that rate does not hold.
    pub fn of(recording: &[f32], rate_hz: u32) -> Narrow {
        let step = ((f64::from(rate_hz) / LEAST_RATE_HZ) as usize).max(1);
        Narrow {
            samples: lowered(recording, step),
            rate_hz: f64::from(rate_hz) / step as f64,
            full_rate_hz: f64::from(rate_hz),
        }
    }

    /// Length in seconds.
    pub fn seconds(&self) -> f64 {
        self.samples.len() as f64 / self.rate_hz
    }

    /// Spectrum of the whole, only what lies in the range of the marks (times `scale`), filled up with room for `extra` samples;
    /// and the length of its transform.
    pub fn marks_only(&self, extra: usize, scale: f64) -> (Vec<Complex<f64>>, usize) {
        let n = fast_length(self.samples.len() + extra);
        let mut spectrum = to_frequency(self.samples.iter().copied(), n);
        let bin_hz = self.rate_hz / n as f64;
        for (k, x) in spectrum.iter_mut().enumerate() {
            let hz = k as f64 * bin_hz;
            if hz < scale * MARKS_HZ.0 || hz > scale * MARKS_HZ.1 {
                *x = Complex::default();
            }
        }
        (spectrum, n)
    }

    /// Samples of a spectrum of `n`, as many as there are here.
    pub fn back(&self, spectrum: Vec<Complex<f64>>, n: usize) -> Vec<f64> {
        let mut samples = to_time(spectrum, n);
        samples.truncate(self.samples.len());
        samples
    }
}

fn lowered(samples: &[f32], step: usize) -> Vec<f64> {
    if step == 1 {
        return samples.iter().map(|x| f64::from(*x)).collect();
    }
    let corner = CORNER_SHARE / step as f64;
    let reach = (REACH * step) as i64;
    let taps: Vec<f64> = (-reach..=reach)
        .map(|i| {
            let x = i as f64;
            // Nuttall's window of four cosines: nothing folds back above −95 dB.
            let angle = PI * x / reach as f64;
            let window = 0.363_581_9
                + 0.489_177_5 * angle.cos()
                + 0.136_599_5 * (2.0 * angle).cos()
                + 0.010_641_1 * (3.0 * angle).cos();
            let sinc = if i == 0 { 1.0 } else { (2.0 * PI * corner * x).sin() / (2.0 * PI * corner * x) };
            2.0 * corner * window * sinc
        })
        .collect();
    (0..samples.len().div_ceil(step))
        .map(|k| {
            let first = (k * step) as i64 - reach;
            let (from, to) = (first.max(0), (first + taps.len() as i64).min(samples.len() as i64));
            sum_of_products(&samples[from as usize..to as usize], &taps[(from - first) as usize..])
        })
        .collect()
}

/// In eight sums, which the processor can make at once.
fn sum_of_products(samples: &[f32], taps: &[f64]) -> f64 {
    const AT_ONCE: usize = 8;
    let taps = &taps[..samples.len()];
    let mut sums = [0.0; AT_ONCE];
    for (xs, ts) in samples.chunks_exact(AT_ONCE).zip(taps.chunks_exact(AT_ONCE)) {
        for i in 0..AT_ONCE {
            sums[i] += f64::from(xs[i]) * ts[i];
        }
    }
    let whole = samples.len() / AT_ONCE * AT_ONCE;
    let rest: f64 = samples[whole..].iter().zip(&taps[whole..]).map(|(x, t)| f64::from(*x) * t).sum();
    sums.iter().sum::<f64>() + rest
}
