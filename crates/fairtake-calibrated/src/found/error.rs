//! Why a recording cannot be measured: what was found, with values, and the remedy.

use std::fmt;

/// An excitation was not found as it was played.
#[derive(Debug, Clone, PartialEq)]
pub enum NotFound {
    /// The recording has another sampling rate.
    Rate {
        /// Of the recording, in Hz.
        recording_hz: u32,
        /// Of the excitation, in Hz.
        excitation_hz: u32,
    },
    /// A sample that is no number.
    NotFinite {
        /// Where, in seconds.
        at_s: f64,
    },
    /// Nothing like a mark.
    NoMark {
        /// The greatest likeness anywhere, 0 to 1.
        best: f64,
    },
    /// Marks, but those of another excitation.
    Other {
        /// Where, in seconds.
        at_s: f64,
        /// Code that was read.
        found: u16,
        /// Code of the excitation that was sought.
        wanted: u16,
    },
    /// The marks run too fast or too slow, as between two of the usual rates.
    PlayedAtAnotherRate {
        /// How many times too fast.
        ratio: f64,
    },
    /// The first mark without the last.
    NoEnd {
        /// First mark, in seconds.
        start_s: f64,
        /// How much there is from there on, in seconds.
        there_s: f64,
        /// How much would be needed, in seconds.
        need_s: f64,
    },
    /// The last mark without the first.
    NoStart {
        /// Last mark, in seconds.
        end_s: f64,
        /// How much would have to come before it, in seconds.
        need_s: f64,
    },
    /// More than one of a mark.
    Twice {
        /// First mark, in seconds.
        first_s: f64,
        /// Last mark, in seconds.
        last_s: f64,
    },
    /// The marks are not as far apart as played, and not by a drifting clock.
    Cut {
        /// What is missing between them, in seconds; negative: what is too much.
        missing_s: f64,
        /// How far apart they were played, in seconds.
        played_s: f64,
    },
}

impl NotFound {
    /// What to do about it.
    pub fn hint(&self) -> &'static str {
        match self {
            NotFound::Rate { .. } => {
                "record at the rate of the excitation, or make it again at that of the recorder"
            }
            NotFound::NotFinite { .. } => "export the recording again",
            NotFound::NoMark { .. } => {
                "name the excitation that was played; if it was this one, play it louder or nearer: it is buried in noise"
            }
            NotFound::Other { .. } => "name the excitation that was played, or record again with this one",
            NotFound::PlayedAtAnotherRate { .. } => {
                "set player and recorder to the rate of the file, and do not convert what is recorded"
            }
            NotFound::NoEnd { .. } => {
                "record again, and let the recorder run until the last chirps have sounded"
            }
            NotFound::NoStart { .. } => "record again, and start the recorder before the player",
            NotFound::Twice { .. } => "cut the recording between the two, and measure each by itself",
            NotFound::Cut { .. } => "record again in one piece: no edit, no lost buffers",
        }
    }
}

impl fmt::Display for NotFound {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            NotFound::Rate { recording_hz, excitation_hz } => {
                write!(f, "recorded at {recording_hz} Hz, but the excitation is for {excitation_hz} Hz")
            }
            NotFound::NotFinite { at_s } => write!(f, "a sample at {at_s:.2} s is no number"),
            NotFound::NoMark { best } => {
                write!(f, "no mark of the excitation in the recording (likeness {best:.2} at best)")
            }
            NotFound::Other { at_s, found, wanted } => write!(
                f,
                "another excitation: the mark at {at_s:.2} s has the code {found:04x}, not {wanted:04x}"
            ),
            NotFound::PlayedAtAnotherRate { ratio } => write!(
                f,
                "everything runs {ratio:.3} times as fast as it should: player and recorder went by different rates"
            ),
            NotFound::NoEnd { start_s, there_s, need_s } => write!(
                f,
                "the recording is cut off: after the first mark at {start_s:.2} s there are {there_s:.1} s of {need_s:.1} s, and no last mark"
            ),
            NotFound::NoStart { end_s, need_s } => write!(
                f,
                "the beginning is missing: the last mark is at {end_s:.2} s, and the first, up to {need_s:.1} s before, is not there"
            ),
            NotFound::Twice { first_s, last_s } => {
                write!(f, "the excitation is there more than once: marks at {first_s:.2} s and {last_s:.2} s")
            }
            NotFound::Cut { missing_s, played_s } => {
                let (what, s) =
                    if *missing_s > 0.0 { ("missing", *missing_s) } else { ("too much", -missing_s) };
                write!(f, "{:.1} ms are {what} between marks that were played {played_s:.1} s apart", 1e3 * s)
            }
        }
    }
}

impl std::error::Error for NotFound {}
