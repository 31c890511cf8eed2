//! What stands in the way of a level (errors), and what makes one doubtful (cautions).

use super::{Pattern, Purpose};
use serde::{Deserialize, Serialize};

/// No answer is possible.
#[derive(Debug, Clone, PartialEq)]
pub enum LevelError {
    /// A calibrator on a microphone that it cannot fit.
    CalibratorDoesNotFit {
        /// As logged.
        pattern: Pattern,
        /// As logged.
        purpose: Purpose,
    },
    /// Neither class nor certificate.
    CalibratorUnknown,
    /// An entered figure that cannot be.
    OutOfRange {
        /// Which, with its unit.
        what: &'static str,
        /// As entered.
        value: f64,
        /// Least that is possible.
        from: f64,
        /// Most that is possible.
        to: f64,
    },
    /// Nothing was handed in.
    NoTakes {
        /// Of what.
        what: &'static str,
    },
    /// A sample that is no number.
    NotFinite,
    /// Nothing but zeros.
    DigitalSilence,
    /// Less sound than is needed.
    TooShort {
        /// Seconds of it.
        found_s: f64,
        /// Seconds needed.
        needed_s: f64,
    },
    /// The converter was driven beyond full scale.
    Clipped {
        /// Stretches at full scale.
        n_stretches: usize,
    },
    /// Another frequency than the calibrator's.
    WrongFrequency {
        /// In Hz.
        found_hz: f64,
        /// In Hz.
        stated_hz: f64,
    },
    /// No tone stands out.
    NotATone {
        /// Share of the power that is not the tone, in dB re the tone.
        rest_db: f64,
        /// Most that is allowed.
        limit_db: f64,
    },
    /// Another tone beside it.
    TwoTones {
        /// In Hz.
        other_hz: f64,
        /// In dB re the tone.
        other_db: f64,
        /// Most that is allowed.
        limit_db: f64,
    },
    /// Overtones.
    Distorted {
        /// Of the fundamental, in per cent.
        found_percent: f64,
        /// Most that is allowed.
        limit_percent: f64,
    },
    /// The level moves.
    Unsteady {
        /// Highest less lowest level in dB.
        range_db: f64,
        /// Most that is allowed.
        limit_db: f64,
    },
}

impl std::fmt::Display for LevelError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            LevelError::CalibratorDoesNotFit { pattern, purpose } => {
                let which = match (pattern, purpose) {
                    (Pattern::Directional, _) => "a directional microphone",
                    (_, Purpose::Studio) => "a microphone that is not built for measuring",
                    _ => "a microphone not logged as omnidirectional and built for measuring",
                };
                write!(
                    f,
                    "a calibrator take is logged for {which}; a calibrator makes a known pressure in a sealed volume, which \
                     means something only for an omnidirectional measurement microphone"
                )
            }
            LevelError::CalibratorUnknown => {
                write!(f, "the calibrator has neither a class nor a certificate")
            }
            LevelError::OutOfRange { what, value, from, to } => {
                write!(f, "{what} is {value}, which is not between {from} and {to}")
            }
            LevelError::NoTakes { what } => write!(f, "there is no take of {what}"),
            LevelError::NotFinite => write!(f, "a sample is not a number"),
            LevelError::DigitalSilence => write!(f, "the take holds nothing but zeros"),
            LevelError::TooShort { found_s, needed_s } => {
                write!(f, "the take holds {found_s:.1} s that can be used, {needed_s:.1} s are needed")
            }
            LevelError::Clipped { n_stretches } => {
                write!(f, "the tone reaches full scale in {n_stretches} places and is cut there")
            }
            LevelError::WrongFrequency { found_hz, stated_hz } => {
                write!(f, "the tone has {found_hz:.1} Hz, the calibrator makes {stated_hz:.0} Hz")
            }
            LevelError::NotATone { rest_db, limit_db } => write!(
                f,
                "no steady tone stands out: everything else has {rest_db:.1} dB re the strongest tone, {limit_db:.0} dB \
                 are allowed"
            ),
            LevelError::TwoTones { other_hz, other_db, limit_db } => write!(
                f,
                "a second tone of {other_hz:.1} Hz has {other_db:.1} dB re the first, {limit_db:.0} dB are allowed"
            ),
            LevelError::Distorted { found_percent, limit_percent } => {
                write!(
                    f,
                    "the tone's overtones have {found_percent:.1} % of it, {limit_percent:.0} % are allowed"
                )
            }
            LevelError::Unsteady { range_db, limit_db } => {
                write!(f, "the tone's level moves by {range_db:.2} dB, {limit_db:.2} dB are allowed")
            }
        }
    }
}

impl std::error::Error for LevelError {}

impl LevelError {
    /// What to do about it.
    pub fn hint(&self) -> &'static str {
        match self {
            LevelError::CalibratorDoesNotFit { .. } => {
                "calibrate an omnidirectional measurement microphone, and carry its sensitivity over by substitution at 1 kHz \
                 in a free or gated field"
            }
            LevelError::CalibratorUnknown => {
                "enter the class that is printed on it, or what its certificate says"
            }
            LevelError::OutOfRange { .. } => "look at the unit of what was entered",
            LevelError::NoTakes { .. } => "record one, and log it",
            LevelError::NotFinite => "export the take again",
            LevelError::DigitalSilence => {
                "see whether the right channel was recorded, and whether the microphone has its supply"
            }
            LevelError::TooShort { .. } => "record longer",
            LevelError::Clipped { .. } => "lower the gain, note it, and record again at that gain",
            LevelError::WrongFrequency { .. } => {
                "see whether this is the calibrator's take, and whether the file's sampling rate is right"
            }
            LevelError::NotATone { .. } => {
                "seat the microphone in the calibrator, wait until it is steady, and record again"
            }
            LevelError::TwoTones { .. } => {
                "switch off what else sounds, and see whether two channels were added up"
            }
            LevelError::Distorted { .. } => {
                "lower the gain of the preamplifier, or use the calibrator's lower level"
            }
            LevelError::Unsteady { .. } => {
                "seat the microphone tightly, look at the calibrator's battery, keep still, and record again"
            }
        }
    }
}

/// A figure beyond its limit: there is a result, and this stands beside it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "code", rename_all = "snake_case")]
pub enum LevelCaution {
    /// One take of the tone, never seated anew.
    SeatedOnce {
        /// Takes there are.
        figure: f64,
        /// Takes wanted.
        limit: f64,
    },
    /// The tone's level moves, in dB.
    ToneUnsteady {
        /// Highest less lowest.
        figure: f64,
        /// Most that is usual.
        limit: f64,
    },
    /// Overtones, in per cent.
    ToneDistorted {
        /// Of the fundamental.
        figure: f64,
        /// Most that is usual.
        limit: f64,
    },
    /// Sound beside the tone, in dB re the tone.
    ToneNotAlone {
        /// All that is neither tone nor overtone.
        figure: f64,
        /// Most that is usual.
        limit: f64,
    },
    /// The reference reads otherwise at the end than at the beginning, in dB.
    ReferenceDrifted {
        /// By how much.
        figure: f64,
        /// Most that is usual.
        limit: f64,
    },
    /// Loud moments in the silence.
    Events {
        /// How many.
        figure: f64,
        /// How many are allowed.
        limit: f64,
    },
    /// Jumps between samples in the silence.
    Clicks {
        /// How many.
        figure: f64,
        /// How many are allowed.
        limit: f64,
    },
    /// Hum of the mains, in dB above the noise beside it.
    Hum {
        /// Of the line that stands out most.
        figure: f64,
        /// Most that is usual.
        limit: f64,
        /// That line, in Hz.
        at_hz: f64,
    },
    /// Sound of the room has this share of the A-weighted power.
    AmbientHides {
        /// Share.
        figure: f64,
        /// Most that is allowed.
        limit: f64,
    },
    /// So much of the A-weighted power may be sound of the room: no more is known of it.
    AmbientMayHide {
        /// Largest share that is possible.
        figure: f64,
        /// Most that is allowed.
        limit: f64,
    },
    /// The chain was not recorded without the microphone.
    ChainUnknown {
        /// Takes of it.
        figure: f64,
        /// Takes wanted.
        limit: f64,
    },
    /// The chain without a microphone has this share of the A-weighted power.
    ChainHides {
        /// Share.
        figure: f64,
        /// Most that is allowed.
        limit: f64,
    },
    /// Nothing was recorded by which sound of the room could be told from noise of the microphone.
    AmbientUnknown {
        /// Microphones that were recorded beside it.
        figure: f64,
        /// Microphones wanted.
        limit: f64,
    },
    /// A short recording of silence, in s.
    NoiseShort {
        /// Its length.
        figure: f64,
        /// Wanted.
        limit: f64,
    },
}

impl LevelCaution {
    /// What was found, what it does, and what to do.
    pub fn words(&self) -> String {
        match self {
            LevelCaution::SeatedOnce { .. } => "There is one take of the tone: how much seating the microphone anew changes is \
                assumed, not measured. Take it off, put it on again, and record twice more."
                .into(),
            LevelCaution::ToneUnsteady { figure, limit } => format!(
                "The tone's level moves by {figure:.2} dB ({limit:.2} dB are usual). Seat the microphone tightly and look at \
                 the battery."
            ),
            LevelCaution::ToneDistorted { figure, limit } => format!(
                "The tone's overtones have {figure:.1} % of it ({limit:.0} % are usual). Lower the gain, or use the lower level."
            ),
            LevelCaution::ToneNotAlone { figure, limit } => format!(
                "What else sounds has {figure:.0} dB re the tone ({limit:.0} dB are usual). Make the room quieter."
            ),
            LevelCaution::ReferenceDrifted { figure, limit } => format!(
                "The reference reads {figure:.2} dB otherwise at the end than at the beginning ({limit:.2} dB are usual): \
                 loudspeaker, place or gain has moved. Measure again, reference first and last."
            ),
            LevelCaution::Events { figure, .. } => format!(
                "{figure:.0} loud moments are in the silence; they raise its level. Record again where nothing moves."
            ),
            LevelCaution::Clicks { figure, .. } => {
                format!("{figure:.0} clicks are in the silence; they raise its level. Look at cables and buffers.")
            }
            LevelCaution::Hum { figure, at_hz, .. } => format!(
                "A line at {at_hz:.0} Hz stands {figure:.0} dB above the noise beside it: hum of the mains, part of the level. \
                 Move away from transformers, look at the ground."
            ),
            LevelCaution::AmbientHides { figure, .. } => format!(
                "Sound of the room makes {:.0} % of the A-weighted power: the microphone's own noise is at most what is shown. \
                 Find a quieter place, or a closed heavy box.",
                100.0 * figure
            ),
            LevelCaution::AmbientMayHide { figure, .. } => format!(
                "What the microphone beside it reads could be {:.0} % of the A-weighted power, if all of it were sound of the room: its \
                 own noise is at most what is shown. Put a microphone of less noise beside it.",
                100.0 * figure
            ),
            LevelCaution::ChainUnknown { .. } => "The chain was not recorded without the microphone, so that its noise cannot be told \
                from the microphone's: that is at most what is shown. Record it with the microphone's source impedance in its place."
                .into(),
            LevelCaution::ChainHides { figure, .. } => format!(
                "The chain without the microphone makes {:.0} % of the A-weighted power: the microphone's own noise is at most \
                 what is shown. Use more gain, or a quieter preamplifier.",
                100.0 * figure
            ),
            LevelCaution::AmbientUnknown { .. } => "Nothing was recorded beside the microphone, so that sound of the room cannot \
                be told from its own noise: it is at most what is shown. Record a second microphone next to it."
                .into(),
            LevelCaution::NoiseShort { figure, limit } => {
                format!("The silence lasts {figure:.0} s; {limit:.0} s tell the low bands better.")
            }
        }
    }
}
