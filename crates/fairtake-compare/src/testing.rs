//! Takes in memory, for tests.

use crate::{ChainEntry, ReadError, Role, Samples, StoredAs, Take};

/// Sampling rate of what is made.
pub(crate) const RATE_HZ: u32 = 16_000;

/// Samples in memory.
struct Made(u32, Vec<f32>);

impl Samples for Made {
    fn rate_hz(&self) -> u32 {
        self.0
    }
    fn frames(&self) -> u64 {
        self.1.len() as u64
    }
    fn read(&self, start: u64, out: &mut [f32]) -> Result<usize, ReadError> {
        let left = &self.1[(start as usize).min(self.1.len())..];
        let n = out.len().min(left.len());
        out[..n].copy_from_slice(&left[..n]);
        Ok(n)
    }
}

/// Bursts of noise that die away, twelve of them after a second of quiet, of a strength that varies.
pub(crate) fn hits(seed: u64, gain: f32) -> Vec<f32> {
    let mut state = seed;
    let mut noise = move || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 40) as f32 / (1u64 << 23) as f32 - 1.0
    };
    let second = RATE_HZ as usize;
    let mut out: Vec<f32> = (0..14 * second).map(|_| noise() * 1e-4).collect();
    for hit in 0..12 {
        let strength = gain * (0.2 + 0.02 * (hit % 4) as f32);
        for i in 0..second / 2 {
            out[(hit + 1) * second + i] += strength * noise() * (-(i as f32) / 800.0).exp();
        }
    }
    out
}

/// A take in memory.
pub(crate) fn take(mic: &str, performance: u32, samples: Vec<f32>) -> Take {
    take_at(RATE_HZ, mic, performance, samples)
}

/// A take in memory at another sampling rate.
pub(crate) fn take_at(rate_hz: u32, mic: &str, performance: u32, samples: Vec<f32>) -> Take {
    Take {
        id: format!("{mic}:{performance}"),
        file: format!("{mic}-{performance}.wav"),
        channel: 1,
        mic: mic.into(),
        source: "drum".into(),
        placement: 1,
        performance,
        order: None,
        position: None,
        role: Role::Compared,
        chain: ChainEntry::default(),
        hand_set_events_s: None,
        keep_although_unfair: false,
        stored_as: StoredAs {
            format: "made".into(),
            bits: Some(24),
            lossy: false,
            sha256: format!("{mic}{performance}").into(),
        },
        samples: Box::new(Made(rate_hz, samples)),
    }
}
