//! What the intervals must hold (METHOD's ground truth), counted over many scored comparisons of one cell.

use crate::cells::{Cell, MicPair};
use crate::score::{CaseScore, N_OCTAVES, Tally};
use fairtake_compare::Claim;
use fairtake_stats::binomial::{Cluster, ProportionInterval, clopper_pearson, clustered};

/// Confidence of the intervals by which a cell is failed.
pub const CONFIDENCE: f64 = 0.99;

/// Median half-widths may be this much wider than an oracle's.
pub const MOST_WIDTH: f64 = 1.6;

/// Power is asked for where an oracle reaches this.
const ORACLE_REACHES: f64 = 0.90;

/// A rate with the interval that its number of trials allows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rate {
    /// Hits over trials.
    pub rate: f64,
    /// Lower end of the 99 % interval.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// Comparisons that count.
    pub n: usize,
}

/// One requirement held against one rate.
#[derive(Debug, Clone, PartialEq)]
pub struct Held {
    /// What is required.
    pub what: &'static str,
    /// The rate found; `None` when nothing counted.
    pub rate: Option<Rate>,
    /// Least allowed.
    pub least: f64,
    /// Most allowed.
    pub most: f64,
}

impl Held {
    /// True unless the whole interval lies outside the limits.
    pub fn holds(&self) -> bool {
        self.rate.is_none_or(|r| r.high >= self.least && r.low <= self.most)
    }
}

/// Result of one cell.
#[derive(Debug, Clone, PartialEq)]
pub struct CellResult {
    /// Name of the cell.
    pub name: String,
    /// Comparisons drawn.
    pub n: usize,
    /// Claim that the judgements made.
    pub claim: Option<Claim>,
    /// Share of supported bands whose interval is unknown.
    pub unknown_share: f64,
    /// Median over comparisons of the median half-width over the oracle's.
    pub width_ratio: Option<f64>,
    /// How often an oracle finds a clear difference, where there is one.
    pub oracle_power: Option<f64>,
    /// Every requirement.
    pub held: Vec<Held>,
    /// Coverage of the conditional interval with half, whole and twice the allowance: tabled, not required.
    pub conditional: [Option<Rate>; 3],
}

impl CellResult {
    /// True when no requirement fails.
    pub fn holds(&self) -> bool {
        self.held.iter().all(Held::holds) && self.width_ratio.is_none_or(|w| w <= MOST_WIDTH)
    }

    /// The requirement called `what`.
    pub fn requirement(&self, what: &str) -> Option<&Held> {
        self.held.iter().find(|h| h.what == what)
    }

    /// The rate of the requirement called `what`.
    pub fn rate(&self, what: &str) -> Option<Rate> {
        self.requirement(what).and_then(|h| h.rate)
    }
}

/// Names of the octaves by their lower edge.
pub const OCTAVES: [&str; N_OCTAVES] = [
    "from 20 Hz",
    "from 40 Hz",
    "from 80 Hz",
    "from 160 Hz",
    "from 320 Hz",
    "from 640 Hz",
    "from 1.3 kHz",
    "from 2.6 kHz",
    "from 5.1 kHz",
    "from 10 kHz",
];

/// Counts the scores of a cell and holds them against what is required.
pub fn collect(cell: &Cell, scores: &[CaseScore]) -> CellResult {
    let claim = scores.first().map(|s| s.claim);
    let total = |octave: Option<usize>| move |s: &CaseScore| sum(&s.octaves, octave);
    let known: u32 = scores.iter().map(|s| total(None)(s).n).sum();
    let unknown: u32 = scores.iter().map(|s| s.unknown).sum();
    let mut ratios: Vec<f64> = scores.iter().filter_map(|s| s.width_ratio).collect();
    ratios.sort_by(f64::total_cmp);
    let few_placements = claim == Some(Claim::Microphones) && cell.placements <= 3;
    let (least, most) = if few_placements { (0.92, 0.985) } else { (0.93, 0.97) };
    let mut held = vec![];
    // With four blocks only, not overconfident is all that is asked.
    let few = cell.events < 8 && claim == Some(Claim::TheseTakes);
    if !few {
        held.push(Held { what: "pointwise", rate: clusters(scores, total(None)), least, most });
        for (o, what) in OCTAVES.into_iter().enumerate() {
            held.push(Held { what, rate: clusters(scores, total(Some(o))), least: 0.90, most: 0.99 });
        }
        let mut at_least = |what, rate, least| held.push(Held { what, rate, least, most: 1.0 });
        at_least("simultaneous", cases(scores, |s| s.simultaneous), 0.93);
        at_least("match", cases(scores, |s| s.match_held), 0.92);
        at_least("levels", clusters(scores, |s| s.levels), 0.92);
        at_least("regions", cases(scores, |s| s.regions_held), 0.92);
        at_least("edges", clusters(scores, |s| s.edges), 0.92);
        at_least("peaks", clusters(scores, |s| s.peaks), 0.92);
        at_least("settled", cases(scores, |s| s.settled), 0.92);
    }
    let mut at_most = |what, rate, most| held.push(Held { what, rate, least: 0.0, most });
    if cell.mics == MicPair::Identical {
        at_most("false different", cases(scores, |s| Some(s.false_different)), 0.05);
    }
    at_most("wrong sign", cases(scores, |s| Some(s.wrong_sign)), 0.025);
    at_most("wrong alike", cases(scores, |s| Some(s.wrong_alike)), 0.05);
    let oracle: Vec<f64> = scores.iter().filter_map(|s| s.oracle_finds).collect();
    let mut oracle_power = None;
    if matches!(cell.mics, MicPair::Bump3Db) && !oracle.is_empty() {
        let reach = oracle.iter().sum::<f64>() / oracle.len() as f64;
        oracle_power = Some(reach);
        let least = if reach >= ORACLE_REACHES { 0.80 } else { 0.0 };
        held.push(Held { what: "power", rate: cases(scores, |s| s.found), least, most: 1.0 });
    }
    CellResult {
        name: cell.name.clone(),
        n: scores.len(),
        claim,
        unknown_share: f64::from(unknown) / f64::from((known + unknown).max(1)),
        width_ratio: ratios.get(ratios.len() / 2).copied(),
        oracle_power,
        held,
        conditional: [0, 1, 2].map(|k| clusters(scores, |s| s.conditional[k])),
    }
}

fn sum(octaves: &[Tally; N_OCTAVES], octave: Option<usize>) -> Tally {
    let mut out = Tally::default();
    for (o, tally) in octaves.iter().enumerate() {
        if octave.is_none_or(|wanted| wanted == o) {
            out.n += tally.n;
            out.held += tally.held;
        }
    }
    out
}

/// Coverage over what hangs together within a comparison: clustered by comparison.
pub(crate) fn clusters(scores: &[CaseScore], tally: impl Fn(&CaseScore) -> Tally) -> Option<Rate> {
    let clusters: Vec<Cluster> = scores
        .iter()
        .map(tally)
        .map(|t| Cluster { n_hits: u64::from(t.held), n_trials: u64::from(t.n) })
        .collect();
    let (hits, trials) = clusters.iter().fold((0, 0), |(h, t), c| (h + c.n_hits, t + c.n_trials));
    let ProportionInterval { low, high } = clustered(&clusters, CONFIDENCE)?;
    let n = clusters.iter().filter(|c| c.n_trials > 0).count();
    Some(Rate { rate: hits as f64 / trials as f64, low, high, n })
}

/// Rate over comparisons; those without an answer do not count.
pub(crate) fn cases(scores: &[CaseScore], hit: impl Fn(&CaseScore) -> Option<bool>) -> Option<Rate> {
    let answers: Vec<bool> = scores.iter().filter_map(hit).collect();
    let hits = answers.iter().filter(|a| **a).count();
    let ProportionInterval { low, high } = clopper_pearson(hits as u64, answers.len() as u64, CONFIDENCE)?;
    Some(Rate { rate: hits as f64 / answers.len() as f64, low, high, n: answers.len() })
}
