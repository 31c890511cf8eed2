//! RIFF, RF64 and BW64 WAVE files: where the samples lie, how they are decoded, and how files are written.
//!
//! # Source
//! EBU Tech 3285 (`bext`), EBU Tech 3306 and ITU-R BS.2088 (`ds64`).

mod decode;
mod dithered;
mod header;
mod metadata;
mod write;

pub use decode::decode_channel;
pub use dithered::dithered_bytes;
pub use header::{Coding, Layout, Medium, read_layout};
pub use metadata::{Bext, CueMarker, Metadata};
pub use write::{Replace, StoreAs, WavSpec, WavWriter};

/// A clip as a WAV file in memory: one channel, 32-bit float, so that nothing is rounded twice.
///
/// # Source
/// Chunk layout: `reference/13_wave_layouts.csv`; format tag 3 is IEEE float.
pub fn clip_bytes(rate_hz: u32, samples: &[f32]) -> Vec<u8> {
    let n_bytes = 4 * samples.len() as u32;
    let mut out = Vec::with_capacity(58 + n_bytes as usize);
    out.extend_from_slice(b"RIFF");
    out.extend_from_slice(&(50 + n_bytes).to_le_bytes());
    out.extend_from_slice(b"WAVEfmt ");
    out.extend_from_slice(&18u32.to_le_bytes());
    out.extend_from_slice(&3u16.to_le_bytes());
    out.extend_from_slice(&1u16.to_le_bytes());
    out.extend_from_slice(&rate_hz.to_le_bytes());
    out.extend_from_slice(&(4 * rate_hz).to_le_bytes());
    out.extend_from_slice(&4u16.to_le_bytes());
    out.extend_from_slice(&32u16.to_le_bytes());
    out.extend_from_slice(&0u16.to_le_bytes());
    // A coding that is not plain integers also tells its length in frames.
    out.extend_from_slice(b"fact");
    out.extend_from_slice(&4u32.to_le_bytes());
    out.extend_from_slice(&(samples.len() as u32).to_le_bytes());
    out.extend_from_slice(b"data");
    out.extend_from_slice(&n_bytes.to_le_bytes());
    samples.iter().for_each(|x| out.extend_from_slice(&x.to_le_bytes()));
    out
}
