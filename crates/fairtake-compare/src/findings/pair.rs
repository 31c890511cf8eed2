//! One pair of microphones on one source: what is said of it, and what the sayings rest on.

use super::{Alignment, Band, BleedFindings, EventShape, LevelMatch, Levels, NoiseFindings, Region};
use crate::settings::Design;
use serde::{Deserialize, Serialize};

/// What an interval speaks about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Claim {
    /// The difference as placed and as played.
    TheseTakes,
    /// The microphones' own difference on this source.
    Microphones,
}

/// What was counted: the highest level that is repeated within each microphone.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Unit {
    /// One hit.
    Event,
    /// One block of sustained sound.
    Block,
    /// One pass of playing.
    Performance,
    /// One setting-up of the microphone.
    Placement,
}

impl Unit {
    /// As it is said of `n` of them; a block lasts a second.
    pub fn words(self, n: u32) -> &'static str {
        match (self, n) {
            (Unit::Event, 1) => "hit",
            (Unit::Event, _) => "hits",
            (Unit::Block, 1) => "second of sound",
            (Unit::Block, _) => "seconds of sound",
            (Unit::Performance, 1) => "pass",
            (Unit::Performance, _) => "passes",
            (Unit::Placement, 1) => "placement",
            (Unit::Placement, _) => "placements",
        }
    }
}

/// Verdict on a band, a region, a level.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// The band lies inside ± margin.
    Alike,
    /// The band excludes 0 and the estimate reaches the margin.
    Different,
    /// Neither.
    Undecided,
    /// Too close to the noise, or not resolved.
    OutOfRange,
}

/// A value for each microphone of a pair.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Both<T> {
    /// Of the reference.
    pub reference: T,
    /// Of the microphone that is compared with it.
    pub against: T,
}

/// An estimate with its interval and, where judged, a verdict. Unit: the field's name says it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Estimate {
    /// Best value.
    pub estimate: Option<f64>,
    /// Lower 95 % bound.
    pub low: Option<f64>,
    /// Upper 95 % bound.
    pub high: Option<f64>,
    /// Verdict, adjusted over the measures shown together; `None` where nothing is judged.
    pub verdict: Option<Verdict>,
}

/// One pair of microphones on one source.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ComparisonFindings {
    /// Key of the source.
    pub source: String,
    /// Key of the reference microphone.
    pub reference: String,
    /// Key of the other one.
    pub against: String,
    /// Margin used, dB.
    pub margin_db: f64,
    /// How the takes were made.
    pub design: Design,
    /// Why this design was assumed.
    pub design_reason: String,
    /// What the intervals speak about.
    pub claim: Claim,
    /// What was counted.
    pub unit: Unit,
    /// Effective number of units (correlated blocks count less).
    pub n_effective: Both<f64>,
    /// Residual degrees of freedom at the counted level; `None` when too few to know anything.
    pub degrees_of_freedom: Option<f64>,
    /// Takes, placements and events that went in.
    pub counts: Both<Counts>,
    /// Levels before the match.
    pub levels: Levels,
    /// Noise after the match.
    pub noise: NoiseFindings,
    /// Signal-to-bleed, where both microphones have bleed takes.
    #[serde(default)]
    pub bleed: Option<BleedFindings>,
    /// Shape of events in time.
    pub events: EventShape,
    /// The level match.
    #[serde(rename = "match")]
    pub level_match: LevelMatch,
    /// Time, polarity and transfer; only for takes recorded together.
    pub alignment: Option<Alignment>,
    /// Fractional-octave bands, low to high.
    pub bands: Vec<Band>,
    /// Neighbouring bands of one verdict and sign.
    pub regions: Vec<Region>,
    /// Edges, peaks and notches.
    pub features: Vec<Feature>,
    /// Uncertainty contributions.
    pub budget: Vec<BudgetLine>,
    /// Sentences, in order of size.
    pub findings: Vec<Finding>,
    /// The user's own words beside the findings, as the log has them.
    #[serde(default)]
    pub own_words: Option<String>,
}

/// How much went into a comparison for one microphone.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Counts {
    /// Takes used.
    pub takes: u32,
    /// Placements.
    pub placements: u32,
    /// Events used.
    pub events: u32,
}

/// An edge of the captured range, a peak or a notch.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Feature {
    /// Which.
    pub kind: FeatureKind,
    /// In the reference; `None` when it has none.
    pub reference: Option<FeatureAt>,
    /// In *against*.
    pub against: Option<FeatureAt>,
    /// What sets an edge.
    pub set_by: Option<SetBy>,
}

/// Kind of feature.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum FeatureKind {
    /// Lowest frequency captured.
    LowEdge,
    /// Highest frequency captured.
    HighEdge,
    /// Peak.
    Peak,
    /// Notch.
    Notch,
}

/// Where a feature lies in one microphone, with its interval.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct FeatureAt {
    /// Frequency in Hz.
    pub hz: f64,
    /// Level re the spectrum's smooth course (peaks, notches) or re the strongest third octave (edges), dB.
    pub db: Option<f64>,
    /// Lower 95 % bound of the frequency.
    pub low_hz: f64,
    /// Upper 95 % bound.
    pub high_hz: f64,
    /// Width at half prominence in octaves.
    pub width_octaves: Option<f64>,
    /// Prominence in dB.
    pub prominence_db: Option<f64>,
}

/// What sets an edge of the captured range.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SetBy {
    /// Shared by both microphones.
    Source,
    /// One microphone's own.
    Microphone,
    /// Hidden by noise.
    Noise,
}

/// One line of the uncertainty budget.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BudgetLine {
    /// What contributes.
    pub name: String,
    /// Type A (statistics) or B (other knowledge).
    pub kind: BudgetKind,
    /// Standard uncertainty in dB, one per region; `None`: unknown.
    pub per_region_db: Vec<Option<f64>>,
}

/// GUM types of evaluation.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum BudgetKind {
    /// From repeats.
    A,
    /// From other knowledge.
    B,
}

/// One sentence with its evidence.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Finding {
    /// The sentence.
    pub text: String,
    /// Verdict that it states.
    pub verdict: Verdict,
    /// Claim that it makes.
    pub claim: Claim,
    /// Value in `unit`.
    pub estimate: Option<f64>,
    /// Lower bound.
    pub low: Option<f64>,
    /// Upper bound.
    pub high: Option<f64>,
    /// `dB`, `Hz` or `s`.
    pub unit: String,
    /// Where it applies.
    pub from_hz: Option<f64>,
    /// Where it applies.
    pub to_hz: Option<f64>,
}
