//! The coverage experiment: many made comparisons of one cell, judged and held against the truth.

use crate::cells::{Cell, MicPair};
use crate::curve::{Case, draw_case};
use crate::score::{CaseScore, N_OCTAVES, score};
use fairtake_compare::{Claim, Settings, judge};
use fairtake_stats::binomial::{Cluster, ProportionInterval, clopper_pearson, clustered};
use std::thread;

/// Confidence of the intervals by which a cell is failed.
const CONFIDENCE: f64 = 0.99;

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
    /// Every requirement.
    pub held: Vec<Held>,
}

impl CellResult {
    /// True when no requirement fails.
    pub fn holds(&self) -> bool {
        self.held.iter().all(Held::holds) && self.width_ratio.is_none_or(|w| w <= MOST_WIDTH)
    }

    /// The requirement called `what`.
    pub fn rate(&self, what: &str) -> Option<Rate> {
        self.held.iter().find(|h| h.what == what).and_then(|h| h.rate)
    }
}

/// Median half-widths may be this much wider than an oracle's.
pub const MOST_WIDTH: f64 = 1.6;

/// Runs `n` comparisons of a cell on all cores. `shrink` multiplies every half-width (1 = the real thing).
pub fn run_cell(cell: &Cell, n: usize, seed: u64, settings: &Settings, shrink: f64) -> CellResult {
    let n_threads = thread::available_parallelism().map_or(1, |p| p.get());
    let mut scored: Vec<(usize, CaseScore, Claim)> = thread::scope(|scope| {
        let workers: Vec<_> = (0..n_threads)
            .map(|worker| {
                scope.spawn(move || {
                    (worker..n)
                        .step_by(n_threads)
                        .map(|i| one(cell, i, seed, settings, shrink))
                        .collect::<Vec<_>>()
                })
            })
            .collect();
        workers.into_iter().flat_map(|w| w.join().expect("a worker does not panic")).collect()
    });
    scored.sort_by_key(|(i, _, _)| *i);
    let claim = scored.first().map(|(_, _, c)| *c);
    let scores: Vec<CaseScore> = scored.into_iter().map(|(_, s, _)| s).collect();
    collect(cell, &scores, claim)
}

fn one(cell: &Cell, i: usize, seed: u64, settings: &Settings, shrink: f64) -> (usize, CaseScore, Claim) {
    let case: Case = draw_case(cell, seed.wrapping_mul(1_000_003).wrapping_add(i as u64));
    let judgement = judge(&case.tables, &Settings { seed: i as u64, ..settings.clone() }, None);
    (i, score(&case, &judgement, settings.margin_db, shrink), judgement.claim)
}

fn collect(cell: &Cell, scores: &[CaseScore], claim: Option<Claim>) -> CellResult {
    let known: u32 = scores.iter().map(|s| s.known.iter().sum::<u32>()).sum();
    let unknown: u32 = scores.iter().map(|s| s.unknown).sum();
    let mut ratios: Vec<f64> = scores.iter().filter_map(|s| s.width_ratio).collect();
    ratios.sort_by(f64::total_cmp);
    let (least, most) = match (claim, cell.placements) {
        (Some(Claim::Microphones), 0..=3) => (0.92, 0.985),
        _ => (0.93, 0.97),
    };
    // Four blocks only: not overconfident is all that is asked.
    let few = cell.events < 8 && claim == Some(Claim::TheseTakes);
    let mut held = vec![];
    if !few {
        held.push(Held { what: "pointwise", rate: per_band(scores, None), least, most });
        for (octave, what) in OCTAVES.into_iter().enumerate() {
            held.push(Held { what, rate: per_band(scores, Some(octave)), least: 0.90, most: 0.99 });
        }
        held.push(Held {
            what: "simultaneous",
            rate: per_case(scores, |s| s.simultaneous),
            least: 0.93,
            most: 1.0,
        });
        held.push(Held {
            what: "match",
            rate: per_case(scores, |s| s.match_covered),
            least: 0.92,
            most: 1.0,
        });
        held.push(Held {
            what: "regions",
            rate: per_case(scores, |s| s.regions_covered.map(|r| r > 0.999)),
            least: 0.92,
            most: 1.0,
        });
    }
    if cell.mics == MicPair::Identical && claim == Some(Claim::Microphones) {
        held.push(Held {
            what: "false different",
            rate: per_case(scores, |s| Some(s.false_different)),
            least: 0.0,
            most: 0.05,
        });
    }
    held.push(Held {
        what: "wrong sign",
        rate: per_case(scores, |s| Some(s.wrong_sign)),
        least: 0.0,
        most: 0.025,
    });
    held.push(Held {
        what: "wrong alike",
        rate: per_case(scores, |s| Some(s.wrong_alike)),
        least: 0.0,
        most: 0.05,
    });
    let oracle: Vec<f64> = scores.iter().filter_map(|s| s.oracle_finds).collect();
    if matches!(cell.mics, MicPair::Bump3Db) && !oracle.is_empty() {
        let reach = oracle.iter().sum::<f64>() / oracle.len() as f64;
        let least = if reach >= 0.9 { 0.80 } else { 0.0 };
        held.push(Held { what: "power", rate: per_case(scores, |s| s.found), least, most: 1.0 });
    }
    CellResult {
        name: cell.name.clone(),
        n: scores.len(),
        claim,
        unknown_share: f64::from(unknown) / f64::from((known + unknown).max(1)),
        width_ratio: ratios.get(ratios.len() / 2).copied(),
        held,
    }
}

/// Names of the octaves by their lower edge.
const OCTAVES: [&str; N_OCTAVES] = [
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

/// Coverage over bands, clustered by comparison.
fn per_band(scores: &[CaseScore], octave: Option<usize>) -> Option<Rate> {
    let clusters: Vec<Cluster> = scores
        .iter()
        .map(|s| {
            let sum = |counts: &[u32; N_OCTAVES]| match octave {
                Some(o) => u64::from(counts[o]),
                None => counts.iter().map(|c| u64::from(*c)).sum(),
            };
            Cluster { n_hits: sum(&s.covered), n_trials: sum(&s.known) }
        })
        .collect();
    let (hits, trials) = clusters.iter().fold((0, 0), |(h, t), c| (h + c.n_hits, t + c.n_trials));
    let ProportionInterval { low, high } = clustered(&clusters, CONFIDENCE)?;
    let n = clusters.iter().filter(|c| c.n_trials > 0).count();
    Some(Rate { rate: hits as f64 / trials as f64, low, high, n })
}

/// Rate over comparisons; those without an answer do not count.
fn per_case(scores: &[CaseScore], hit: impl Fn(&CaseScore) -> Option<bool>) -> Option<Rate> {
    let answers: Vec<bool> = scores.iter().filter_map(hit).collect();
    let hits = answers.iter().filter(|a| **a).count();
    let ProportionInterval { low, high } = clopper_pearson(hits as u64, answers.len() as u64, CONFIDENCE)?;
    Some(Rate { rate: hits as f64 / answers.len() as f64, low, high, n: answers.len() })
}
