//! RIFF, RF64 and BW64 WAVE files: where the samples lie, how they are decoded, and how files are written.
//!
//! # Source
//! EBU Tech 3285 (`bext`), EBU Tech 3306 and ITU-R BS.2088 (`ds64`).

mod decode;
mod header;
mod metadata;
mod write;

pub use decode::decode_channel;
pub use header::{Coding, Layout, Medium, read_layout};
pub use metadata::{Bext, CueMarker, Metadata};
pub use write::{Replace, StoreAs, WavSpec, WavWriter};
