//! Dropouts: zeros where there was sound just before, and is again just after.

use super::{Places, View};
use crate::levels::energy;

/// Shortest stretch of zeros that counts, in seconds. Shorter ones occur where a quiet sound passes through zero.
const SHORTEST_S: f64 = 0.001;
/// So many samples at either end tell whether the sound stops abruptly.
const EDGE: usize = 8;
/// RMS that they have at least: three steps of 16 bits. A sound that fades away ends below.
const ABRUPT: f64 = 1e-4;

#[derive(Debug, Clone)]
pub(super) struct Dropout {
    shortest: usize,
    /// Start of zeros that have not ended yet, where it was abrupt.
    open: Option<Open>,
    /// Zeros up to here are known.
    known_to: u64,
    pub(super) found: Places,
}

#[derive(Debug, Clone, Copy)]
struct Open {
    start: u64,
    abrupt: bool,
}

impl Dropout {
    pub(super) fn new(rate_hz: u32) -> Dropout {
        let shortest = ((f64::from(rate_hz) * SHORTEST_S).ceil() as usize).max(EDGE);
        Dropout { shortest, open: None, known_to: 0, found: Places::default() }
    }

    pub(super) fn look(&mut self, view: &View) {
        let x = view.samples;
        let step = self.shortest as u64;
        // Zeros of the shortest length cover one of every so many frames: only those are looked at.
        let mut frame = (view.start + view.from as u64).next_multiple_of(step);
        while frame < view.start + view.to as u64 {
            let i = (frame - view.start) as usize;
            if (frame >= self.known_to || self.open.is_some()) && x[i] == 0.0 {
                let open = self.open.take().unwrap_or_else(|| {
                    let first = i - x[..i].iter().rev().take_while(|v| **v == 0.0).count();
                    Open {
                        start: view.start + first as u64,
                        abrupt: abrupt(&x[first.saturating_sub(EDGE)..first]),
                    }
                });
                let end = i + x[i..].iter().take_while(|v| **v == 0.0).count();
                self.known_to = view.start + end as u64;
                if end == x.len() {
                    self.open = Some(open);
                } else if self.known_to - open.start >= step
                    && open.abrupt
                    && abrupt(&x[end..(end + EDGE).min(x.len())])
                {
                    self.found.add(open.start);
                }
            } else if let Some(open) = self.open.take() {
                // The zeros ended between this frame and the one looked at before.
                let end = i - x[..i].iter().rev().take_while(|v| **v != 0.0).count();
                let long = view.start + end as u64 >= open.start + step;
                if long && open.abrupt && abrupt(&x[end..(end + EDGE).min(x.len())]) {
                    self.found.add(open.start);
                }
            }
            frame = (frame + 1).max(self.known_to.min(view.start + view.to as u64)).next_multiple_of(step);
        }
    }
}

fn abrupt(edge: &[f32]) -> bool {
    edge.len() == EDGE && energy(edge) / EDGE as f64 >= ABRUPT * ABRUPT
}

#[cfg(test)]
mod tests {
    use super::super::tests::{noise, scanned};

    #[test]
    fn a_hole_is_found_and_shorter_zeros_are_not() {
        let mut x = noise(1, 100_000, 0.01);
        x[50_000..50_047].fill(0.0);
        assert_eq!(scanned(&x, 10_000).dropouts.count, 0);
        // Exact: 1 ms is 48 frames; wherever they lie.
        for at in 50_000..50_100 {
            let mut x = noise(1, 100_000, 0.01);
            x[at..at + 48].fill(0.0);
            let found = scanned(&x, 10_000).dropouts;
            assert_eq!((found.count, found.first_frame), (1, Some(at as u64)));
        }
    }

    #[test]
    fn a_hole_longer_than_the_window_is_one_hole() {
        let mut x = noise(1, 300_000, 0.01);
        x[50_000..240_001].fill(0.0);
        assert_eq!(scanned(&x, 10_000).dropouts.count, 1);
    }

    #[test]
    fn silence_before_the_sound_and_a_sound_that_fades_are_no_holes() {
        let mut x = noise(1, 100_000, 0.1);
        x[..20_000].fill(0.0);
        x[90_000..].fill(0.0);
        // Faded over 100 ms and rounded to 16 bits, then silent, then abrupt again.
        for i in 0..4_800 {
            let gain = 1.0 - i as f32 / 4_800.0;
            x[40_000 + i] = (x[40_000 + i] * gain * gain * 32_768.0).round() / 32_768.0;
        }
        x[44_800..60_000].fill(0.0);
        assert_eq!(scanned(&x, 10_000).dropouts.count, 0);
    }
}
