//! Highest value between samples.

use fairtake_transform::{Work, widest};

/// Taps to each side of the interpolation filter.
const REACH: usize = 12;
/// Values per sample interval: 4 at every rate, also above 96 kHz, so that true peak is never the sample peak by name only.
const OVERSAMPLING: usize = 4;
/// So many samples are looked at together.
const BLOCK: usize = 32;

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
        f64::from(widest(Highest { meter: self, samples }))
    }
}

struct Highest<'a> {
    meter: &'a TruePeak,
    samples: &'a [f32],
}

impl Work for Highest<'_> {
    type Out = f32;

    #[inline(always)]
    fn done(self) -> f32 {
        let Highest { meter, samples } = self;
        let peaks: Vec<f32> = samples.chunks(BLOCK).map(greatest).collect();
        let mut highest = peaks.iter().fold(0f32, |a, p| a.max(*p));
        // The loudest block first: what it reaches lets most others be passed over.
        let loudest = peaks.iter().position(|p| *p == highest).unwrap_or(0);
        for block in std::iter::once(loudest).chain(0..peaks.len()) {
            // The filter reaches no further than into the blocks beside.
            let near = &peaks[block.saturating_sub(1)..(block + 2).min(peaks.len())];
            if near.iter().fold(0f32, |a, p| a.max(*p)) * meter.bound > highest {
                highest = highest.max(between(samples, block * BLOCK, &meter.phases));
            }
        }
        highest
    }
}

/// Greatest absolute value.
#[inline(always)]
fn greatest(samples: &[f32]) -> f32 {
    let (eights, rest) = samples.as_chunks::<8>();
    let mut lanes = [0f32; 8];
    for eight in eights {
        lanes
            .iter_mut()
            .zip(eight)
            .for_each(|(lane, x)| *lane = if x.abs() > *lane { x.abs() } else { *lane });
    }
    lanes.iter().chain(rest).fold(0f32, |a, x| a.max(x.abs()))
}

/// Greatest absolute value between each sample of a block and the next.
#[inline(always)]
fn between(samples: &[f32], start: usize, phases: &[[f32; 2 * REACH]]) -> f32 {
    // What the block's values are made of; outside the slice is silence.
    let mut around = [0f32; BLOCK + 2 * REACH];
    let from = (start + 1).saturating_sub(REACH);
    let inside = &samples[from..(start + BLOCK + REACH).min(samples.len())];
    around[from + REACH - start - 1..][..inside.len()].copy_from_slice(inside);
    let n = BLOCK.min(samples.len() - start);
    let mut highest = 0f32;
    for taps in phases {
        let mut values = [0f32; BLOCK];
        for (k, tap) in taps.iter().enumerate() {
            values.iter_mut().zip(&around[k..k + BLOCK]).for_each(|(v, x)| *v += tap * x);
        }
        highest = highest.max(greatest(&values[..n]));
    }
    highest
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
