//! What `compare` returns: the JSON contract. Everything that a page, figure or sentence shows comes from here.
//!
//! Unknown is `None` (JSON `null`); there is no NaN. Field names are a promise to programs: none is renamed.
//! `difference_db` is always *against minus reference*.

use crate::settings::{Design, Settings};
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
    /// Left out of the findings because a check calls it unfair.
    pub left_out: bool,
}

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

/// The four level measures, before the match.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Levels {
    /// Highest sample per event.
    pub sample_peak_dbfs: LevelMeasure,
    /// Highest value between samples per event.
    pub true_peak_dbtp: LevelMeasure,
    /// RMS over the event.
    pub rms_dbfs: LevelMeasure,
    /// Event loudness.
    pub loudness_lufs: LevelMeasure,
    /// Loudness difference at equal gain, where both gains are logged.
    pub loudness_at_equal_gain_db: Option<Estimate>,
}

/// One level measure of both microphones and its difference.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LevelMeasure {
    /// Greatest event and mean over events.
    pub reference: LevelSummary,
    /// Greatest event and mean over events.
    pub against: LevelSummary,
    /// Against minus reference, of the event means.
    pub difference_db: Estimate,
}

/// Greatest and mean of one level over events.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct LevelSummary {
    /// Greatest over events.
    pub max: Option<f64>,
    /// Mean over events.
    pub event_mean: Option<f64>,
}

/// Noise, compared after the level match.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct NoiseFindings {
    /// Unweighted.
    pub plain_dbfs: NoiseMeasure,
    /// A-weighted.
    pub a_weighted_dbfs: NoiseMeasure,
    /// BS.468-weighted.
    pub bs468_dbfs: NoiseMeasure,
}

/// One noise figure of both microphones and its difference after the match.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct NoiseMeasure {
    /// As recorded, dBFS; `None` without a gap or room-tone take.
    pub reference: Option<f64>,
    /// As recorded, dBFS.
    pub against: Option<f64>,
    /// Against minus reference after the match.
    pub difference_db: Estimate,
}

/// Time shape of events: means over events and their difference.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct EventShape {
    /// 10–90 % of the energy envelope; `None` for sustained sound.
    pub attack_s: Option<ShapeMeasure>,
    /// Time to fall by 20 dB.
    pub decay_s: Option<ShapeMeasure>,
    /// Peak over RMS within an event.
    pub crest_db: Option<ShapeMeasure>,
}

/// One shape measure of both microphones.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ShapeMeasure {
    /// Mean over events.
    pub reference: Option<f64>,
    /// Mean over events.
    pub against: Option<f64>,
    /// Against minus reference.
    pub difference: Estimate,
}

/// The level match: the gain applied to *against*.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LevelMatch {
    /// By what.
    pub by: crate::MatchBy,
    /// Always `against`.
    pub applied_to: String,
    /// Gain in dB; positive when *against* is quieter. 0 when not matched.
    pub gain_db: Option<f64>,
    /// Lower 95 % bound.
    pub low: Option<f64>,
    /// Upper 95 % bound.
    pub high: Option<f64>,
}

/// Polarity of *against* relative to the reference.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Polarity {
    /// Alike.
    Same,
    /// Upside down.
    Inverted,
    /// Cannot be told.
    Unclear,
}

/// Time and transfer between takes recorded together.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Alignment {
    /// Delay of *against* in seconds; positive: it arrives later.
    pub delay_s: Option<f64>,
    /// What a positive sign means.
    pub sign: String,
    /// Path difference that would make this delay, in mm; includes phase response.
    pub apparent_path_mm: Option<f64>,
    /// Polarity.
    pub polarity: Polarity,
    /// Residual energy re reference after three kinds of fit.
    pub null_depth: NullDepth,
}

/// Residual energy re the reference in dB, noise-corrected, fitted and tested on different events.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct NullDepth {
    /// After gain and delay.
    pub gain_delay_db: Option<f64>,
    /// After a minimum-phase filter too.
    pub minimum_phase_db: Option<f64>,
    /// After the best linear filter: what no equaliser can explain.
    pub any_linear_db: Option<f64>,
    /// Nothing below this can be measured here.
    pub noise_limit_db: Option<f64>,
}

/// One fractional-octave band.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Band {
    /// Geometric centre in Hz.
    pub centre_hz: f64,
    /// Lower edge in Hz.
    pub from_hz: f64,
    /// Upper edge in Hz.
    pub to_hz: f64,
    /// Mean over events of the reference, dB re full-scale² · s (events) or full-scale² (blocks), before the match.
    pub reference_db: Option<f64>,
    /// The same of *against*.
    pub against_db: Option<f64>,
    /// 10 % and 90 % points over events, for pictures.
    pub reference_range_db: Option<[f64; 2]>,
    /// The same of *against*.
    pub against_range_db: Option<[f64; 2]>,
    /// After the match.
    pub difference_db: Option<f64>,
    /// Pointwise 95 %, lower.
    pub low_db: Option<f64>,
    /// Pointwise 95 %, upper.
    pub high_db: Option<f64>,
    /// Simultaneous 95 % over all supported bands, lower.
    pub simultaneous_low_db: Option<f64>,
    /// Upper.
    pub simultaneous_high_db: Option<f64>,
    /// Interval widened by the placement allowance; only where the claim is `these_takes`.
    pub conditional: Option<Conditional>,
    /// Lower of the two microphones' signal-to-noise ratios in dB; `None`: unknown.
    pub snr_db: Option<f64>,
    /// Verdict.
    pub verdict: Verdict,
}

/// Interval conditional on the placement allowance.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Conditional {
    /// Lower.
    pub low_db: f64,
    /// Upper.
    pub high_db: f64,
}

/// Neighbouring bands of one verdict and sign.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Region {
    /// Lower edge in Hz.
    pub from_hz: f64,
    /// Upper edge in Hz.
    pub to_hz: f64,
    /// Verdict of its bands.
    pub verdict: Verdict,
    /// Mean difference over the region.
    pub difference_db: Option<f64>,
    /// Lower bound, simultaneous over all runs of bands.
    pub low_db: Option<f64>,
    /// Upper bound.
    pub high_db: Option<f64>,
    /// What would settle an undecided region.
    pub settle: Option<Settle>,
}

/// What would settle an undecided region at the present spread.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Settle {
    /// Events per microphone in all; `None` when more events cannot help or over 500 would be needed.
    pub events: Option<u32>,
    /// Placements per microphone in all; `None` when that cannot help or over 20 would be needed.
    pub placements: Option<u32>,
    /// Why this answer.
    pub reason: SettleReason,
}

/// Whether more recording can settle a region.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SettleReason {
    /// More of the stated units would settle it.
    Reachable,
    /// The difference is so near the margin that no reasonable number settles it.
    NearMargin,
    /// The allowance alone is larger than what is asked.
    Allowance,
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
