//! Why a figure cannot be made.

use std::fmt;

/// Why a figure cannot be made; nothing has been drawn.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum FigureError {
    /// A side is shorter than its letters need, in px.
    TooSmall {
        /// Size asked for.
        asked: (u32, u32),
        /// Least size at these letters.
        least: (u32, u32),
    },
    /// A side is longer than [`super::Still::LONGEST_PX`], or a frame of a moving picture has more px than
    /// [`Moving::MOST_PX`](super::Moving::MOST_PX).
    TooLarge {
        /// Size asked for.
        asked: (u32, u32),
        /// Greatest size.
        most: (u32, u32),
    },
    /// The level axes that are asked for leave a decade of frequency no room for its numbers.
    NoRoom {
        /// Size asked for.
        asked: (u32, u32),
    },
    /// So many microphones cannot be drawn so that they can be read.
    TooMany {
        /// How many there are.
        n_mics: usize,
        /// Size asked for.
        asked: (u32, u32),
    },
    /// Frames per second outside of the range.
    Rate {
        /// Frames per second asked for.
        asked: f64,
    },
    /// The moving picture would have no frame, or more than [`super::MOST_FRAMES`].
    Length {
        /// Length asked for in s.
        asked_s: f64,
        /// Greatest length at this rate in s.
        most_s: f64,
    },
    /// A state's time is not a number, or earlier than the state before it.
    Order {
        /// Which state, counted from 0.
        state: usize,
    },
    /// A state has another number of brightnesses than the strip has segments.
    Segments {
        /// Which state, counted from 0.
        state: usize,
        /// Brightnesses given.
        given: usize,
        /// Segments of the strip.
        expected: usize,
    },
    /// A brightness outside of 0 to 1.
    Brightness {
        /// Which state, counted from 0.
        state: usize,
        /// What was given.
        given: f32,
    },
    /// The renderer refused its own drawing: a defect of the program, with the renderer's words.
    Drawing(String),
}

impl fmt::Display for FigureError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            FigureError::TooSmall { asked: (w, h), least: (lw, lh) } => {
                write!(
                    f,
                    "{w} by {h} px is too small to be read; at these letters take at least {lw} by {lh} px"
                )
            }
            FigureError::TooLarge { asked: (w, h), most: (mw, mh) } => {
                write!(f, "{w} by {h} px is too large; take at most {mw} by {mh} px")
            }
            FigureError::NoRoom { asked: (w, h) } => write!(
                f,
                "at {w} by {h} px these level axes leave no room for the frequencies; take a higher picture, or the axes \
                 that fit"
            ),
            FigureError::TooMany { n_mics, asked: (w, h) } => write!(
                f,
                "{n_mics} microphones in one picture cannot be read at {w} by {h} px and these letters; take a larger one, or the \
                 usual letters"
            ),
            FigureError::Rate { asked } => {
                write!(f, "{asked} frames per second cannot be made; take 1 to 60")
            }
            FigureError::Length { asked_s, most_s } => {
                write!(
                    f,
                    "a moving picture of {asked_s} s cannot be made; at this rate take more than 0 and up to {most_s:.1} s"
                )
            }
            FigureError::Order { state } => {
                write!(
                    f,
                    "state {state} of the moving picture has a time before that of the state before it, or none"
                )
            }
            FigureError::Segments { state, given, expected } => {
                write!(
                    f,
                    "state {state} of the moving picture has {given} brightnesses for {expected} segments"
                )
            }
            FigureError::Brightness { state, given } => {
                write!(f, "state {state} of the moving picture has a brightness of {given}; take 0 to 1")
            }
            FigureError::Drawing(words) => write!(f, "the figure could not be drawn: {words}"),
        }
    }
}

impl std::error::Error for FigureError {}
