//! A take: one channel of one recording, by one microphone on one source at one placement.

use crate::shootout::{ChainEntry, Role};
use std::sync::{Arc, OnceLock};

/// One channel of audio that can be read in any order, without holding it in memory.
///
/// Implemented by `fairtake-files` for audio files and by the virtual studio for rendered takes.
/// Reading takes `&self` so that several threads may read at once.
pub trait Samples: Send + Sync {
    /// Sampling rate in Hz, 8000..=384000.
    fn rate_hz(&self) -> u32;

    /// Length in frames (one frame = one sample of this channel).
    fn frames(&self) -> u64;

    /// Fills `out` with the samples from frame `start` on and returns how many were written:
    /// `out.len()`, or fewer only where the take ends. Full scale is ±1.
    ///
    /// # Errors
    /// When the medium fails, or holds samples that are not finite numbers.
    fn read(&self, start: u64, out: &mut [f32]) -> Result<usize, ReadError>;

    /// Makes known what may only be known once all was read, as the hash of a file. Called after measuring.
    ///
    /// # Errors
    /// When the medium fails.
    fn finish(&self) -> Result<(), ReadError> {
        Ok(())
    }
}

/// SHA-256 of a file, lower-case hexadecimal; reads as an empty text until it is known. Clones share what becomes known.
#[derive(Debug, Clone, Default)]
pub struct FileHash(Arc<OnceLock<String>>);

impl FileHash {
    /// True once the hash is known.
    pub fn is_known(&self) -> bool {
        self.0.get().is_some()
    }

    /// Makes the hash known; the first one stays.
    pub fn set(&self, hash: String) {
        self.0.get_or_init(|| hash);
    }
}

impl std::ops::Deref for FileHash {
    type Target = str;

    fn deref(&self) -> &str {
        self.0.get().map_or("", String::as_str)
    }
}

impl<T: Into<String>> From<T> for FileHash {
    fn from(hash: T) -> FileHash {
        FileHash(Arc::new(OnceLock::from(hash.into())))
    }
}

impl PartialEq for FileHash {
    fn eq(&self, other: &FileHash) -> bool {
        **self == **other
    }
}

/// A take could not be read to its end.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ReadError {
    /// Which file, as the user named it.
    pub file: String,
    /// What was found, lower case, no full stop.
    pub what: String,
    /// What to do about it.
    pub hint: String,
}

impl std::fmt::Display for ReadError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}: {}", self.file, self.what)
    }
}

impl std::error::Error for ReadError {}

/// How the samples were stored, as far as it matters for a fair comparison.
#[derive(Debug, Clone, PartialEq)]
pub struct StoredAs {
    /// Plain name of the container and coding, for example `WAV 24-bit integer`.
    pub format: String,
    /// Bits per sample as stored; `None` for lossy codings.
    pub bits: Option<u16>,
    /// True when the coding threw information away (MP3, AAC, Ogg Vorbis).
    pub lossy: bool,
    /// SHA-256 of the whole file.
    pub sha256: FileHash,
}

/// One take: who recorded what, how, and its samples.
pub struct Take {
    /// Unique within the shootout, made from the file name and channel.
    pub id: String,
    /// The file as the user named it.
    pub file: String,
    /// Channel in the file, counted from 1.
    pub channel: u16,
    /// Key of the microphone in the log.
    pub mic: String,
    /// Key of the source in the log.
    pub source: String,
    /// Which setting-up of this microphone at this source, counted from 1.
    pub placement: u32,
    /// Which pass of playing; takes recorded at once share it.
    pub performance: u32,
    /// In which order the takes were made, where logged.
    pub order: Option<u32>,
    /// Named spot, where microphones exchange places.
    pub position: Option<String>,
    /// What the take is for.
    pub role: Role,
    /// The chain as logged.
    pub chain: ChainEntry,
    /// Hand-set event onsets in seconds; they override detection.
    pub hand_set_events_s: Option<Vec<f64>>,
    /// Kept although a check calls it unfair, by the user's decision.
    pub keep_although_unfair: bool,
    /// How the samples were stored.
    pub stored_as: StoredAs,
    /// The samples.
    pub samples: Box<dyn Samples>,
}
