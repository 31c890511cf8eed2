//! The description of an excitation, as it stands in a log, and what it has to keep to.

use super::error::ExcitationError;
use super::sweep::Sweep;
use crate::text_curve::TextCurve;
use serde::{Deserialize, Serialize};

/// What is played.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// A synchronised exponential sine sweep.
    Sweep,
    /// Noise of equal power per octave.
    PinkNoise,
    /// Noise of equal power per hertz.
    WhiteNoise,
    /// A sine.
    Tone,
}

impl Kind {
    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            Kind::Sweep => "exponential sine sweep",
            Kind::PinkNoise => "pink noise",
            Kind::WhiteNoise => "white noise",
            Kind::Tone => "tone",
        }
    }
}

/// How an excitation is written down. Enough to render its samples again; whoever plays or seeks it goes by a checked
/// [`super::Excitation`].
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Form {
    /// What is played.
    pub kind: Kind,
    /// Sampling rate in Hz, 44100..=192000.
    pub rate_hz: u32,
    /// Lowest frequency in Hz; that of a tone.
    pub from_hz: f64,
    /// Highest frequency in Hz; that of a tone.
    pub to_hz: f64,
    /// Length of one pass as asked for, in seconds.
    pub seconds: f64,
    /// Peak level of each step in dBFS, rising: one, or several for distortion over level.
    pub levels_dbfs: Vec<f64>,
    /// How often each step is played.
    #[serde(default = "once")]
    pub repeats: u32,
    /// Silence after each pass in seconds: the room has to fall silent in it.
    #[serde(default = "one_second")]
    pub pause_s: f64,
    /// Seed of noise.
    #[serde(default)]
    pub seed: u64,
    /// Response of the loudspeaker that the sweep makes level: frequency in Hz and dB.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub loudspeaker: Option<TextCurve>,
}

fn once() -> u32 {
    1
}

fn one_second() -> f64 {
    1.0
}

/// Sampling rates in Hz.
const RATES_HZ: (u32, u32) = (44_100, 192_000);
/// No frequency above this share of the sampling rate: converters fall off there.
const HIGHEST_SHARE: f64 = 0.48;
/// Lowest frequency in Hz.
const LOWEST_HZ: f64 = 1.0;
/// Length of a pass in seconds.
const SECONDS: (f64, f64) = (0.5, 120.0);
/// Length of a pause in seconds.
const PAUSE_S: (f64, f64) = (0.2, 20.0);
/// Peak levels in dBFS.
const LEVELS_DBFS: (f64, f64) = (-90.0, 0.0);
/// Longest whole in seconds: half an hour of sweeps is a mistake.
const MOST_TOTAL_S: f64 = 1800.0;
/// An equalised sweep is turned down by no more than this against its loudest part, in dB.
pub(super) const MOST_EQUALISED_DB: f64 = 24.0;

impl Form {
    /// A sweep over the range of hearing and a little more at −12 dBFS, ten seconds long.
    pub fn standard(rate_hz: u32) -> Form {
        Form {
            kind: Kind::Sweep,
            rate_hz,
            from_hz: 15.0,
            to_hz: Form::standard_to_hz(rate_hz),
            seconds: 10.0,
            levels_dbfs: vec![-12.0],
            repeats: 1,
            pause_s: 1.0,
            seed: 1,
            loudspeaker: None,
        }
    }

    /// Up to where a sweep goes if nothing else is said, in Hz: 22 kHz, or what the sampling rate allows.
    pub fn standard_to_hz(rate_hz: u32) -> f64 {
        (HIGHEST_SHARE * f64::from(rate_hz)).min(22_000.0)
    }

    /// Everything in its range.
    pub(super) fn check(&self) -> Result<(), ExcitationError> {
        let within = |what, value: f64, (low, high): (f64, f64), unit| {
            if value >= low && value <= high {
                Ok(())
            } else {
                Err(ExcitationError::OutOfRange { what, value, low, high, unit })
            }
        };
        let rates = (f64::from(RATES_HZ.0), f64::from(RATES_HZ.1));
        within("sampling rate", f64::from(self.rate_hz), rates, "Hz")?;
        let highest_hz = HIGHEST_SHARE * f64::from(self.rate_hz);
        within("lowest frequency", self.from_hz, (LOWEST_HZ, highest_hz), "Hz")?;
        within("highest frequency", self.to_hz, (LOWEST_HZ, highest_hz), "Hz")?;
        within("length of a pass", self.seconds, SECONDS, "s")?;
        within("pause", self.pause_s, PAUSE_S, "s")?;
        within("number of repeats", f64::from(self.repeats), (1.0, 100.0), "")?;
        within("number of levels", self.levels_dbfs.len() as f64, (1.0, 40.0), "")?;
        for level in &self.levels_dbfs {
            within("peak level", *level, LEVELS_DBFS, "dBFS")?;
        }
        if let Some(pair) = self.levels_dbfs.windows(2).find(|pair| pair[1] <= pair[0]) {
            return Err(ExcitationError::LevelsDoNotRise { before_dbfs: pair[0], then_dbfs: pair[1] });
        }
        let octaves = (self.to_hz / self.from_hz).log2();
        match self.kind {
            Kind::Tone if self.from_hz != self.to_hz => {
                return Err(ExcitationError::ToneOfTwo { from_hz: self.from_hz, to_hz: self.to_hz });
            }
            Kind::Tone => {}
            _ if octaves < 1.0 => {
                return Err(ExcitationError::Narrow { from_hz: self.from_hz, to_hz: self.to_hz });
            }
            Kind::Sweep => {
                let least_s = Sweep::least_s(self.from_hz, self.to_hz);
                within("length of a pass", self.seconds, (least_s, SECONDS.1), "s")?;
            }
            Kind::PinkNoise | Kind::WhiteNoise => {}
        }
        if self.loudspeaker.is_some() && self.kind != Kind::Sweep {
            return Err(ExcitationError::EqualisedOther { kind: self.kind });
        }
        let passes = self.levels_dbfs.len() as f64 * f64::from(self.repeats);
        within("length of the whole", passes * (self.seconds + self.pause_s), (0.0, MOST_TOTAL_S), "s")
    }

    /// Everything that decides what is heard, in one line of fixed form: what the code of the marks is made from.
    pub(super) fn canonical(&self) -> String {
        let mut text = format!(
            "1 {:?} {} {:.3} {:.3} {:.4} {} {:.4}",
            self.kind, self.rate_hz, self.from_hz, self.to_hz, self.seconds, self.repeats, self.pause_s
        );
        self.levels_dbfs.iter().for_each(|level| text += &format!(" {level:.3}"));
        if matches!(self.kind, Kind::PinkNoise | Kind::WhiteNoise) {
            text += &format!(" seed {}", self.seed);
        }
        for (hz, db) in self.loudspeaker.iter().flat_map(|c| c.points()) {
            text += &format!(" {hz:.3}:{db:.3}");
        }
        text
    }
}
