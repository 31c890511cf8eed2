//! From event tables to a fit: which level of repetition counts, what pairs, what is unknown.

use super::witness::RelativeToWitness;
use crate::{Claim, Design, MatchBy, PairTables, Playing, Table, Unit};
use fairtake_stats::autocorrelation::{Lag1, effective, effective_number, lag1, pooled_lag1};
use fairtake_stats::linear::{Fit, Stratum, fit_effect, fit_strata};
use fairtake_stats::matrix::Matrix;

/// Extra columns behind the bands: the matching quantity and the four levels, before the match.
pub(crate) const N_LEVELS: usize = 5;

/// At event level fewer effective events per microphone than this say nothing, at the upper 90 % bound of how much they
/// hang together (normal quantile).
const FEWEST_EVENTS: f64 = 4.0;
const PROBABLE: f64 = 1.2816;

/// At its upper 99 % bound there must still be as many as these. Reason: bands that all move with one wandering quantity are
/// one series, from which the correlation is hardly known; of rendered voices of 30 s, whose blocks are worth four, one in
/// five passed for known because its blocks looked independent by chance, and missed.
const FEWEST_SURELY: f64 = 3.0;
const SURE: f64 = 2.3263;

/// Where all bands of sustained sound move with fewer quantities than this, how much neighbouring blocks hang together is known from
/// one series, and a series of thirty cannot tell blocks worth four from blocks worth ten. Reason: of rendered voices recorded
/// together at one placement, those that passed for known missed.
const FEWEST_QUANTITIES: f64 = 2.0;

/// Fewer blocks of sustained sound than this cannot tell how much neighbouring blocks hang together. Reason: with 8
/// blocks at a correlation of 0.5 the few comparisons that passed for known covered 0.87 in the ground truth.
const FEWEST_BLOCKS: usize = 12;

/// What is counted in one comparison, and the fit made of it.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Counted {
    /// What the intervals speak about.
    pub claim: Claim,
    /// What was counted.
    pub unit: Unit,
    /// Effective number of units, reference and against.
    pub n_effective: [f64; 2],
    /// Columns: the supported bands (matched), then [`N_LEVELS`] level columns. `None`: too few units to know.
    pub fit: Option<Fit>,
    /// Differences per column, known even where no interval is.
    pub estimate: Vec<f64>,
    /// Where placements are counted: per column, what the events of a take leave in the variance of one of them.
    pub within: Option<Vec<f64>>,
}

/// Chooses the unit and fits the difference *against − reference*.
pub(crate) fn count(pair: &PairTables, by: MatchBy) -> Counted {
    match pair.design {
        // Takes that are said to be recorded together, but share no performance, pair with nothing.
        Design::Together if share_a_performance(pair) => together(pair, by),
        Design::Together => in_turn(pair, by),
        Design::Replayed if !replaced(pair) => paired_by_row(pair, by),
        Design::Replayed | Design::InTurn | Design::InTurnWithWitness => in_turn(pair, by),
    }
}

/// True when some take of each microphone was recorded at once with one of the other.
fn share_a_performance(pair: &PairTables) -> bool {
    pair.reference.iter().any(|a| pair.against.iter().any(|b| a.performance == b.performance))
}

/// True when both microphones were set up at least twice.
fn replaced(pair: &PairTables) -> bool {
    [&pair.reference, &pair.against].iter().all(|tables| distinct(tables, |t| t.placement).len() >= 2)
}

fn distinct(tables: &[Table], key: impl Fn(&Table) -> u32) -> Vec<u32> {
    let mut keys: Vec<u32> = tables.iter().map(key).collect();
    keys.sort_unstable();
    keys.dedup();
    keys
}

/// Rows of one take: matched supported bands, then the level columns.
pub(super) fn rows(table: &Table, pair: &PairTables, by: MatchBy) -> Matrix {
    let m = pair.bands.len();
    let n_supported = pair.supported.iter().filter(|s| **s).count();
    let mut out = Matrix::zeros(0, n_supported + N_LEVELS);
    let column = table.match_column(by);
    for event in 0..table.n_events() {
        let level = column.map_or(0.0, |c| c[event]);
        let bands = &table.band_db[event * m..(event + 1) * m];
        let mut row: Vec<f64> =
            bands.iter().zip(&pair.supported).filter(|(_, s)| **s).map(|(b, _)| b - level).collect();
        row.extend([
            level,
            table.sample_peak_db[event],
            table.true_peak_db[event],
            table.rms_db[event],
            table.loudness_db[event],
        ]);
        out.push_row(&row);
    }
    out
}

fn minus(a: &Matrix, b: &Matrix) -> Matrix {
    let n = a.n_rows().min(b.n_rows());
    let mut out = Matrix::zeros(0, a.n_cols());
    for i in 0..n {
        let row: Vec<f64> = a.row(i).iter().zip(b.row(i)).map(|(a, b)| a - b).collect();
        out.push_row(&row);
    }
    out
}

/// Units of the event level, per side.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
struct Effective {
    /// Effective number.
    n: [f64; 2],
    /// The same if blocks hang together as much as the upper 90 % bound says.
    least: [f64; 2],
    /// And if as much as the upper 99 % bound.
    surely: [f64; 2],
    /// How much less well a variance of a mean is known because this is estimated: a relative variance.
    relative_variance: f64,
    /// By how many quantities of their own the bands move.
    quantities: f64,
}

impl Effective {
    /// A pair of events is one unit of both microphones.
    fn of_pairs(self) -> Effective {
        let both = |sides: [f64; 2]| [sides[0]; 2];
        Effective { n: both(self.n), least: both(self.least), surely: both(self.surely), ..self }
    }

    fn enough(&self) -> bool {
        self.least.iter().all(|n| *n >= FEWEST_EVENTS)
            && self.surely.iter().all(|n| *n >= FEWEST_SURELY)
            && self.quantities >= FEWEST_QUANTITIES
    }
}

/// Event-level strata, with the effective number of correlated blocks.
fn event_strata(samples: Vec<(Matrix, f64, usize)>, playing: Playing) -> (Vec<Stratum>, Effective) {
    let matrices: Vec<&Matrix> = samples.iter().map(|(rows, _, _)| rows).collect();
    let lag1 = if playing == Playing::Sustained { lag1(&matrices) } else { Lag1::NONE };
    let mut sum = Effective { quantities: lag1.independent_columns, ..Effective::default() };
    let strata = samples
        .into_iter()
        .map(|(rows, weight, side)| {
            let worth = effective(rows.n_rows(), lag1);
            sum.n[side] += worth.n;
            sum.least[side] += effective_number(rows.n_rows(), lag1.upper(PROBABLE));
            sum.surely[side] += effective_number(rows.n_rows(), lag1.upper(SURE));
            sum.relative_variance = sum.relative_variance.max(worth.relative_variance);
            Stratum { rows, n_effective: worth.n, weight, side }
        })
        .collect();
    (strata, sum)
}

/// Variance of a take's mean by its events alone, per column, on average over takes.
fn within_takes(takes: &[&Matrix], playing: Playing) -> Vec<f64> {
    let lag1 = if playing == Playing::Sustained { pooled_lag1(takes) } else { 0.0 };
    let mut out = vec![0.0; takes.first().map_or(0, |t| t.n_cols())];
    for take in takes {
        let n = take.n_rows() as f64;
        let n_effective = effective_number(take.n_rows(), lag1);
        if n_effective <= 1.0 {
            continue;
        }
        let mean = take.column_means();
        // E(Σ residual²) = σ²·n·(1 − 1/n_e), and the mean's variance is σ²/n_e.
        let scale = 1.0 / (n * (1.0 - 1.0 / n_effective) * n_effective * takes.len() as f64);
        for i in 0..take.n_rows() {
            let squares = take.row(i).iter().zip(&mean).map(|(v, m)| scale * (v - m) * (v - m));
            out.iter_mut().zip(squares).for_each(|(o, s)| *o += s);
        }
    }
    out
}

fn event_unit(playing: Playing) -> Unit {
    if playing == Playing::Sustained { Unit::Block } else { Unit::Event }
}

/// Events of one performance pair. With both microphones set up again (or exchanged) the settings-up are counted.
fn together(pair: &PairTables, by: MatchBy) -> Counted {
    let pairs: Vec<(&Table, &Table, Matrix)> = pair
        .reference
        .iter()
        .filter_map(|a| {
            let b = pair.against.iter().find(|b| b.performance == a.performance)?;
            Some((a, b, minus(&rows(b, pair, by), &rows(a, pair, by))))
        })
        .collect();
    let mut settings_up: Vec<(u32, u32)> = pairs.iter().map(|(a, b, _)| (a.placement, b.placement)).collect();
    settings_up.sort_unstable();
    settings_up.dedup();
    if replaced(pair) && settings_up.len() >= 2 {
        let mut means = Matrix::zeros(0, n_columns(pair));
        let mut positions = Vec::new();
        for key in &settings_up {
            let here: Vec<_> = pairs.iter().filter(|(a, b, _)| (a.placement, b.placement) == *key).collect();
            means.push_row(&mean_of_means(here.iter().map(|(_, _, d)| d)));
            positions.push(match (&here[0].0.position, &here[0].1.position) {
                (Some(a), Some(b)) if a < b => 1.0,
                (Some(a), Some(b)) if a > b => -1.0,
                _ => 0.0,
            });
        }
        let n = settings_up.len() as f64;
        let exchanged = positions.contains(&1.0) && positions.contains(&-1.0);
        let fit = if exchanged {
            fit_effect(
                &means,
                &vec![1.0; positions.len()],
                &Matrix::from_rows(positions.len(), 1, positions.clone()),
            )
        } else {
            Some(fit_strata(&[Stratum { rows: means.clone(), n_effective: n, weight: 1.0, side: 0 }]))
        };
        let estimate = match &fit {
            Some(fit) => fit.estimate.clone(),
            None => mean_over_positions(&means, &positions),
        };
        let takes: Vec<&Matrix> = pairs.iter().map(|(_, _, d)| d).collect();
        let within = Some(within_takes(&takes, pair.playing));
        return Counted { within, ..counted(Claim::Microphones, Unit::Placement, [n, n], fit, estimate) };
    }
    let n_takes = pairs.len().max(1) as f64;
    let samples = pairs.into_iter().map(|(_, _, d)| (d, 1.0 / n_takes, 0)).collect();
    let (strata, effective) = event_strata(samples, pair.playing);
    event_level(strata, effective.of_pairs(), pair)
}

/// A fixed recording played back: block *k* of one take is block *k* of the other.
fn paired_by_row(pair: &PairTables, by: MatchBy) -> Counted {
    let n_takes = pair.reference.len().min(pair.against.len()).max(1) as f64;
    let samples = pair
        .reference
        .iter()
        .zip(&pair.against)
        .map(|(a, b)| (minus(&rows(b, pair, by), &rows(a, pair, by)), 1.0 / n_takes, 0))
        .collect();
    let (strata, effective) = event_strata(samples, pair.playing);
    event_level(strata, effective.of_pairs(), pair)
}

/// One microphone after the other: nothing pairs, except each take with its witness.
fn in_turn(pair: &PairTables, by: MatchBy) -> Counted {
    let relative = RelativeToWitness::new(pair);
    let sides: [Vec<(&Table, Matrix)>; 2] = [&pair.reference, &pair.against]
        .map(|tables| tables.iter().map(|t| (t, relative.rows(t, pair, by))).collect());
    if replaced(pair) {
        let strata: Vec<Stratum> = sides
            .iter()
            .enumerate()
            .map(|(side, takes)| {
                let mut means = Matrix::zeros(0, n_columns(pair));
                let mut placements: Vec<u32> = takes.iter().map(|(t, _)| t.placement).collect();
                placements.sort_unstable();
                placements.dedup();
                for p in placements {
                    means.push_row(&mean_of_means(
                        takes.iter().filter(|(t, _)| t.placement == p).map(|(_, rows)| rows),
                    ));
                }
                Stratum { n_effective: means.n_rows() as f64, rows: means, weight: sign(side), side }
            })
            .collect();
        let n = [strata[0].n_effective, strata[1].n_effective];
        let fit = fit_strata(&strata);
        let estimate = fit.estimate.clone();
        let takes: Vec<&Matrix> = sides.iter().flatten().map(|(_, rows)| rows).collect();
        let within = Some(within_takes(&takes, pair.playing));
        return Counted { within, ..counted(Claim::Microphones, Unit::Placement, n, Some(fit), estimate) };
    }
    // Several passes at one placement are the units; a pass is never an event.
    let passes_repeat = sides
        .iter()
        .all(|takes| takes.len() >= 2 && takes.iter().all(|(t, _)| t.placement == takes[0].0.placement));
    if passes_repeat {
        let strata: Vec<Stratum> = sides
            .iter()
            .enumerate()
            .map(|(side, takes)| {
                let mut means = Matrix::zeros(0, n_columns(pair));
                takes.iter().for_each(|(_, rows)| means.push_row(&rows.column_means()));
                Stratum { n_effective: means.n_rows() as f64, rows: means, weight: sign(side), side }
            })
            .collect();
        let n = [strata[0].n_effective, strata[1].n_effective];
        let fit = fit_strata(&strata);
        let estimate = fit.estimate.clone();
        return counted(Claim::TheseTakes, Unit::Performance, n, Some(fit), estimate);
    }
    let samples = sides
        .into_iter()
        .enumerate()
        .flat_map(|(side, takes)| {
            let weight = sign(side) / takes.len().max(1) as f64;
            takes.into_iter().map(move |(_, rows)| (rows, weight, side))
        })
        .collect();
    let (strata, effective) = event_strata(samples, pair.playing);
    with_balance(event_level(strata, effective, pair), relative.balance(pair, by), effective)
}

/// Adds to the fit what the witness' correction took away: how the playing changes the difference in loudness.
fn with_balance(mut counted: Counted, balance: Vec<Matrix>, effective: Effective) -> Counted {
    let Some(fit) = counted.fit.as_mut().filter(|_| !balance.is_empty()) else { return counted };
    let weight = 1.0 / balance.len() as f64;
    let n_rows: usize = balance.iter().map(Matrix::n_rows).sum();
    // Blocks that hang together count as much less here as they do there.
    let counts = (effective.n.iter().sum::<f64>() / n_rows as f64).min(1.0);
    let strata: Vec<Stratum> = balance
        .into_iter()
        .map(|rows| Stratum { n_effective: counts * rows.n_rows() as f64, rows, weight, side: 0 })
        .collect();
    let added = fit_strata(&strata);
    fit.estimate.iter_mut().zip(&added.estimate).for_each(|(e, a)| *e += a);
    fit.parts.extend(added.parts);
    counted.estimate.clone_from(&fit.estimate);
    counted
}

/// The mean spectrum of one microphone (0 = reference) over its counted units, unmatched, supported bands only, with
/// the fit that tells its spread; no fit with too few units.
pub(crate) fn microphone_fit(pair: &PairTables, side: usize) -> (Option<Fit>, Vec<f64>) {
    let tables = if side == 0 { &pair.reference } else { &pair.against };
    let n_bands = n_columns(pair) - N_LEVELS;
    let keep: Vec<bool> = (0..n_columns(pair)).map(|c| c < n_bands).collect();
    let takes: Vec<Matrix> =
        tables.iter().map(|t| rows(t, pair, MatchBy::None).keep_columns(&keep)).collect();
    let placements = distinct(tables, |t| t.placement);
    let mut relative_variance = 0.0;
    let strata = if placements.len() >= 2 {
        let mut means = Matrix::zeros(0, n_bands);
        for p in &placements {
            let here = tables.iter().zip(&takes).filter(|(t, _)| t.placement == *p).map(|(_, rows)| rows);
            means.push_row(&mean_of_means(here));
        }
        vec![Stratum { n_effective: means.n_rows() as f64, rows: means, weight: 1.0, side: 0 }]
    } else {
        let weight = 1.0 / takes.len().max(1) as f64;
        let (strata, effective) =
            event_strata(takes.into_iter().map(|rows| (rows, weight, 0)).collect(), pair.playing);
        relative_variance = effective.relative_variance;
        strata
    };
    let n: f64 = strata.iter().map(|s| s.n_effective).sum();
    let fit = fit_strata(&strata).with_uncertain_scale(relative_variance);
    let estimate = fit.estimate.clone();
    let enough = fit.df() >= 1.0 && (placements.len() >= 2 || n >= FEWEST_EVENTS);
    (enough.then_some(fit), estimate)
}

/// Against counts up, the reference counts down.
fn sign(side: usize) -> f64 {
    if side == 1 { 1.0 } else { -1.0 }
}

fn n_columns(pair: &PairTables) -> usize {
    pair.supported.iter().filter(|s| **s).count() + N_LEVELS
}

fn mean_of_means<'a>(takes: impl Iterator<Item = &'a Matrix>) -> Vec<f64> {
    let means: Vec<Vec<f64>> = takes.map(Matrix::column_means).collect();
    let n = means.len().max(1) as f64;
    (0..means.first().map_or(0, Vec::len)).map(|col| means.iter().map(|m| m[col]).sum::<f64>() / n).collect()
}

/// Mean of the two positions' means: the difference when nothing is left to judge its spread by.
fn mean_over_positions(means: &Matrix, positions: &[f64]) -> Vec<f64> {
    let at = |sign: f64| {
        let mut here = Matrix::zeros(0, means.n_cols());
        (0..means.n_rows()).filter(|i| positions[*i] == sign).for_each(|i| here.push_row(means.row(i)));
        here.column_means()
    };
    at(1.0).iter().zip(at(-1.0)).map(|(a, b)| (a + b) / 2.0).collect()
}

fn event_level(strata: Vec<Stratum>, effective: Effective, pair: &PairTables) -> Counted {
    let fit = fit_strata(&strata).with_uncertain_scale(effective.relative_variance);
    let estimate = fit.estimate.clone();
    let longest = strata.iter().map(|s| s.rows.n_rows()).max().unwrap_or(0);
    let known = pair.playing != Playing::Sustained || longest >= FEWEST_BLOCKS;
    // Those few comparisons in which correlated blocks look independent by chance must not pass for known.
    let enough = known && effective.enough();
    counted(Claim::TheseTakes, event_unit(pair.playing), effective.n, enough.then_some(fit), estimate)
}

fn counted(claim: Claim, unit: Unit, n_effective: [f64; 2], fit: Option<Fit>, estimate: Vec<f64>) -> Counted {
    let fit = fit.filter(|f| f.df() >= 2.0 - 1e-9);
    Counted { claim, unit, n_effective, fit, estimate, within: None }
}
