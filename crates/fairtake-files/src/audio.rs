//! An audio file opened for reading, and one of its channels as `Samples`. Kinds are told by content, not by ending.

use crate::compressed;
use crate::error::{AudioError, AudioProblem};
use crate::hash::sha256;
use crate::overheard::Overheard;
use crate::wav::{self, Layout, Metadata};
use fairtake_compare::{FileHash, ReadError, Samples, StoredAs};
use std::cell::RefCell;
use std::fs::File;
use std::os::unix::fs::FileExt;
use std::path::{Path, PathBuf};
use std::sync::{Arc, OnceLock};

/// Bytes fetched at once, so that decoding stays in the cache; a frame larger than this is fetched alone.
const STRETCH_BYTES: usize = 1 << 16;

thread_local! {
    /// Room for a stretch, kept from one read to the next.
    static STRETCH: RefCell<Vec<u8>> = const { RefCell::new(Vec::new()) };
}

/// An audio file. Opening a WAVE file reads the header only; other kinds are decoded whole.
#[derive(Debug, Clone)]
pub struct AudioFile {
    inner: Arc<Inner>,
}

#[derive(Debug)]
struct Inner {
    name: String,
    path: PathBuf,
    file: File,
    layout: Layout,
    format: String,
    bits: Option<u16>,
    lossy: bool,
    /// True where `file` is not the one at `path`, but what was decoded from it.
    decoded: bool,
    /// Hash of a file that is found while it is read, where that was asked for.
    overheard: OnceLock<Overheard>,
}

/// One channel; cheap to clone, may be read by several threads at once.
#[derive(Debug, Clone)]
pub struct ChannelSamples {
    inner: Arc<Inner>,
    channel_idx: usize,
}

impl AudioFile {
    /// Opens a file and checks its header.
    ///
    /// # Errors
    /// See [`AudioProblem`].
    pub fn open(path: &Path) -> Result<AudioFile, AudioError> {
        let name = path.display().to_string();
        let fail = |problem| AudioError { file: name.clone(), problem };
        let about = std::fs::metadata(path).map_err(|e| match e.kind() {
            std::io::ErrorKind::NotFound => fail(AudioProblem::NotFound),
            _ => fail(AudioProblem::System(e.to_string())),
        })?;
        // Asked before opening: opening a named pipe would wait for a writer.
        if !about.is_file() {
            return Err(fail(AudioProblem::NotAFile));
        }
        let file = File::open(path).map_err(|e| fail(AudioProblem::System(e.to_string())))?;
        let overheard = OnceLock::new();
        let inner = match wav::read_layout(&file) {
            Ok(layout) => {
                let container = if layout.container == "RIFF" { "WAV" } else { layout.container };
                let format = format!("{container} {}", layout.coding.name());
                let bits = Some(8 * layout.coding.n_bytes() as u16);
                let (path, lossy, decoded) = (path.into(), false, false);
                Inner { name, path, file, layout, format, bits, lossy, decoded, overheard }
            }
            Err(AudioProblem::NotAudio) => {
                let d = compressed::decode(file).map_err(fail)?;
                let (file, layout, format) = (d.file, d.layout, d.format);
                let (path, bits, lossy, decoded) = (path.into(), d.bits, d.lossy, true);
                Inner { name, path, file, layout, format, bits, lossy, decoded, overheard }
            }
            Err(problem) => return Err(fail(problem)),
        };
        Ok(AudioFile { inner: Arc::new(inner) })
    }

    /// Number of channels, 1 or more.
    pub fn n_channels(&self) -> u16 {
        self.inner.layout.n_channels
    }

    /// Sampling rate in Hz, 8000..=384000.
    pub fn rate_hz(&self) -> u32 {
        self.inner.layout.rate_hz
    }

    /// Length in frames, 1 or more.
    pub fn frames(&self) -> u64 {
        self.inner.layout.frames
    }

    /// Bits per sample as stored; `None` for lossy codings.
    pub fn bits(&self) -> Option<u16> {
        self.inner.bits
    }

    /// What the file tells besides its samples.
    pub fn metadata(&self) -> &Metadata {
        &self.inner.layout.metadata
    }

    /// A channel, counted from 1.
    ///
    /// # Errors
    /// When the file has no such channel.
    pub fn channel(&self, channel: u16) -> Result<ChannelSamples, AudioError> {
        let n_channels = self.n_channels();
        if channel == 0 || channel > n_channels {
            let problem = AudioProblem::NoSuchChannel { asked: channel, n_channels };
            return Err(AudioError { file: self.inner.name.clone(), problem });
        }
        Ok(ChannelSamples { inner: Arc::clone(&self.inner), channel_idx: usize::from(channel) - 1 })
    }

    /// How the samples are stored. Hashes the whole file; where [`sha256`] runs elsewhere, use
    /// [`AudioFile::stored_as_with`].
    ///
    /// # Errors
    /// When the file can no longer be read.
    pub fn stored_as(&self) -> Result<StoredAs, AudioError> {
        Ok(self.stored_as_with(sha256(&self.inner.path)?))
    }

    /// How the samples are stored, with a hash that becomes known by reading all of a channel in order and then
    /// [`Samples::finish`]. One reading of the file serves both; files that had to be decoded are hashed now.
    ///
    /// # Errors
    /// When the file can no longer be read.
    pub fn stored_as_once_read(&self) -> Result<StoredAs, AudioError> {
        if self.inner.decoded {
            return self.stored_as();
        }
        Ok(self.stored_as_with(self.inner.overheard.get_or_init(Overheard::default).hash()))
    }

    /// How the samples are stored, with a hash that is known already, or will be.
    pub fn stored_as_with(&self, sha256: impl Into<FileHash>) -> StoredAs {
        let Inner { format, bits, lossy, .. } = &*self.inner;
        StoredAs { format: format.clone(), bits: *bits, lossy: *lossy, sha256: sha256.into() }
    }
}

impl Samples for ChannelSamples {
    fn rate_hz(&self) -> u32 {
        self.inner.layout.rate_hz
    }

    fn frames(&self) -> u64 {
        self.inner.layout.frames
    }

    fn read(&self, start: u64, out: &mut [f32]) -> Result<usize, ReadError> {
        STRETCH.with_borrow_mut(|room| self.read_by(room, start, out))
    }

    fn finish(&self) -> Result<(), ReadError> {
        let Some(overheard) = self.inner.overheard.get() else { return Ok(()) };
        overheard.finish(&self.inner.file).map_err(|e| {
            self.fail(
                format!("cannot be read to its end: {e}"),
                "the file changed or the medium failed; copy the file again",
            )
        })
    }
}

impl ChannelSamples {
    /// Reads by way of `room`, which holds bytes of no meaning.
    fn read_by(&self, room: &mut Vec<u8>, start: u64, out: &mut [f32]) -> Result<usize, ReadError> {
        let layout = &self.inner.layout;
        let frame_bytes = layout.frame_bytes();
        let left = usize::try_from(layout.frames.saturating_sub(start)).unwrap_or(usize::MAX);
        let n_frames = out.len().min(left);
        let stretch_frames = (STRETCH_BYTES / frame_bytes).max(1).min(n_frames.max(1));
        if room.len() < stretch_frames * frame_bytes {
            room.resize(stretch_frames * frame_bytes, 0);
        }
        let mut at = start;
        for part in out[..n_frames].chunks_mut(stretch_frames) {
            let bytes = &mut room[..part.len() * frame_bytes];
            let offset = layout.data_start + at * frame_bytes as u64;
            let unreadable = |e: std::io::Error| {
                self.fail(
                    format!("frame {at} cannot be read: {e}"),
                    "the file changed or the medium failed; copy the file again",
                )
            };
            self.inner.file.read_exact_at(bytes, offset).map_err(unreadable)?;
            if let Some(overheard) = self.inner.overheard.get() {
                overheard.hear(&self.inner.file, layout.data_start, offset, bytes).map_err(unreadable)?;
            }
            let n_channels = usize::from(layout.n_channels);
            if let Some(idx) = wav::decode_channel(layout.coding, n_channels, self.channel_idx, bytes, part) {
                let (frame, channel) = (at + idx as u64, self.channel_idx + 1);
                return Err(self.fail(
                    format!("frame {frame} of channel {channel} is not a finite number"),
                    "export the take again; a plug-in or an edit left the sample broken",
                ));
            }
            at += part.len() as u64;
        }
        Ok(n_frames)
    }

    fn fail(&self, what: String, hint: &str) -> ReadError {
        ReadError { file: self.inner.name.clone(), what, hint: hint.into() }
    }
}
