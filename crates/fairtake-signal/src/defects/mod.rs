//! Defects of a recording: dropouts, repeated buffers and clicks in one pass, hum in the noise between events.
//!
//! [`Scan`] keeps a window of the last few thousand frames, so that every detector sees one unbroken slice however the
//! samples arrive. Detectors judge the frames of a `View` and look beyond them on both sides.

mod click;
mod dropout;
mod hum;
mod repeat;

pub use hum::{Hum, HumFinder};

/// How far beyond the judged frames a detector may look: the longest repeated buffer. A multiple of [`GRAIN`].
const REACH: usize = 4096;
/// Frames are judged in multiples of this.
const GRAIN: usize = 32;

/// How often a defect was found, and where first.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Places {
    /// How often.
    pub count: usize,
    /// First frame of the first.
    pub first_frame: Option<u64>,
}

impl Places {
    fn add(&mut self, frame: u64) {
        self.count += 1;
        self.first_frame.get_or_insert(frame);
    }
}

/// What a [`Scan`] found.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Defects {
    /// Stretches of zeros inside sound.
    pub dropouts: Places,
    /// Buffers that come twice in a row.
    pub repeats: Places,
    /// Jumps from one sample to the next.
    pub clicks: Places,
}

/// Frames at hand, and which of them are to be judged now.
struct View<'a> {
    samples: &'a [f32],
    /// Frame of the first sample.
    start: u64,
    /// Judged: from this index …
    from: usize,
    /// … up to this one. At least [`REACH`] further samples follow, except at the end of the take.
    to: usize,
}

/// Looks through a take as it streams by.
#[derive(Debug, Clone)]
pub struct Scan {
    window: Vec<f32>,
    window_start: u64,
    judged_to: u64,
    dropout: dropout::Dropout,
    repeat: repeat::Repeat,
    click: click::Click,
}

impl Scan {
    /// Nothing seen yet.
    pub fn new(rate_hz: u32) -> Scan {
        Scan {
            window: Vec::new(),
            window_start: 0,
            judged_to: 0,
            dropout: dropout::Dropout::new(rate_hz),
            repeat: repeat::Repeat::new(),
            click: click::Click::new(),
        }
    }

    /// The next samples.
    pub fn push(&mut self, samples: &[f32]) {
        self.window.extend_from_slice(samples);
        if self.window.len() > 5 * REACH {
            let to = (self.window.len() - REACH) / GRAIN * GRAIN;
            self.judge(to);
            // The start stays a multiple of the grain, because what is dropped is.
            let kept_from = to - 2 * REACH;
            self.window.drain(..kept_from);
            self.window_start += kept_from as u64;
        }
    }

    /// The end of the take: what was found.
    pub fn finish(mut self) -> Defects {
        self.judge(self.window.len());
        Defects { dropouts: self.dropout.found, repeats: self.repeat.found, clicks: self.click.found }
    }

    fn judge(&mut self, to: usize) {
        let from = (self.judged_to - self.window_start) as usize;
        if to <= from {
            return;
        }
        let view = View { samples: &self.window, start: self.window_start, from, to };
        self.dropout.look(&view);
        self.repeat.look(&view);
        self.click.look(&view);
        self.judged_to = self.window_start + to as u64;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    pub(super) fn noise(seed: u64, n: usize, gain: f32) -> Vec<f32> {
        let mut state = seed;
        (0..n)
            .map(|_| {
                state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                gain * ((state >> 40) as f32 / 8_388_608.0 - 1.0)
            })
            .collect()
    }

    pub(super) fn scanned(samples: &[f32], chunk: usize) -> Defects {
        let mut scan = Scan::new(48_000);
        samples.chunks(chunk).for_each(|c| scan.push(c));
        scan.finish()
    }

    #[test]
    fn what_is_found_does_not_depend_on_how_samples_arrive() {
        // A slow swing with a step, a hole and a repeat, in places that fall on borders of some chunkings.
        let n = 200_000;
        let mut x: Vec<f32> = noise(5, n, 1e-3);
        x.iter_mut().enumerate().for_each(|(i, v)| *v += 0.3 * (i as f32 / 150.0).sin());
        x[30_700..30_800].fill(0.0);
        x.copy_within(60_000..60_512, 60_512);
        x[90_000..].iter_mut().for_each(|v| *v += 0.2);
        let whole = scanned(&x, n);
        assert_eq!(whole.dropouts, Places { count: 1, first_frame: Some(30_700) });
        assert_eq!(whole.repeats, Places { count: 1, first_frame: Some(60_512) });
        assert!(whole.clicks.count >= 1);
        for chunk in [1000, 4096, 30_720, 30_750] {
            assert_eq!(scanned(&x, chunk), whole, "chunk {chunk}");
        }
    }

    #[test]
    fn silence_and_nothing_at_all_hold_no_defect() {
        assert_eq!(scanned(&[], 100), Defects::default());
        assert_eq!(scanned(&[0.0; 50_000], 1000), Defects::default());
        assert_eq!(scanned(&[0.25; 50_000], 1000), Defects::default());
    }
}
