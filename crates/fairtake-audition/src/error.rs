//! What can be wrong with something that is to be heard.

use fairtake_compare::ReadError;
use fairtake_compare::wording::hertz;

/// Why there is nothing to hear. Each names the take, the microphone or the source concerned.
#[derive(Debug, Clone, PartialEq)]
pub enum AuditionError {
    /// A take cannot be read.
    Read(ReadError),
    /// Nothing was compared on this source.
    NoSuchSource {
        /// As asked.
        asked: String,
        /// Sources with comparisons.
        there_are: Vec<String>,
    },
    /// The findings know a take whose samples are not at hand.
    NoSamples {
        /// Id of the take.
        take: String,
    },
    /// The findings know a take whose measure is not at hand.
    NoMeasure {
        /// Id of the take.
        take: String,
    },
    /// A microphone takes part in no comparison on the source.
    NotCompared {
        /// Key of the microphone.
        mic: String,
        /// Key of the source.
        source: String,
    },
    /// No event of one microphone can be set beside one of every other.
    NothingPairs {
        /// Key of the source.
        source: String,
        /// What is missing, in words.
        why: String,
    },
    /// A stretch without a frame, or longer than is ever played.
    BadLength {
        /// Id of the take.
        take: String,
        /// Length asked for, in frames.
        frames: u64,
        /// Greatest length, in frames.
        most: u64,
    },
    /// A gain that would make a take louder than it is, or is no number.
    BadGain {
        /// Id of the take.
        take: String,
        /// Gain asked for, in dB.
        gain_db: f64,
    },
    /// Two takes are not those of the comparison, or not of one performance.
    NotTogether {
        /// Ids of the takes.
        takes: [String; 2],
        /// What is not so, in words.
        why: String,
    },
    /// Two takes that are to be taken from each other differ in sampling rate.
    RatesDiffer {
        /// Ids of the takes.
        takes: [String; 2],
        /// Their rates in Hz.
        rates_hz: [u32; 2],
    },
    /// Two stretches that are to be taken from each other are not the same seconds.
    StretchesDiffer {
        /// Ids of the takes.
        takes: [String; 2],
    },
    /// The delay between two takes is not known, or is none that two microphones on one source can have.
    NoDelay {
        /// Ids of the takes.
        takes: [String; 2],
        /// As found, in seconds.
        delay_s: Option<f64>,
    },
    /// No band of a comparison has a known difference where it is to be imposed.
    NoDifference {
        /// Key of the reference microphone.
        reference: String,
        /// Key of the other.
        against: String,
        /// Region asked for, in Hz; `None`: everywhere.
        region_hz: Option<[f64; 2]>,
    },
    /// No excerpts for a blind test can be cut.
    NoExcerpts {
        /// Key of the source.
        source: String,
        /// Why, in words.
        why: String,
    },
    /// A reel cannot be made as it was asked.
    NoReel {
        /// Why, in words.
        why: String,
    },
}

impl AuditionError {
    /// What to do about it, lower case; `None` where nothing sensible can be advised.
    pub fn hint(&self) -> Option<String> {
        Some(match self {
            AuditionError::Read(e) => e.hint.clone(),
            AuditionError::NoSuchSource { .. } => "choose a source that has findings".into(),
            AuditionError::NoSamples { .. } => "put the file back, or analyse the shootout again".into(),
            AuditionError::NoMeasure { .. } => "analyse the shootout again".into(),
            AuditionError::NotCompared { .. } => {
                "choose a microphone that was compared on this source".into()
            }
            AuditionError::NothingPairs { .. } => {
                "see the checks of these takes for what was left out".into()
            }
            AuditionError::BadGain { .. } => "give a gain of 0 dB or less".into(),
            AuditionError::NotTogether { .. } | AuditionError::NoDelay { .. } => {
                "listen to the takes one after the other instead".into()
            }
            AuditionError::NoDifference { .. } => "choose a region with a verdict".into(),
            AuditionError::NoExcerpts { .. } => {
                "ask for shorter excerpts, or for other microphones; takes of one test have one sampling rate"
                    .into()
            }
            AuditionError::NoReel { .. } => "ask for fewer moments, or for takes of one sampling rate".into(),
            AuditionError::BadLength { .. }
            | AuditionError::RatesDiffer { .. }
            | AuditionError::StretchesDiffer { .. } => return None,
        })
    }
}

impl std::fmt::Display for AuditionError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            AuditionError::NoExcerpts { source, why } => {
                write!(f, "no excerpts of '{source}' can be cut: {why}")
            }
            AuditionError::NoReel { why } => write!(f, "no reel can be made: {why}"),
            AuditionError::Read(e) => write!(f, "{e}"),
            AuditionError::NoSuchSource { asked, there_are } if there_are.is_empty() => {
                write!(f, "nothing was compared, so there is nothing to hear of '{asked}'")
            }
            AuditionError::NoSuchSource { asked, there_are } => {
                write!(f, "nothing was compared on '{asked}'; there are {}", there_are.join(", "))
            }
            AuditionError::NoSamples { take } => {
                write!(f, "the findings hold the take {take}, but its samples are not at hand")
            }
            AuditionError::NoMeasure { take } => {
                write!(f, "the findings hold the take {take}, but what was measured of it is not at hand")
            }
            AuditionError::NotCompared { mic, source } => {
                write!(f, "the microphone '{mic}' takes part in no comparison on '{source}'")
            }
            AuditionError::NothingPairs { source, why } => {
                write!(f, "nothing on '{source}' can be set side by side: {why}")
            }
            AuditionError::BadLength { take, frames, most } => {
                write!(f, "a stretch of {frames} frames of {take} cannot be played; it needs 1 to {most}")
            }
            AuditionError::BadGain { take, gain_db } => {
                write!(f, "{take} is not played at {gain_db} dB: no clip is louder than its original")
            }
            AuditionError::NotTogether { takes: [a, b], why } => {
                write!(f, "{a} and {b} cannot be taken from each other: {why}")
            }
            AuditionError::RatesDiffer { takes: [a, b], rates_hz: [rate_a, rate_b] } => write!(
                f,
                "{a} and {b} cannot be taken from each other: their sampling rates are {rate_a} Hz and {rate_b} Hz"
            ),
            AuditionError::StretchesDiffer { takes: [a, b] } => {
                write!(
                    f,
                    "{a} and {b} cannot be taken from each other: the stretches are not the same seconds"
                )
            }
            AuditionError::NoDelay { takes: [a, b], delay_s: None } => {
                write!(f, "{a} and {b} cannot be taken from each other: the delay between them is not known")
            }
            AuditionError::NoDelay { takes: [a, b], delay_s: Some(delay_s) } => {
                write!(f, "{a} and {b} cannot be taken from each other: a delay of {delay_s} s is none")
            }
            AuditionError::NoDifference { reference, against, region_hz } => {
                write!(f, "no difference of {against} from {reference} is known")?;
                match region_hz {
                    Some([from, to]) => write!(f, " from {} to {}", hertz(*from), hertz(*to)),
                    None => Ok(()),
                }
            }
        }
    }
}

impl std::error::Error for AuditionError {}

impl From<ReadError> for AuditionError {
    fn from(error: ReadError) -> AuditionError {
        AuditionError::Read(error)
    }
}
