//! Seeking marks and reading their codes.

use super::narrow::Narrow;
use crate::excitation::{Mark, N_BITS, Role, SYNC_S, bit_chirp, sync};
use fairtake_signal::fir::to_frequency;

/// Less alike than this a place is no candidate. Noise alone reaches some 0.12 in an hour: 1750 independent values in a chirp make a
/// standard deviation of 0.024.
const LEAST_ALIKE: f64 = 0.15;
/// At most so many candidates are read, the most alike ones.
const MOST_CANDIDATES: usize = 24;
/// A bit is sought so much earlier and later than it should come, in seconds.
const BIT_LEEWAY_S: f64 = 0.0015;
/// A mark whose check fails is taken for ours when its bits agree with those expected by this or more: 1 is every bit, and clear.
/// Bits of nothing agree by 0 ± 0.1.
const AGREES: f64 = 0.5;
/// Bits are clear when, on average, one chirp has three times the energy of the other. Bits of nothing have 0.4 here.
const CLEAR: f64 = 0.6;

/// Where a mark may begin.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Candidate {
    /// In seconds from the beginning of the recording.
    pub at_s: f64,
    /// How much like the chirp that is sought, 0 to 1.
    pub alike: f64,
}

/// What a candidate reads as.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Read {
    /// A mark of this excitation.
    Ours(Role),
    /// A mark of another one.
    Other(u16),
    /// No mark, or one that cannot be read.
    Nothing,
}

/// A recording, ready to be searched for marks that run `scale` times as fast as they should.
pub(super) struct Seeker<'a> {
    narrow: &'a Narrow,
    scale: f64,
    /// Only the range of the marks.
    samples: Vec<f64>,
    /// Likeness at each sample.
    alike: Vec<f64>,
}

impl<'a> Seeker<'a> {
    /// Compares every place with the chirp.
    pub fn new(narrow: &'a Narrow, scale: f64) -> Seeker<'a> {
        let chirp = sync(narrow.rate_hz / scale);
        let (only, n) = narrow.marks_only(chirp.len(), scale);
        let sought = to_frequency(chirp.iter().copied(), n);
        let product = only.iter().zip(&sought).map(|(x, s)| x * s.conj()).collect();
        let correlation = narrow.back(product, n);
        let samples = narrow.back(only, n);
        let own: f64 = chirp.iter().map(|x| x * x).sum();
        let mut energy_before = vec![0.0];
        let mut sum = 0.0;
        for x in &samples {
            sum += x * x;
            energy_before.push(sum);
        }
        // A stretch that is silent but for rounding is like nothing.
        let floor = 1e-12 * sum / samples.len().max(1) as f64 * chirp.len() as f64;
        let alike = correlation
            .iter()
            .enumerate()
            .map(|(i, c)| {
                let energy = energy_before[(i + chirp.len()).min(samples.len())] - energy_before[i];
                if energy > floor { c.abs() / (own * energy).sqrt() } else { 0.0 }
            })
            .collect();
        Seeker { narrow, scale, samples, alike }
    }

    /// The greatest likeness anywhere.
    pub fn best(&self) -> f64 {
        self.alike.iter().copied().fold(0.0, f64::max)
    }

    /// Places that are most alike, in order of time: none within a mark's chirp of a better one.
    pub fn candidates(&self) -> Vec<Candidate> {
        let apart = (SYNC_S / self.scale * self.narrow.rate_hz) as usize;
        let mut places: Vec<usize> = (0..self.alike.len())
            .filter(|i| self.alike[*i] >= LEAST_ALIKE)
            .filter(|i| {
                let near = &self.alike[i.saturating_sub(2)..(i + 3).min(self.alike.len())];
                near.iter().all(|a| *a <= self.alike[*i])
            })
            .collect();
        places.sort_by(|a, b| self.alike[*b].total_cmp(&self.alike[*a]));
        let mut kept: Vec<usize> = Vec::new();
        for place in places {
            if kept.len() < MOST_CANDIDATES && kept.iter().all(|k| k.abs_diff(place) >= apart) {
                kept.push(place);
            }
        }
        kept.sort_unstable();
        let candidate = |i: usize| Candidate { at_s: i as f64 / self.narrow.rate_hz, alike: self.alike[i] };
        kept.into_iter().map(candidate).collect()
    }

    /// Reads the code behind a candidate.
    pub fn read(&self, candidate: Candidate, code: u16) -> Read {
        let rate_hz = self.narrow.rate_hz / self.scale;
        let chirps = [bit_chirp(rate_hz, false), bit_chirp(rate_hz, true)];
        if candidate.at_s + Mark::SECONDS / self.scale > self.narrow.seconds() {
            return Read::Nothing;
        }
        let start = candidate.at_s * self.narrow.rate_hz;
        let leeway = (BIT_LEEWAY_S * rate_hz).ceil() as i64;
        let strength = |at: i64, chirp: &[f64]| {
            let most = (-leeway..=leeway).map(|shift| {
                let first = at + shift;
                let product = |(i, c): (usize, &f64)| {
                    let sample = usize::try_from(first + i as i64).ok().and_then(|i| self.samples.get(i));
                    c * sample.copied().unwrap_or(0.0)
                };
                chirp.iter().enumerate().map(product).sum::<f64>().abs()
            });
            most.fold(0.0, f64::max)
        };
        let soft: [f64; N_BITS] = std::array::from_fn(|i| {
            let at = (start + Mark::bit_at_s(i) * rate_hz).round() as i64;
            let [down, up] = [strength(at, &chirps[0]).powi(2), strength(at, &chirps[1]).powi(2)];
            if up + down > 0.0 { (up - down) / (up + down) } else { 0.0 }
        });
        let clear = soft.iter().map(|s| s.abs()).sum::<f64>() / N_BITS as f64 >= CLEAR;
        if let Some(mark) = Mark::of_bits(&soft.map(|s| s > 0.0)).filter(|_| clear) {
            return if mark.code == code { Read::Ours(mark.role) } else { Read::Other(mark.code) };
        }
        let agrees = |role: Role| {
            let wanted = Mark { code, role }.bits();
            soft.iter().zip(wanted).map(|(s, bit)| if bit { *s } else { -s }).sum::<f64>() / N_BITS as f64
        };
        let (start, end) = (agrees(Role::Start), agrees(Role::End));
        if start.max(end) < AGREES {
            Read::Nothing
        } else if start > end {
            Read::Ours(Role::Start)
        } else {
            Read::Ours(Role::End)
        }
    }
}
