//! The marks at both ends: a chirp by which they are found to a fraction of a sample, and a short checked code.
//!
//! A bit is a short chirp, up for 1 and down for 0. Chirps are told apart in a reverberant room, through any loudspeaker that
//! plays the middle of the range, and at a tenth of the level of what follows. The chirp that is sought is the same at both ends, so
//! that what a drifting clock does to it is the same too.

use std::f64::consts::{PI, TAU};

/// Range of the sought chirp in Hz.
const SYNC_HZ: (f64, f64) = (500.0, 4000.0);
/// Its length in seconds.
pub(crate) const SYNC_S: f64 = 0.25;
/// Range of the chirp of a bit in Hz.
const BIT_HZ: (f64, f64) = (700.0, 3500.0);
/// Its length in seconds.
const BIT_S: f64 = 0.028;
/// From one bit to the next in seconds.
const BIT_PERIOD_S: f64 = 0.034;
/// Silence between the sought chirp and the first bit, in seconds.
const SYNC_GAP_S: f64 = 0.05;
/// Bits of the code, the role, and the check.
pub(crate) const N_BITS: usize = 16 + 1 + 8;
/// Fade of every chirp at both ends, as a share of its length.
const FADED_SHARE: f64 = 0.2;

/// Which end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Role {
    /// Before the first pass.
    Start,
    /// After the last pause.
    End,
}

/// A mark: which excitation, which end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Mark {
    /// Code of the excitation.
    pub code: u16,
    /// Which end.
    pub role: Role,
}

impl Mark {
    /// Length of any mark in seconds.
    pub const SECONDS: f64 = SYNC_S + SYNC_GAP_S + N_BITS as f64 * BIT_PERIOD_S;

    /// When a bit begins, in seconds from the beginning of the mark.
    pub fn bit_at_s(idx: usize) -> f64 {
        SYNC_S + SYNC_GAP_S + idx as f64 * BIT_PERIOD_S
    }

    /// Its bits: code, role, check.
    pub fn bits(self) -> [bool; N_BITS] {
        let checked = (u32::from(self.code) << 1) | u32::from(self.role == Role::End);
        let word = (checked << 8) | u32::from(check_of(checked));
        std::array::from_fn(|i| word >> (N_BITS - 1 - i) & 1 == 1)
    }

    /// The mark of these bits; `None` where their check fails.
    pub fn of_bits(bits: &[bool; N_BITS]) -> Option<Mark> {
        let word = bits.iter().fold(0u32, |word, bit| (word << 1) | u32::from(*bit));
        let checked = word >> 8;
        let mark = Mark {
            code: (checked >> 1) as u16,
            role: if checked & 1 == 1 { Role::End } else { Role::Start },
        };
        (u32::from(check_of(checked)) == word & 0xff).then_some(mark)
    }

    /// Its samples of peak amplitude 1.
    pub fn samples(self, rate_hz: f64) -> Vec<f64> {
        let mut out = vec![0.0; (Mark::SECONDS * rate_hz).ceil() as usize];
        let mut put = |at_s: f64, chirp: Vec<f64>| {
            let at = (at_s * rate_hz).round() as usize;
            out[at..at + chirp.len()].copy_from_slice(&chirp);
        };
        put(0.0, sync(rate_hz));
        for (i, bit) in self.bits().into_iter().enumerate() {
            put(Mark::bit_at_s(i), bit_chirp(rate_hz, bit));
        }
        out
    }
}

/// The chirp that is sought.
pub(crate) fn sync(rate_hz: f64) -> Vec<f64> {
    chirp(rate_hz, SYNC_S, SYNC_HZ)
}

/// The chirp of a bit.
pub(crate) fn bit_chirp(rate_hz: f64, bit: bool) -> Vec<f64> {
    chirp(rate_hz, BIT_S, if bit { BIT_HZ } else { (BIT_HZ.1, BIT_HZ.0) })
}

/// A sine whose frequency goes evenly from one to the other, of peak amplitude 1, faded at both ends.
fn chirp(rate_hz: f64, seconds: f64, (from_hz, to_hz): (f64, f64)) -> Vec<f64> {
    let n = (seconds * rate_hz).round() as usize;
    let faded_s = FADED_SHARE * seconds;
    (0..n)
        .map(|i| {
            let t = i as f64 / rate_hz;
            let edge = (t.min(seconds - t) / faded_s).min(1.0);
            let phase = TAU * (from_hz * t + 0.5 * (to_hz - from_hz) / seconds * t * t);
            (0.5 - 0.5 * (PI * edge).cos()) * phase.sin()
        })
        .collect()
}

/// Sixteen bits of a text: FNV-1a of 64 bits, folded.
pub(super) fn code_of(text: &str) -> u16 {
    let hash = text.bytes().fold(0xcbf2_9ce4_8422_2325u64, |hash, byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3)
    });
    (hash ^ (hash >> 16) ^ (hash >> 32) ^ (hash >> 48)) as u16
}

/// Check of the seventeen bits of code and role: the remainder by x⁸ + x² + x + 1, begun with ones.
fn check_of(checked: u32) -> u8 {
    (0..17).rev().fold(0xffu8, |rest, i| {
        let bit = (checked >> i & 1) as u8;
        let shifted = rest << 1;
        if (rest >> 7) ^ bit == 1 { shifted ^ 0x07 } else { shifted }
    })
}
