//! Repeated buffers: a block of samples that comes again, bit by bit, right after itself.

use super::{Places, REACH, View};

/// Shortest block that counts.
const SHORTEST: usize = 64;
/// Blocks have lengths that are multiples of this, as drivers and converters hand them on (common practice, no source) …
const STEP: usize = 16;
/// … or a hundredth and a fiftieth of a second at 44.1 kHz.
const OTHERS: [usize; 2] = [441, 882];
/// A block must change from sample to sample at least this often, or its coming again is chance: silence, or a few
/// steps of the converter.
const LEAST_CHANGES: usize = SHORTEST / 2;

#[derive(Debug, Clone)]
pub(super) struct Repeat {
    /// Each with the frame to be looked at next.
    lags: Vec<(usize, u64)>,
    /// Repeats up to here are known.
    known_to: u64,
    /// Those of the stretch at hand, as start and end.
    here: Vec<(u64, u64)>,
    pub(super) found: Places,
}

impl Repeat {
    pub(super) fn new() -> Repeat {
        let lags = (SHORTEST..=REACH).step_by(STEP).chain(OTHERS).map(|lag| (lag, lag as u64)).collect();
        Repeat { lags, known_to: 0, here: Vec::new(), found: Places::default() }
    }

    pub(super) fn look(&mut self, view: &View) {
        let x = view.samples;
        self.here.clear();
        let seen = &x[..view.to];
        for (lag, next) in &mut self.lags {
            // A block that comes again covers one of every `lag` frames: only those are looked at.
            let mut i = (*next - view.start) as usize;
            let mut before = seen.get(i - *lag).copied().unwrap_or(0.0);
            while let Some(now) = seen.get(i).copied() {
                if now.to_bits() == before.to_bits()
                    && now != 0.0
                    && let Some((from, to)) = run(x, i, *lag)
                {
                    self.here.push((view.start + from as u64, view.start + to as u64));
                }
                before = now;
                i += *lag;
            }
            *next = view.start + i as u64;
        }
        self.here.sort_unstable();
        for (from, to) in &self.here {
            if *from >= self.known_to {
                self.found.add(*from);
            }
            self.known_to = self.known_to.max(*to);
        }
    }
}

/// The stretch around `i` that equals what lies `lag` before, where it is a repeated block.
fn run(x: &[f32], i: usize, lag: usize) -> Option<(usize, usize)> {
    let same = |k: &usize| x[*k].to_bits() == x[k - lag].to_bits();
    let to = i + (i..x.len()).take_while(same).count();
    let from = i - (lag..i).rev().take_while(same).count();
    // What repeats over the whole window is a made tone, no stuck buffer.
    if to - from < lag || (from == lag && to == x.len()) {
        return None;
    }
    let changes = x[from..to].windows(2).filter(|w| w[0] != w[1]).count();
    (changes >= LEAST_CHANGES).then_some((from, to))
}

#[cfg(test)]
mod tests {
    use super::super::tests::{noise, scanned};

    #[test]
    fn a_block_that_comes_again_is_found_at_every_length_and_place() {
        for len in [64usize, 96, 128, 441, 480, 512, 1024, 4096] {
            for at in [20_000usize, 20_001, 29_999, 77_777] {
                let mut x = noise(3, 120_000, 0.01);
                x.copy_within(at..at + len, at + len);
                let found = scanned(&x, 10_000).repeats;
                assert_eq!((found.count, found.first_frame), (1, Some((at + len) as u64)), "{len} at {at}");
            }
        }
    }

    #[test]
    fn a_block_less_one_sample_is_not() {
        let mut x = noise(3, 120_000, 0.01);
        x.copy_within(20_000..20_511, 20_512);
        assert_eq!(scanned(&x, 10_000).repeats.count, 0);
    }

    #[test]
    fn quiet_noise_of_few_steps_and_a_made_tone_are_none() {
        // Steps of 16 bits: values −1, 0 and 1 of 32768.
        let coarse: Vec<f32> = noise(9, 300_000, 1.0).iter().map(|v| (v * 0.8).round() / 32_768.0).collect();
        assert_eq!(scanned(&coarse, 10_000).repeats.count, 0);
        let rare: Vec<f32> = noise(9, 300_000, 1.0).iter().map(|v| (v * 0.503).round() / 32_768.0).collect();
        assert_eq!(scanned(&rare, 10_000).repeats.count, 0);
        let period: Vec<f32> = (0..48).map(|i| (i as f32 * std::f32::consts::TAU / 48.0).sin()).collect();
        let tone: Vec<f32> = (0..300_000).map(|i| period[i % 48]).collect();
        assert_eq!(scanned(&tone, 10_000).repeats.count, 0);
    }
}
