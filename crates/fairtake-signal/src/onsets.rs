//! Where hits begin and end, from short-time energies.
//!
//! Novelty is the rise of energy from one short stretch to the next, taken in two bands (the signal and its first
//! difference, which is bright) and summed in dB above the floor: a two-band form of spectral flux.

use crate::levels::{Levels, look};
use crate::units::power_db_at_least;
use fairtake_transform::{Work, widest};

/// Length of one stretch in seconds.
pub const HOP_S: f64 = 0.0025;

/// Least rise that counts as an onset, in dB summed over both bands.
const LEAST_RISE_DB: f64 = 12.0;
/// Onsets are at least this far apart, in seconds.
const LEAST_GAP_S: f64 = 0.08;
/// Hits this much weaker than the strong ones are not hits of this source, in dB.
const WEAKEST_DB: f64 = 30.0;
/// A peak this soon after a stronger one, in seconds …
const RETRIGGER_S: f64 = 0.25;
/// … and this much weaker, in dB, is that hit's own beating.
const RETRIGGER_DB: f64 = 8.0;
/// A source is percussive when its hits have typically fallen this much, in dB …
const PERCUSSIVE_FALL_DB: f64 = 12.0;
/// … after this time, in seconds.
const PERCUSSIVE_AFTER_S: f64 = 0.35;

/// Short-time energies of one take: the envelope, filled as samples stream by.
#[derive(Debug, Clone, PartialEq)]
pub struct Envelope {
    /// Frames per stretch.
    pub hop_frames: usize,
    /// Mean square per stretch.
    pub plain: Vec<f32>,
    /// Mean square of the first difference per stretch.
    pub bright: Vec<f32>,
}

impl Envelope {
    /// Empty, for a sampling rate.
    pub fn new(rate_hz: u32) -> Envelope {
        Envelope {
            hop_frames: ((f64::from(rate_hz) * HOP_S).round() as usize).max(1),
            plain: Vec::new(),
            bright: Vec::new(),
        }
    }

    /// Adds whole stretches; a last incomplete one is passed over. The levels are those of all samples, found on the way.
    pub fn push(&mut self, samples: &[f32]) -> Levels {
        widest(Push { samples, envelope: self })
    }

    /// Mean square that a tenth of the take lies below, over 20 ms stretches: the floor.
    pub fn floor(&self) -> f64 {
        percentile(self.averaged(&self.plain, 8), 0.1)
    }

    /// Mean square of the quietest quarter of a second that holds no digital silence; `None` where there is none. Unlike
    /// the floor it finds a pause however long the playing around it is.
    pub fn quietest(&self, rate_hz: u32) -> Option<f64> {
        let n = (rate_hz as usize / 4 / self.hop_frames.max(1)).max(1);
        self.plain
            .windows(n)
            .step_by((n / 8).max(1))
            .filter(|w| w.iter().all(|v| *v > 0.0))
            .map(|w| w.iter().map(|v| f64::from(*v)).sum::<f64>() / n as f64)
            .min_by(f64::total_cmp)
    }

    fn averaged(&self, values: &[f32], n: usize) -> Vec<f64> {
        values.chunks(n).map(|c| c.iter().map(|v| f64::from(*v)).sum::<f64>() / c.len() as f64).collect()
    }

    /// Indices of the stretches in which hits begin, in order.
    pub fn onsets(&self) -> Vec<usize> {
        let (after, before) = (2usize, 8usize);
        let n = self.plain.len();
        if n < before + after {
            return Vec::new();
        }
        let rise_of = |values: &[f32]| -> Vec<f64> {
            let floor = percentile(self.averaged(values, 8), 0.1) * 10.0 + 1e-14;
            let mut sums = vec![0.0f64; n + 1];
            (0..n).for_each(|i| sums[i + 1] = sums[i] + f64::from(values[i]));
            let mean = |from: usize, to: usize| (sums[to] - sums[from]) / (to - from).max(1) as f64;
            let rise = |i: usize| {
                let now = mean(i, (i + after).min(n)) + floor;
                let earlier = if i == 0 { 0.0 } else { mean(i.saturating_sub(before), i) } + floor;
                // A fall counts nothing, and costs no logarithm.
                if now > earlier { power_db_at_least(now / earlier, 0.0) } else { 0.0 }
            };
            (0..n).map(rise).collect()
        };
        let (mut rise, bright) = rayon::join(|| rise_of(&self.plain), || rise_of(&self.bright));
        rise.iter_mut().zip(bright).for_each(|(rise, more)| *rise += more);
        let level = |i: usize| -> f64 {
            let to = (i + 8).min(n);
            let peak = self.plain[i..to].iter().fold(0f32, |a, v| a.max(*v));
            power_db_at_least(f64::from(peak), -140.0)
        };
        // Local maxima above an adaptive threshold: well above what the novelty usually is here.
        let usual = percentile(rise.clone(), 0.9);
        let threshold = LEAST_RISE_DB.max(1.5 * usual);
        let gap = (LEAST_GAP_S / HOP_S) as usize;
        let mut peaks: Vec<usize> = (0..n)
            .filter(|i| {
                let near = i.saturating_sub(gap)..(i + gap).min(n);
                rise[*i] >= threshold
                    && near.clone().all(|j| rise[j] < rise[*i] || (rise[j] == rise[*i] && j >= *i))
            })
            .collect();
        let mut levels: Vec<f64> = peaks.iter().map(|i| level(*i)).collect();
        levels.sort_by(f64::total_cmp);
        let strong = levels.get((levels.len() as f64 * 0.9) as usize).copied().unwrap_or(0.0);
        peaks.retain(|i| level(*i) > strong - WEAKEST_DB);
        let mut kept: Vec<usize> = Vec::new();
        for i in peaks {
            let own_beating = kept.last().is_some_and(|k| {
                ((i - k) as f64) * HOP_S < RETRIGGER_S && level(i) < level(*k) - RETRIGGER_DB
            });
            if !own_beating {
                kept.push(i);
            }
        }
        kept
    }

    /// Where each hit ends: 40 dB below its peak, or where it has reached the noise, or 5 ms before the next, at most 1 s.
    pub fn ends(&self, onsets: &[usize]) -> Vec<usize> {
        let noise = self.floor() * 2.0;
        let most = (1.0 / HOP_S) as usize;
        onsets
            .iter()
            .enumerate()
            .map(|(k, on)| {
                let next = onsets
                    .get(k + 1)
                    .map_or(self.plain.len(), |n| n.saturating_sub((0.005 / HOP_S) as usize));
                let limit = next.min(on + most).min(self.plain.len());
                let peak = self.plain[*on..limit.max(on + 1).min(self.plain.len())]
                    .iter()
                    .fold(0f32, |a, v| a.max(*v));
                let quiet = (f64::from(peak) * 1e-4).max(noise);
                // Eight stretches (20 ms) in a row below: a beat is no end.
                (on + 8..limit)
                    .find(|i| self.plain[i - 8..*i].iter().all(|v| f64::from(*v) < quiet))
                    .unwrap_or(limit)
            })
            .collect()
    }

    /// True when there are at least three hits and they typically decay.
    pub fn is_percussive(&self, onsets: &[usize]) -> bool {
        if onsets.len() < 3 {
            return false;
        }
        let later = (PERCUSSIVE_AFTER_S / HOP_S) as usize;
        let mut falls: Vec<f64> = onsets
            .iter()
            .filter(|on| **on + later + 8 < self.plain.len())
            .map(|on| {
                let peak = self.plain[*on..on + 20.min(later)].iter().fold(0f32, |a, v| a.max(*v));
                let tail = self.plain[on + later..on + later + 8].iter().sum::<f32>() / 8.0;
                power_db_at_least((f64::from(peak) + 1e-14) / (f64::from(tail) + 1e-14), 0.0)
            })
            .collect();
        falls.sort_by(f64::total_cmp);
        falls.get(falls.len() / 2).is_some_and(|f| *f >= PERCUSSIVE_FALL_DB)
    }
}

struct Push<'a> {
    samples: &'a [f32],
    envelope: &'a mut Envelope,
}

impl Work for Push<'_> {
    type Out = Levels;

    #[inline(always)]
    fn done(self) -> Levels {
        let mut all = Levels::default();
        let hops = self.samples.chunks_exact(self.envelope.hop_frames);
        all.add(&look(hops.remainder()));
        for hop in hops {
            let found = look(hop);
            all.add(&found);
            self.envelope.plain.push(found.squares / hop.len() as f32);
            self.envelope.bright.push(found.steps / hop.len() as f32);
        }
        all
    }
}

fn percentile(mut values: Vec<f64>, share: f64) -> f64 {
    if values.is_empty() {
        return 0.0;
    }
    let idx = ((values.len() - 1) as f64 * share) as usize;
    *values.select_nth_unstable_by(idx, f64::total_cmp).1
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hits(rate: u32, onsets_s: &[f64], strengths: &[f64], seconds: f64) -> Vec<f32> {
        let n = (seconds * f64::from(rate)) as usize;
        let mut state = 1u32;
        (0..n)
            .map(|i| {
                let t = i as f64 / f64::from(rate);
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                let mut x = 1e-4 * (f64::from(state >> 9) / 4_194_304.0 - 1.0);
                for (on, a) in onsets_s.iter().zip(strengths) {
                    let u = t - on;
                    if (0.0..1.0).contains(&u) {
                        x += a * (-u / 0.06).exp() * (2.0 * std::f64::consts::PI * 190.0 * u).cos()
                            + 0.3 * a * (-u / 0.01).exp() * (f64::from(state >> 9) / 4_194_304.0 - 1.0);
                    }
                }
                x as f32
            })
            .collect()
    }

    #[test]
    fn every_hit_is_found_once_within_five_milliseconds_at_any_rate() {
        let onsets = [0.5, 1.1, 1.62, 2.3, 2.9];
        for rate in [8000, 44_100, 96_000] {
            let samples = hits(rate, &onsets, &[0.5, 0.2, 0.4, 0.1, 0.5], 4.0);
            let mut e = Envelope::new(rate);
            e.push(&samples);
            let found = e.onsets();
            assert_eq!(found.len(), onsets.len(), "{rate}: {found:?}");
            for (f, o) in found.iter().zip(onsets) {
                assert!((*f as f64 * e.hop_frames as f64 / f64::from(rate) - o).abs() < 0.006);
            }
            assert!(e.is_percussive(&found));
        }
    }

    #[test]
    fn a_short_pause_in_a_long_take_is_found_and_digital_silence_is_none() {
        let rate = 48_000;
        let mut e = Envelope::new(rate);
        e.push(&vec![0.0; rate as usize]);
        assert_eq!(e.quietest(rate), None);
        // A second of noise of ±1e-3 in 31 s: a thirtieth, that a tenth of the take cannot show.
        let noise = hits(rate, &[], &[], 31.0);
        let loud = |i: usize| if i < 31 * 48_000 - 48_000 { 1000.0 } else { 10.0 };
        e.push(&noise.iter().enumerate().map(|(i, x)| x * loud(i)).collect::<Vec<f32>>());
        // Uniform noise of ±a has mean square a²/3; 12,000 samples hold it to 2 %, the least of some windows to 5 %.
        let quietest = e.quietest(rate).expect("there is a pause");
        assert!((quietest / (1e-6 / 3.0) - 1.0).abs() < 0.05, "{quietest}");
    }

    #[test]
    fn noise_silence_and_a_held_tone_are_not_percussive() {
        let rate = 48_000;
        let tone: Vec<f32> = (0..rate * 4).map(|i| (i as f32 * 0.03).sin() * 0.3).collect();
        for samples in [hits(rate, &[], &[], 4.0), vec![0.0; 4 * rate as usize], tone] {
            let mut e = Envelope::new(rate);
            e.push(&samples);
            assert!(!e.is_percussive(&e.onsets()));
        }
    }

    #[test]
    fn a_hit_ends_before_the_next_and_no_later_than_a_second() {
        let samples = hits(48_000, &[0.5, 0.8, 2.0], &[0.5, 0.5, 0.5], 4.0);
        let mut e = Envelope::new(48_000);
        e.push(&samples);
        let on = e.onsets();
        let ends = e.ends(&on);
        assert_eq!(on.len(), 3);
        assert!(ends[0] <= on[1] && ends.iter().zip(&on).all(|(end, on)| end > on && end - on <= 400));
    }
}
