//! One channel out of interleaved frames, as f32. The choice of coding is made once a stretch, not once a sample.

use super::header::Coding;
use fairtake_transform::{Work, widest};

/// Decodes `channel_idx` (from 0) of frames of `n_channels` in `bytes` into `out`, one sample a frame; full scale
/// is ±1. Returns the position in `out` of the first sample that is not a finite number.
///
/// Shape: `bytes` holds at least `out.len()` frames; what is beyond is not looked at.
pub fn decode_channel(
    coding: Coding,
    n_channels: usize,
    channel_idx: usize,
    bytes: &[u8],
    out: &mut [f32],
) -> Option<usize> {
    let c = (n_channels, channel_idx);
    match coding {
        Coding::Unsigned8 => each::<1>(c, bytes, out, |b| (f32::from(b[0]) - 128.0) * (1.0 / 128.0)),
        Coding::Int16 => each::<2>(c, bytes, out, |b| f32::from(i16::from_le_bytes(b)) * (1.0 / 32_768.0)),
        Coding::Int24 if n_channels == 1 => widest(MonoInt24 { bytes, out }),
        Coding::Int24 => each::<3>(c, bytes, out, |b| {
            (i32::from_le_bytes([0, b[0], b[1], b[2]]) >> 8) as f32 * (1.0 / 8_388_608.0)
        }),
        Coding::Int32 => {
            each::<4>(c, bytes, out, |b| i32::from_le_bytes(b) as f32 * (1.0 / 2_147_483_648.0));
        }
        Coding::Float32 => each::<4>(c, bytes, out, f32::from_le_bytes),
        Coding::Float64 => each::<8>(c, bytes, out, |b| f64::from_le_bytes(b) as f32),
    }
    if !matches!(coding, Coding::Float32 | Coding::Float64) {
        return None;
    }
    // One pass without a branch; only a bad stretch is searched.
    let all_finite = out.iter().fold(true, |fine, x| fine & x.is_finite());
    if all_finite { None } else { out.iter().position(|x| !x.is_finite()) }
}

/// Mono, three bytes a sample: the commonest coding, worth it.
struct MonoInt24<'a> {
    bytes: &'a [u8],
    out: &'a mut [f32],
}

impl Work for MonoInt24<'_> {
    type Out = ();

    /// Four samples at a time, which are three words.
    #[inline(always)]
    fn done(self) {
        let (fours, rest) = self.out.as_chunks_mut::<4>();
        let n = 12 * fours.len();
        for (four, twelve) in fours.iter_mut().zip(self.bytes[..n].as_chunks::<12>().0) {
            let [a, b, c] = std::array::from_fn(|i| {
                u32::from_le_bytes([twelve[4 * i], twelve[4 * i + 1], twelve[4 * i + 2], twelve[4 * i + 3]])
            });
            // The three bytes of each uppermost in a word, so that its sign is the word's.
            let words =
                [a << 8, (a >> 16 & 0xff00) | b << 16, (b >> 8 & 0x00ff_ff00) | c << 24, c & 0xffff_ff00];
            *four = words.map(|w| w as i32 as f32 * (1.0 / 2_147_483_648.0));
        }
        for (x, b) in rest.iter_mut().zip(self.bytes[n..].as_chunks::<3>().0) {
            *x = i32::from_le_bytes([0, b[0], b[1], b[2]]) as f32 * (1.0 / 2_147_483_648.0);
        }
    }
}

#[inline(always)]
fn each<const N: usize>(
    (n_channels, channel_idx): (usize, usize),
    bytes: &[u8],
    out: &mut [f32],
    convert: impl Fn([u8; N]) -> f32,
) {
    if n_channels == 1 {
        for (x, b) in out.iter_mut().zip(bytes.as_chunks::<N>().0) {
            *x = convert(*b);
        }
        return;
    }
    let first = channel_idx * N;
    for (x, frame) in out.iter_mut().zip(bytes.chunks_exact(n_channels * N)) {
        let mut b = [0u8; N];
        b.copy_from_slice(&frame[first..first + N]);
        *x = convert(b);
    }
}
