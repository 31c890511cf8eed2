//! Defects of a recording: dropouts, repeated buffers and clicks in one pass, hum in the noise between events.
//!
//! [`Scan`] is shown a window that goes on [`HISTORY`] frames before what is new, so that every detector sees one unbroken
//! slice however the samples arrive. Detectors judge the frames of a `View` and look beyond them on both sides.

mod click;
mod dropout;
mod hum;
mod repeat;

pub use hum::{Hum, HumFinder};

/// How far beyond the judged frames a detector may look: the longest repeated buffer. A multiple of `GRAIN`.
const REACH: usize = 4096;
/// Frames are judged in multiples of this.
const GRAIN: usize = 32;
/// So many frames before the first new one have to be shown again. A multiple of `GRAIN`.
pub const HISTORY: usize = 3 * REACH;

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
    judged_to: u64,
    dropout: dropout::Dropout,
    repeat: repeat::Repeat,
    click: click::Click,
}

impl Scan {
    /// Nothing seen yet.
    pub fn new(rate_hz: u32) -> Scan {
        Scan {
            judged_to: 0,
            dropout: dropout::Dropout::new(rate_hz),
            repeat: repeat::Repeat::new(),
            click: click::Click::new(),
        }
    }

    /// Looks through the next samples. `window` goes from frame `start`, a multiple of 32, to the last sample there is;
    /// it holds the whole take so far, or [`HISTORY`] frames before the first that was not yet shown.
    pub fn look(&mut self, window: &[f32], start: u64) {
        self.judge(window, start, window.len().saturating_sub(REACH) / GRAIN * GRAIN);
    }

    /// The end of the take: what was found. The window is as for the last samples.
    pub fn finish(mut self, window: &[f32], start: u64) -> Defects {
        self.judge(window, start, window.len());
        Defects { dropouts: self.dropout.found, repeats: self.repeat.found, clicks: self.click.found }
    }

    fn judge(&mut self, samples: &[f32], start: u64, to: usize) {
        let from = self.judged_to.saturating_sub(start) as usize;
        if to <= from {
            return;
        }
        let view = View { samples, start, from, to };
        self.dropout.look(&view);
        self.repeat.look(&view);
        self.click.look(&view);
        self.judged_to = start + to as u64;
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
        let (mut shown, mut start) = (0, 0);
        while shown < samples.len() {
            start = (shown.saturating_sub(HISTORY)) / GRAIN * GRAIN;
            shown = (shown + chunk).min(samples.len());
            scan.look(&samples[start..shown], start as u64);
        }
        scan.finish(&samples[start..], start as u64)
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
