//! Clicks: one jump between two samples, with calm on both sides. A hit rises as fast, but is not calm afterwards.

use super::{GRAIN, Places, View};
use fairtake_transform::{Work, widest};
use std::ops::Range;

/// Smallest jump that counts, −60 dBFS: a jump below is masked by what surrounds it or lies in the noise.
const LEAST_JUMP: f32 = 1e-3;
/// The jump is larger than any other within the neighbourhood, by this factor: at the start of a tone the slope
/// breaks off, but goes on as steep as it began.
const OVER_STEPS: f32 = 2.0;
/// The residual of prediction from three samples before is larger than any other of the neighbourhood, by this factor.
/// Of 128 values of noise the greatest lies near 2.6 standard deviations: noise would need 15 for a false alarm.
const OVER_RESIDUALS: f32 = 6.0;
/// Samples next to the jump that belong to it: the filters of converters ring as long.
const OWN: usize = 4;
/// Length of the neighbourhood on each side.
const SIDE: usize = 64;
/// So many zeros next to a jump: digital silence begins or ends, which is cut and not clicked.
const SILENT: usize = 8;

#[derive(Debug, Clone)]
pub(super) struct Click {
    /// Greatest step per grain, kept only to be filled again.
    steps: Vec<f32>,
    pub(super) found: Places,
}

impl Click {
    pub(super) fn new() -> Click {
        Click { steps: Vec::new(), found: Places::default() }
    }

    pub(super) fn look(&mut self, view: &View) {
        let x = view.samples;
        let first = (view.from / GRAIN).max(1);
        let (base, last) = (first.saturating_sub(2).max(1), (view.to / GRAIN + 2).min(x.len() / GRAIN));
        self.steps.clear();
        widest(Steps { samples: x, grains: base..last, into: &mut self.steps });
        for grain in first.max(base + 2)..(view.to / GRAIN).min(last.saturating_sub(2)) {
            let at = |g: usize| self.steps[g - base];
            let greatest = at(grain);
            // Two grains away is beyond the jump's own samples, and within the neighbourhood.
            if greatest < LEAST_JUMP || greatest < OVER_STEPS * at(grain - 2).min(at(grain + 2)) {
                continue;
            }
            let jump = (grain * GRAIN..(grain + 1) * GRAIN).find(|i| (x[*i] - x[i - 1]).abs() >= greatest);
            if let Some(i) = jump.filter(|i| is_click(x, *i)) {
                self.found.add(view.start + i as u64);
            }
        }
    }
}

/// Greatest step between neighbours in each grain.
struct Steps<'a> {
    samples: &'a [f32],
    grains: Range<usize>,
    into: &'a mut Vec<f32>,
}

impl Work for Steps<'_> {
    type Out = ();

    #[inline(always)]
    fn done(self) {
        for grain in self.grains {
            let (from, to) = (grain * GRAIN, (grain + 1) * GRAIN);
            // Eight at a time: no chain of comparisons.
            let mut lanes = [0f32; 8];
            let (now, before) = (
                self.samples[from..to].as_chunks::<8>().0,
                self.samples[from - 1..to - 1].as_chunks::<8>().0,
            );
            for (now, before) in now.iter().zip(before) {
                for ((lane, x), y) in lanes.iter_mut().zip(now).zip(before) {
                    let step = (x - y).abs();
                    *lane = if step > *lane { step } else { *lane };
                }
            }
            self.into.push(lanes.into_iter().fold(0.0, f32::max));
        }
    }
}

fn is_click(x: &[f32], i: usize) -> bool {
    let (before, after) = (i.checked_sub(OWN + SIDE + 3), i + OWN + SIDE);
    let Some(before) = before.filter(|_| after <= x.len()) else { return false };
    let all_zero = |s: &[f32]| s.iter().all(|v| *v == 0.0);
    if all_zero(&x[i - SILENT..i]) || all_zero(&x[i..i + SILENT]) {
        return false;
    }
    let step = |k: usize| (x[k] - x[k - 1]).abs();
    let residual = |k: usize| (x[k] - 3.0 * x[k - 1] + 3.0 * x[k - 2] - x[k - 3]).abs();
    let around = || (before + 3..i - OWN).chain(i + OWN..after);
    let greatest = |of: &dyn Fn(usize) -> f32| around().map(of).fold(0f32, f32::max);
    let own = (i..i + 3).map(residual).fold(0f32, f32::max);
    step(i) >= OVER_STEPS * greatest(&step) && own >= OVER_RESIDUALS * greatest(&residual)
}

#[cfg(test)]
mod tests {
    use super::super::tests::{noise, scanned};

    fn swing(n: usize) -> Vec<f32> {
        let mut x = noise(7, n, 3e-4);
        x.iter_mut().enumerate().for_each(|(i, v)| *v += 0.3 * (i as f32 / 40.0).sin());
        x
    }

    #[test]
    fn a_step_at_an_edit_is_found_wherever_it_lies() {
        for at in 40_000..40_070 {
            let mut x = swing(100_000);
            x[at..].iter_mut().for_each(|v| *v += 0.1);
            let found = scanned(&x, 10_000).clicks;
            assert_eq!((found.count, found.first_frame), (1, Some(at as u64)));
        }
    }

    #[test]
    fn a_single_wrong_sample_is_found_once() {
        let mut x = swing(100_000);
        x[40_000] += 0.2;
        assert_eq!(scanned(&x, 10_000).clicks.count, 1);
    }

    #[test]
    fn noise_a_tone_that_starts_at_once_and_bursts_are_none() {
        assert_eq!(scanned(&noise(1, 2_000_000, 0.3), 10_000).clicks.count, 0);
        let mut x = noise(7, 200_000, 1e-5);
        for hit in 0..9 {
            let burst = noise(hit, 4_000, 0.5);
            let start = 10_000 + 20_011 * hit as usize;
            for (i, b) in burst.iter().enumerate() {
                let fall = (-(i as f32) / 400.0).exp();
                x[start + i] += if hit % 2 == 0 { b * fall } else { 0.5 * fall * (i as f32 / 30.0).sin() };
            }
        }
        assert_eq!(scanned(&x, 10_000).clicks.count, 0);
    }
}
