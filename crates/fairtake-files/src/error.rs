//! What can be wrong with an audio file: the finding with its values, and a hint apart from it.

use std::fmt;

/// An audio file could not be opened or written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AudioError {
    /// The file as the user named it.
    pub file: String,
    /// What was found.
    pub problem: AudioProblem,
}

/// What was found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum AudioProblem {
    /// There is nothing of that name.
    NotFound,
    /// A directory (or another thing that is not a file).
    NotAFile,
    /// The system refused; its words.
    System(String),
    /// Zero bytes.
    Empty,
    /// No known beginning.
    NotAudio,
    /// The header contradicts itself or the file.
    Header(String),
    /// A coding that is not read here.
    Unsupported(String),
    /// The samples cannot be decoded, or not all of them.
    Undecodable(String),
    /// Sampling rate outside 8000..=384000 Hz.
    Rate(u32),
    /// The header says that there are no channels.
    NoChannels,
    /// A channel was asked for that the file does not have.
    NoSuchChannel {
        /// Asked for, counted from 1.
        asked: u16,
        /// How many there are.
        n_channels: u16,
    },
    /// The file ends before the samples that its header announces.
    CutOff {
        /// Bytes of samples by the header.
        header_bytes: u64,
        /// Bytes of samples in the file.
        found_bytes: u64,
    },
    /// The file exists and must not be replaced.
    Exists,
    /// A recording may not be called so; the reason.
    Name(String),
    /// The disk has no room for it; how much there is.
    NoRoom(String),
}

impl AudioProblem {
    /// What to do about it.
    pub fn hint(&self) -> &'static str {
        match self {
            AudioProblem::NotFound => "check the path",
            AudioProblem::NotAFile => "name an audio file",
            AudioProblem::System(_) => "check the medium and the permissions",
            AudioProblem::Empty => "the recorder or the copy did not finish; copy the file again",
            AudioProblem::NotAudio => "export the take as WAV",
            AudioProblem::Header(_) => "export the take again",
            AudioProblem::Unsupported(_) => "export the take as WAV with 16, 24 or 32 bits or as float",
            AudioProblem::Undecodable(_) => "the file is damaged; copy or export it again",
            AudioProblem::Rate(_) => "rates from 8000 to 384000 Hz are read; export the take again",
            AudioProblem::NoChannels => "export the take again",
            AudioProblem::NoSuchChannel { .. } => "channels are counted from 1; choose one that the file has",
            AudioProblem::CutOff { .. } => "copy the file again, or let the recorder repair it",
            AudioProblem::Exists => "choose another name, or allow it to be replaced",
            AudioProblem::Name(_) => "rename the file, such as drum-moorhen-1.wav",
            AudioProblem::NoRoom(_) => "make room on the disk, or move the shootout to a larger one",
        }
    }
}

impl fmt::Display for AudioProblem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            AudioProblem::NotFound => write!(f, "there is no such file"),
            AudioProblem::NotAFile => write!(f, "is not a file"),
            AudioProblem::System(words) => write!(f, "cannot be used: {words}"),
            AudioProblem::Empty => write!(f, "is empty (0 bytes)"),
            AudioProblem::NotAudio => write!(f, "is not audio of a known kind"),
            AudioProblem::Header(what) => write!(f, "has a faulty header: {what}"),
            AudioProblem::Unsupported(what) => write!(f, "is stored in a way that is not read: {what}"),
            AudioProblem::Undecodable(what) => write!(f, "cannot be decoded: {what}"),
            AudioProblem::Rate(rate_hz) => write!(f, "has a sampling rate of {rate_hz} Hz"),
            AudioProblem::NoChannels => write!(f, "has 0 channels"),
            AudioProblem::NoSuchChannel { asked, n_channels } => {
                write!(f, "channel {asked} was asked for, the file has {n_channels}")
            }
            AudioProblem::CutOff { header_bytes, found_bytes } => write!(
                f,
                "is cut off: the header announces {header_bytes} bytes of samples, the file holds {found_bytes}"
            ),
            AudioProblem::Exists => write!(f, "exists already"),
            AudioProblem::Name(why) => write!(f, "cannot be called so: {why}"),
            AudioProblem::NoRoom(words) => write!(f, "does not fit: {words}"),
        }
    }
}

impl AudioError {
    /// What to do about it.
    pub fn hint(&self) -> &'static str {
        self.problem.hint()
    }
}

impl fmt::Display for AudioError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.file, self.problem)
    }
}

impl std::error::Error for AudioError {}
