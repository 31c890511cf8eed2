//! An excerpt of a blind test as a file in memory: 24-bit integers with a dither of its own, and nothing else in it.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

/// Bytes before the samples.
const HEAD: usize = 44;

/// A WAV file of one channel in 24-bit integers, with triangular dither of two steps peak to peak that is drawn from `seed`:
/// the same seed gives the same bytes, another one other bytes everywhere. Its length depends on the number of samples
/// alone; the header holds what is needed to play it.
///
/// # Source
/// Chunk layout: `reference/13_wave_layouts.csv`. Dither: Lipshitz, Wannamaker and Vanderkooy (1992), "Quantization and
/// Dither: A Theoretical Survey", JAES 40 (from memory).
pub fn dithered_bytes(rate_hz: u32, samples: &[f32], seed: [u8; 32]) -> Vec<u8> {
    const FULL: f64 = 8_388_608.0;
    let n_bytes = 3 * samples.len() as u32;
    // A chunk of odd length is followed by a byte.
    let pad = n_bytes % 2;
    let mut out = Vec::with_capacity(HEAD + n_bytes as usize + 1);
    out.extend_from_slice(b"RIFF");
    out.extend_from_slice(&(36 + n_bytes + pad).to_le_bytes());
    out.extend_from_slice(b"WAVEfmt ");
    out.extend_from_slice(&16u32.to_le_bytes());
    out.extend_from_slice(&1u16.to_le_bytes());
    out.extend_from_slice(&1u16.to_le_bytes());
    out.extend_from_slice(&rate_hz.to_le_bytes());
    out.extend_from_slice(&(3 * rate_hz).to_le_bytes());
    out.extend_from_slice(&3u16.to_le_bytes());
    out.extend_from_slice(&24u16.to_le_bytes());
    out.extend_from_slice(b"data");
    out.extend_from_slice(&n_bytes.to_le_bytes());
    let mut rng = ChaCha8Rng::from_seed(seed);
    for x in samples {
        let drawn = rng.next_u64();
        let (one, other) = ((drawn >> 32) as f64, (drawn & 0xffff_ffff) as f64);
        let dither = (one - other) / 4_294_967_296.0;
        let step = (f64::from(*x) * FULL + dither).round().clamp(-FULL, FULL - 1.0) as i32;
        out.extend_from_slice(&step.to_le_bytes()[..3]);
    }
    out.extend(std::iter::repeat_n(0u8, pad as usize));
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wav::{Coding, decode_channel, read_layout};

    fn decoded(bytes: &[u8]) -> Vec<f32> {
        let layout = read_layout(bytes).expect("a WAV file");
        assert_eq!((layout.coding, layout.n_channels, layout.rate_hz), (Coding::Int24, 1, 48_000));
        let mut out = vec![0f32; layout.frames as usize];
        decode_channel(layout.coding, 1, 0, &bytes[layout.data_start as usize..], &mut out);
        out
    }

    #[test]
    fn it_is_read_back_within_its_dither_and_every_rendering_differs_in_bytes_but_not_in_length() {
        for n in [999usize, 1000] {
            let samples: Vec<f32> = (0..n).map(|i| 0.3 * (i as f32 * 0.05).sin()).collect();
            let (one, other) =
                (dithered_bytes(48_000, &samples, [1; 32]), dithered_bytes(48_000, &samples, [2; 32]));
            assert_eq!(one.len(), other.len());
            assert_eq!(one.len() % 2, 0);
            assert_eq!(one[..HEAD], other[..HEAD]);
            assert_eq!(one, dithered_bytes(48_000, &samples, [1; 32]));
            let n_differ = one.iter().zip(&other).filter(|(a, b)| a != b).count();
            assert!(n_differ > n / 3, "{n_differ} of {n} samples differ");
            // A step and a half: the dither's whole step, and half a step of rounding.
            let worst = decoded(&one).iter().zip(&samples).map(|(x, y)| (x - y).abs()).fold(0f32, f32::max);
            assert!(worst <= 1.51 / 8_388_608.0, "{worst}");
        }
    }

    #[test]
    fn full_scale_stays_within_full_scale() {
        let found = decoded(&dithered_bytes(48_000, &[1.0, -1.0, 1.5, -1.5], [3; 32]));
        assert!(
            found.iter().all(|x| (-1.0..=1.0).contains(x)) && found[2] > 0.999 && found[3] == -1.0,
            "{found:?}"
        );
    }
}
