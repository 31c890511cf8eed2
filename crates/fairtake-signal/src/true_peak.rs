//! Highest value between samples.

use crate::levels::greatest;

/// Taps to each side of the interpolation filter.
const REACH: usize = 12;
/// Values per sample interval: 4 at every rate, also above 96 kHz, so that true peak is never the sample peak by name only.
const OVERSAMPLING: usize = 4;

/// Finds true peaks by interpolation; made once, used for many slices.
#[derive(Debug, Clone)]
pub struct TruePeak {
    phases: Vec<[f32; 2 * REACH]>,
    bound: f32,
}

impl Default for TruePeak {
    fn default() -> TruePeak {
        TruePeak::new()
    }
}

impl TruePeak {
    /// # Source
    /// ITU-R BS.1770-5, Annex 2, asks for at least fourfold interpolation; ours is a Kaiser-windowed sinc (β = 6), which
    /// EBU Tech 3341 cases 15–19 hold.
    pub fn new() -> TruePeak {
        let mut phases = Vec::new();
        for p in 1..OVERSAMPLING {
            let shift = p as f64 / OVERSAMPLING as f64;
            let mut taps = [0f32; 2 * REACH];
            for (k, tap) in taps.iter_mut().enumerate() {
                let x = k as f64 - (REACH as f64 - 1.0) - shift;
                let sinc = if x.abs() < 1e-12 {
                    1.0
                } else {
                    (std::f64::consts::PI * x).sin() / (std::f64::consts::PI * x)
                };
                *tap = (sinc * kaiser(x / REACH as f64)) as f32;
            }
            phases.push(taps);
        }
        let bound = phases.iter().map(|t| t.iter().map(|v| v.abs()).sum::<f32>()).fold(1.0, f32::max);
        TruePeak { phases, bound }
    }

    /// True peak of a slice, at least its sample peak; outside the slice is silence. Exact, but only places that can
    /// exceed what was found already are interpolated.
    pub fn of(&self, samples: &[f32]) -> f64 {
        let mut highest = greatest(samples);
        let mut window = [0f32; 2 * REACH];
        let block = 64;
        // The loudest block first: what it reaches lets most others be passed over.
        let loudest = samples.iter().position(|s| s.abs() == highest).unwrap_or(0) / block * block;
        for start in std::iter::once(loudest).chain((0..samples.len()).step_by(block)) {
            let from = start.saturating_sub(REACH);
            let to = (start + block + REACH).min(samples.len());
            let local = greatest(&samples[from..to]);
            if local * self.bound <= highest {
                continue;
            }
            for i in start..(start + block).min(samples.len()) {
                let inside = (i + 1).checked_sub(REACH).and_then(|j| samples.get(j..j + 2 * REACH));
                if let Some(inside) = inside {
                    window.copy_from_slice(inside);
                } else {
                    for (k, w) in window.iter_mut().enumerate() {
                        let at = (i + k + 1).checked_sub(REACH);
                        *w = at.and_then(|j| samples.get(j)).copied().unwrap_or(0.0);
                    }
                }
                for taps in &self.phases {
                    // Eight sums at a time: no chain of additions.
                    let mut sums = [0f32; 8];
                    for (t, w) in taps.as_chunks::<8>().0.iter().zip(window.as_chunks::<8>().0) {
                        (0..8).for_each(|k| sums[k] += t[k] * w[k]);
                    }
                    highest = highest.max(sums.iter().sum::<f32>().abs());
                }
            }
        }
        f64::from(highest)
    }
}

/// Kaiser window, β = 6, at −1..=1.
fn kaiser(x: f64) -> f64 {
    let bessel = |x: f64| {
        let (mut sum, mut term) = (1.0, 1.0);
        for k in 1..30 {
            term *= (x / 2.0 / f64::from(k)).powi(2);
            sum += term;
        }
        sum
    };
    if x.abs() >= 1.0 { 0.0 } else { bessel(6.0 * (1.0 - x * x).sqrt()) / bessel(6.0) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sine_sampled_beside_its_crests_reads_its_true_level() {
        // Reference: EBU Tech 3341 cases 15–19 (fs/4 and fs/6 at several phases, true level −6.02 dBTP): +0.2/−0.4 dB.
        let meter = TruePeak::new();
        for (divisor, phase) in [(4.0, 0.0), (4.0, 45.0), (6.0, 60.0), (8.0, 67.5)] {
            let samples: Vec<f32> = (0..4800)
                .map(|i| {
                    let fade = (i as f64 / 480.0).min((4800 - i) as f64 / 480.0).min(1.0);
                    let angle = 2.0 * std::f64::consts::PI * i as f64 / divisor + f64::to_radians(phase);
                    (0.5 * fade * angle.sin()) as f32
                })
                .collect();
            let db = crate::units::amplitude_db(meter.of(&samples)).expect("not silent");
            assert!((-6.42..=-5.82).contains(&db), "fs/{divisor} at {phase}: {db}");
        }
    }

    #[test]
    fn pruning_changes_nothing() {
        let samples: Vec<f32> = (0..2000u32)
            .map(|i| ((i.wrapping_mul(2_654_435_761) >> 8) as f32 / 8_388_608.0 - 1.0) * (i as f32 / 2000.0))
            .collect();
        let meter = TruePeak::new();
        let slow = TruePeak { bound: f32::INFINITY, ..meter.clone() };
        assert_eq!(meter.of(&samples), slow.of(&samples));
    }
}
