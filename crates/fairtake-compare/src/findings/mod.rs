//! What `compare` returns: the JSON contract. Everything that a page, figure or sentence shows comes from here.
//!
//! Unknown is `None` (JSON `null`); there is no NaN. Field names are a promise to programs: none is renamed.
//! `difference_db` is always *against minus reference*.

mod alignment;
mod band;
mod level;
mod pair;

pub use alignment::*;
pub use band::*;
pub use level::*;
pub use pair::*;

use crate::settings::Settings;
use crate::shootout::Role;
use serde::{Deserialize, Serialize};

/// The result of one run over one shootout or one set of files.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Findings {
    /// Number of the contract, 1.
    pub schema: u32,
    /// Which program made this.
    pub program: Program,
    /// Title of the shootout; `None` for bare files.
    pub title: Option<String>,
    /// Settings used.
    pub settings: Settings,
    /// Microphones by key: names for people.
    pub mics: Vec<MicEntry>,
    /// Sources by key: names for people and what was logged.
    pub sources: Vec<SourceEntry>,
    /// Every take read.
    pub takes: Vec<TakeEntry>,
    /// One entry per source and pair.
    pub comparisons: Vec<ComparisonFindings>,
    /// Every check made, the fair ones too.
    pub checks: Vec<CheckResult>,
}

impl Findings {
    /// Puts the user's own words beside the findings that they are about.
    pub fn keep_own_words(&mut self, shootout: &crate::Shootout) {
        for c in &mut self.comparisons {
            let about = |w: &&crate::OwnWords| {
                w.source == c.source && w.reference == c.reference && w.against == c.against
            };
            let words = shootout.own_words.iter().find(about);
            c.own_words = words.map(|w| w.text.clone()).filter(|text| !text.trim().is_empty());
        }
    }
}

/// Name and version of the program.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Program {
    /// `fairtake`.
    pub name: String,
    /// Version of the build.
    pub version: String,
}

/// A microphone as shown to people.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MicEntry {
    /// Key in the log, or file stem.
    pub id: String,
    /// Name for people.
    pub name: String,
    /// Year of make where logged.
    pub year: Option<i32>,
    /// Principle where logged.
    pub kind: Option<crate::MicKind>,
    /// Polar pattern where logged.
    pub pattern: Option<crate::PolarPattern>,
}

/// A source as shown to people.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SourceEntry {
    /// Key in the log.
    pub id: String,
    /// Name for people.
    pub name: String,
    /// Distance from the grille in mm where logged.
    pub distance_mm: Option<f64>,
    /// Radius of what radiates in mm where logged.
    pub radius_mm: Option<f64>,
    /// Angle in degrees where logged.
    pub angle_deg: Option<f64>,
}

/// One take as read and measured by itself.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TakeEntry {
    /// Unique in this result.
    pub id: String,
    /// File as named by the user.
    pub file: String,
    /// SHA-256 of the file.
    pub sha256: String,
    /// Channel, counted from 1.
    pub channel: u16,
    /// Sampling rate in Hz.
    pub sample_rate_hz: u32,
    /// Length in frames.
    pub frames: u64,
    /// Container and coding.
    pub format: String,
    /// Key of the microphone.
    pub mic: String,
    /// Key of the source.
    pub source: String,
    /// Placement, from 1.
    pub placement: u32,
    /// Performance, from 1.
    pub performance: u32,
    /// Named spot.
    pub position: Option<String>,
    /// Order in which takes were made.
    pub order: Option<u32>,
    /// What the take is for.
    pub role: Role,
    /// Gain as logged in dB.
    pub gain_db: Option<f64>,
    /// `percussive` or `sustained`, as used.
    pub playing: crate::Playing,
    /// Number of events used.
    pub events: u32,
    /// Highest sample in dBFS; `None` for digital silence.
    pub sample_peak_dbfs: Option<f64>,
    /// True peak in dBTP.
    pub true_peak_dbtp: Option<f64>,
    /// RMS of the file in dBFS (a full-scale sine reads −3.01).
    pub rms_dbfs: Option<f64>,
    /// Programme loudness of the file in LUFS (BS.1770).
    pub file_loudness_lufs: Option<f64>,
    /// Mean value of the samples re full scale.
    pub dc: f64,
    /// Noise floor between events in dBFS, unweighted; `None` when there is nothing to measure it on.
    pub noise_dbfs: Option<f64>,
    /// The same, A-weighted.
    pub noise_dbfs_a: Option<f64>,
    /// Where the noise was measured.
    #[serde(default)]
    pub noise_from: Option<crate::NoiseFrom>,
    /// Left out of the findings because a check calls it unfair.
    pub left_out: bool,
}

/// Outcome of a check.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Outcome {
    /// Nothing to say.
    Fair,
    /// Usable with care.
    Caution,
    /// Left out unless the user insists.
    Unfair,
}

/// One check, made on a take or on a comparison.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CheckResult {
    /// Name of the check; it has a page in `docs/cautions`.
    pub code: String,
    /// Outcome.
    pub outcome: Outcome,
    /// Take that it concerns.
    pub take: Option<String>,
    /// Index into `comparisons` that it concerns.
    pub comparison: Option<usize>,
    /// Figure found; `None` when it cannot be measured.
    pub measured: Option<f64>,
    /// Limit it is held against.
    pub limit: Option<f64>,
    /// Unit of both.
    pub unit: String,
    /// What was found and what it does to the comparison.
    pub text: String,
    /// What to do about it.
    pub advice: String,
}
