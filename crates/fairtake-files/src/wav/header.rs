//! Finds the chunks of a WAVE file in any order and checks them against each other and the file.

use super::metadata::{Gathered, Metadata};
use crate::error::AudioProblem;
use std::fs::File;
use std::os::unix::fs::FileExt;

/// A file of a few bytes per chunk could hold millions; no honest one comes near this.
const MOST_CHUNKS: usize = 10_000;

/// Bytes that can be read at any place.
pub trait Medium {
    /// Length in bytes.
    ///
    /// # Errors
    /// As the system words it.
    fn n_bytes(&self) -> std::io::Result<u64>;
    /// Fills `out` from `offset` on.
    ///
    /// # Errors
    /// When there are fewer bytes, or the medium fails.
    fn read_exactly(&self, offset: u64, out: &mut [u8]) -> std::io::Result<()>;
}

impl Medium for File {
    fn n_bytes(&self) -> std::io::Result<u64> {
        Ok(self.metadata()?.len())
    }
    fn read_exactly(&self, offset: u64, out: &mut [u8]) -> std::io::Result<()> {
        self.read_exact_at(out, offset)
    }
}

impl Medium for [u8] {
    fn n_bytes(&self) -> std::io::Result<u64> {
        Ok(self.len() as u64)
    }
    fn read_exactly(&self, offset: u64, out: &mut [u8]) -> std::io::Result<()> {
        let start = usize::try_from(offset).unwrap_or(usize::MAX);
        let found = start.checked_add(out.len()).and_then(|end| self.get(start..end));
        out.copy_from_slice(found.ok_or(std::io::ErrorKind::UnexpectedEof)?);
        Ok(())
    }
}

/// How one sample is stored, little-endian.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Coding {
    /// 8-bit, 128 is silence.
    Unsigned8,
    /// 16-bit integer.
    Int16,
    /// 24-bit integer.
    Int24,
    /// 32-bit integer.
    Int32,
    /// 32-bit float.
    Float32,
    /// 64-bit float.
    Float64,
}

impl Coding {
    /// Bytes of one sample.
    pub fn n_bytes(self) -> usize {
        match self {
            Coding::Unsigned8 => 1,
            Coding::Int16 => 2,
            Coding::Int24 => 3,
            Coding::Int32 | Coding::Float32 => 4,
            Coding::Float64 => 8,
        }
    }

    /// Plain name, for example `24-bit integer`.
    pub fn name(self) -> &'static str {
        match self {
            Coding::Unsigned8 => "8-bit integer",
            Coding::Int16 => "16-bit integer",
            Coding::Int24 => "24-bit integer",
            Coding::Int32 => "32-bit integer",
            Coding::Float32 => "32-bit float",
            Coding::Float64 => "64-bit float",
        }
    }
}

/// Where the samples lie.
#[derive(Debug, Clone, PartialEq)]
pub struct Layout {
    /// `RIFF`, `RF64` or `BW64`.
    pub container: &'static str,
    /// How a sample is stored.
    pub coding: Coding,
    /// Interleaved channels, 1 or more.
    pub n_channels: u16,
    /// Sampling rate in Hz, 8000..=384000.
    pub rate_hz: u32,
    /// Offset of the first frame in bytes.
    pub data_start: u64,
    /// Whole frames.
    pub frames: u64,
    /// What else the file tells.
    pub metadata: Metadata,
}

impl Layout {
    /// Bytes of one frame.
    pub fn frame_bytes(&self) -> usize {
        usize::from(self.n_channels) * self.coding.n_bytes()
    }
}

/// What was met on the way through the chunks.
#[derive(Default)]
struct Found {
    ds64_data_bytes: Option<u64>,
    format: Option<(Coding, u16, u32)>,
    /// Start, announced length and length found.
    data: Option<(u64, u64, u64)>,
    gathered: Gathered,
}

/// Reads the header of a WAVE file.
///
/// # Errors
/// When it is not one, contradicts itself, announces more than the file holds, or is of a kind not read here.
pub fn read_layout<M: Medium + ?Sized>(medium: &M) -> Result<Layout, AudioProblem> {
    let file_bytes = medium.n_bytes().map_err(system)?;
    if file_bytes == 0 {
        return Err(AudioProblem::Empty);
    }
    if file_bytes < 12 {
        return Err(AudioProblem::NotAudio);
    }
    let start: [u8; 12] = fixed(medium, 0)?;
    let container = match &start[..4] {
        b"RIFF" => "RIFF",
        b"RF64" => "RF64",
        b"BW64" => "BW64",
        _ => return Err(AudioProblem::NotAudio),
    };
    if &start[8..] != b"WAVE" {
        return Err(AudioProblem::NotAudio);
    }
    let found = walk(medium, file_bytes, container)?;
    finish(found, container)
}

fn walk<M: Medium + ?Sized>(medium: &M, file_bytes: u64, container: &str) -> Result<Found, AudioProblem> {
    let mut found = Found::default();
    let mut offset = 12u64;
    for _ in 0..MOST_CHUNKS {
        if file_bytes.saturating_sub(offset) < 8 {
            return Ok(found);
        }
        let head: [u8; 8] = fixed(medium, offset)?;
        let id: [u8; 4] = [head[0], head[1], head[2], head[3]];
        let body = offset + 8;
        let mut announced = u64::from(u32_at(&head, 4));
        if &id == b"data" && announced == u64::from(u32::MAX) && container != "RIFF" {
            announced = found.ds64_data_bytes.ok_or_else(|| {
                AudioProblem::Header(format!("{container} without a ds64 chunk before data"))
            })?;
        }
        let held = announced.min(file_bytes - body);
        match &id {
            b"data" if found.data.is_some() => {
                return Err(AudioProblem::Header("two data chunks".into()));
            }
            b"data" => found.data = Some((body, announced, held)),
            b"fmt " if found.format.is_some() => {
                return Err(AudioProblem::Header("two fmt chunks".into()));
            }
            b"fmt " => found.format = Some(read_format(medium, body, held)?),
            b"ds64" if held >= 16 => {
                let ds64: [u8; 16] = fixed(medium, body)?;
                found.ds64_data_bytes = Some(u64_at(&ds64, 8));
            }
            _ => found.gathered.read_chunk(&id, medium, body, held)?,
        }
        // An odd chunk is followed by a byte that its size does not count.
        let end = body.checked_add(announced).filter(|end| *end <= file_bytes);
        let Some(end) = end else {
            return if found.data.is_none() || &id == b"data" || TRAILING_CHUNKS.contains(&&id) {
                Ok(found)
            } else {
                Err(no_chunk(file_bytes - offset))
            };
        };
        offset = (end + announced % 2).min(file_bytes);
        if found.data.is_some() {
            match after_samples(medium, (end, offset), file_bytes)? {
                Some(next) => offset = next,
                None => return Ok(found),
            }
        }
    }
    Err(AudioProblem::Header(format!("more than {MOST_CHUNKS} chunks")))
}

/// Chunks that may be cut off behind samples that are complete. Of others it cannot be told whether they are samples.
const TRAILING_CHUNKS: [&[u8; 4]; 12] = [
    b"LIST", b"bext", b"iXML", b"cue ", b"id3 ", b"ID3 ", b"_PMX", b"JUNK", b"PAD ", b"FLLR", b"axml",
    b"chna",
];

/// More than this is not searched for anything but zeros.
const MOST_PADDING_BYTES: u64 = 1 << 20;

/// Where the next chunk begins behind samples, `None` where only zeros follow. A recorder that lost power leaves a
/// length that is too small, and more samples behind it: they would be missing without a word.
fn after_samples<M: Medium + ?Sized>(
    medium: &M,
    (end, padded): (u64, u64),
    file_bytes: u64,
) -> Result<Option<u64>, AudioProblem> {
    // Some writers forget the byte behind an odd chunk.
    for start in [padded, end] {
        if file_bytes - start < 8 {
            return Ok(None);
        }
        let id: [u8; 4] = fixed(medium, start)?;
        if file_bytes - start == 128 && &id[..3] == b"TAG" {
            return Ok(None);
        }
        if id.iter().all(|b| (b' '..=b'~').contains(b)) {
            return Ok(Some(start));
        }
    }
    let mut rest = vec![0u8; (file_bytes - padded).min(MOST_PADDING_BYTES) as usize];
    medium.read_exactly(padded, &mut rest).map_err(system)?;
    if rest.iter().all(|b| *b == 0) {
        return Ok(None);
    }
    Err(no_chunk(file_bytes - padded))
}

fn no_chunk(n_bytes: u64) -> AudioProblem {
    AudioProblem::Header(format!("{n_bytes} bytes that are no chunk follow the announced samples"))
}

fn finish(found: Found, container: &'static str) -> Result<Layout, AudioProblem> {
    let (data_start, announced, held) =
        found.data.ok_or_else(|| AudioProblem::Header("no data chunk".into()))?;
    // Before the format: where the file is cut off, later chunks are missing for that reason.
    if held < announced {
        return Err(AudioProblem::CutOff { header_bytes: announced, found_bytes: held });
    }
    let (coding, n_channels, rate_hz) =
        found.format.ok_or_else(|| AudioProblem::Header("no fmt chunk".into()))?;
    let frame_bytes = u64::from(n_channels) * coding.n_bytes() as u64;
    if announced % frame_bytes != 0 {
        return Err(AudioProblem::Header(format!(
            "{announced} bytes of samples are no whole number of frames of {frame_bytes} bytes"
        )));
    }
    if announced == 0 {
        return Err(AudioProblem::Header("0 frames of samples".into()));
    }
    let frames = announced / frame_bytes;
    Ok(Layout {
        container,
        coding,
        n_channels,
        rate_hz,
        data_start,
        frames,
        metadata: found.gathered.finish(),
    })
}

/// Ends of the identifiers of sub-formats: of any plain coding, and of its form for ambisonics.
///
/// # Source
/// From memory: KSDATAFORMAT_SUBTYPE_PCM and the B-format extension; the first agrees with files of two writers.
const SUB_FORMATS: [[u8; 14]; 2] = [
    [0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xAA, 0, 0x38, 0x9B, 0x71],
    [0, 0, 0x21, 0x07, 0xD3, 0x11, 0x86, 0x44, 0xC8, 0xC1, 0xCA, 0, 0, 0],
];

fn read_format<M: Medium + ?Sized>(
    medium: &M,
    body: u64,
    held: u64,
) -> Result<(Coding, u16, u32), AudioProblem> {
    if held < 16 {
        return Err(AudioProblem::Header(format!("fmt chunk of {held} bytes, 16 are needed")));
    }
    let f: [u8; 16] = fixed(medium, body)?;
    let (mut tag, n_channels, rate_hz) = (u16_at(&f, 0), u16_at(&f, 2), u32_at(&f, 4));
    let (frame_bytes, bits) = (u16_at(&f, 12), u16_at(&f, 14));
    if tag == 0xFFFE {
        if held < 40 {
            return Err(AudioProblem::Header(format!("extensible fmt chunk of {held} bytes, 40 are needed")));
        }
        let more: [u8; 24] = fixed(medium, body + 16)?;
        // The first two bytes of the sub-format are the tag of the plain form where the others are these.
        if !SUB_FORMATS.iter().any(|known| more[10..] == known[..]) {
            return Err(AudioProblem::Unsupported("an extensible WAVE coding that is not known".into()));
        }
        tag = u16_at(&more, 8);
    }
    if n_channels == 0 {
        return Err(AudioProblem::NoChannels);
    }
    if !(8_000..=384_000).contains(&rate_hz) {
        return Err(AudioProblem::Rate(rate_hz));
    }
    let coding = match (tag, bits) {
        (1, 8) => Coding::Unsigned8,
        (1, 16) => Coding::Int16,
        (1, 24) => Coding::Int24,
        (1, 32) => Coding::Int32,
        (3, 32) => Coding::Float32,
        (3, 64) => Coding::Float64,
        _ => {
            return Err(AudioProblem::Unsupported(format!("WAVE coding {tag} with {bits} bits per sample")));
        }
    };
    if u64::from(frame_bytes) != u64::from(n_channels) * coding.n_bytes() as u64 {
        return Err(AudioProblem::Header(format!(
            "frames of {frame_bytes} bytes do not fit {n_channels} channels of {bits} bits"
        )));
    }
    Ok((coding, n_channels, rate_hz))
}

pub(super) fn fixed<const N: usize, M: Medium + ?Sized>(
    medium: &M,
    offset: u64,
) -> Result<[u8; N], AudioProblem> {
    let mut out = [0u8; N];
    medium.read_exactly(offset, &mut out).map_err(system)?;
    Ok(out)
}

pub(super) fn system(e: std::io::Error) -> AudioProblem {
    AudioProblem::System(e.to_string())
}

pub(super) fn u16_at(b: &[u8], at: usize) -> u16 {
    u16::from_le_bytes([b[at], b[at + 1]])
}

pub(super) fn u32_at(b: &[u8], at: usize) -> u32 {
    u32::from_le_bytes([b[at], b[at + 1], b[at + 2], b[at + 3]])
}

pub(super) fn u64_at(b: &[u8], at: usize) -> u64 {
    u64::from(u32_at(b, at)) | (u64::from(u32_at(b, at + 4)) << 32)
}
