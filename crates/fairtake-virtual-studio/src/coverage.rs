//! The coverage experiment: made comparisons of one cell, judged and held against the truth.

use crate::cells::{Also, Cell};
use crate::curve::{Case, GoneOn, draw_case, draw_case_gone_on};
use crate::requirements::{CellResult, collect};
use crate::score::{CaseScore, conditional, score};
use crate::spectrum_score::score_features;
use fairtake_compare::{Allowance, Judgement, Region, Settings, SettleReason, Verdict, judge};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;

/// A region counts as settled when at most this share of its bands is still undecided: what the advice promises.
const STILL_UNDECIDED: f64 = 0.25;

/// The allowance is tried at these multiples of its sizes.
pub const ALLOWANCES: [f64; 3] = [0.5, 1.0, 2.0];

/// Runs `n` comparisons of a cell on all cores. `shrink` multiplies every half-width (1 = the real thing).
pub fn run_cell(cell: &Cell, n: usize, seed: u64, settings: &Settings, shrink: f64) -> CellResult {
    collect(cell, &on_all_cores(n, |i| score_one(cell, i, seed, settings, shrink)))
}

/// Makes `n` things on all cores and gives them back in order.
pub fn on_all_cores<T: Send>(n: usize, make: impl Fn(usize) -> T + Sync) -> Vec<T> {
    let next = AtomicUsize::new(0);
    let n_threads = thread::available_parallelism().map_or(1, |p| p.get());
    let mut made: Vec<(usize, T)> = thread::scope(|scope| {
        let work = || {
            let mut mine = Vec::new();
            loop {
                let i = next.fetch_add(1, Ordering::Relaxed);
                if i >= n {
                    return mine;
                }
                mine.push((i, make(i)));
            }
        };
        let workers: Vec<_> = (0..n_threads).map(|_| scope.spawn(work)).collect();
        workers.into_iter().flat_map(|w| w.join().expect("a worker does not panic")).collect()
    });
    made.sort_by_key(|(i, _)| *i);
    made.into_iter().map(|(_, t)| t).collect()
}

/// Makes, judges and scores comparison number `i` of a cell. The same arguments give the same score.
pub fn score_one(cell: &Cell, i: usize, seed: u64, settings: &Settings, shrink: f64) -> CaseScore {
    let case_seed = seed.wrapping_mul(1_000_003).wrapping_add(i as u64);
    let case = draw_case(cell, case_seed);
    let settings = Settings { seed: i as u64, ..settings.clone() };
    let judgement = judge(&case.tables, &settings, None);
    let mut out = score(&case, &judgement, settings.margin_db, shrink);
    for also in &cell.also {
        match also {
            Also::Features => score_features(&case, &settings, shrink, &mut out),
            Also::Settle => out.settled = settled(cell, case_seed, &judgement, &settings),
            Also::Allowance => {
                for (tally, times) in out.conditional.iter_mut().zip(ALLOWANCES) {
                    *tally = conditional(&case, &with_allowance(&case, &settings, times).bands);
                }
            }
        }
    }
    out
}

fn with_allowance(case: &Case, settings: &Settings, times: f64) -> Judgement {
    let a = &settings.allowance;
    let allowance = Allowance {
        distance_mm: times * a.distance_mm,
        centre_offset_sd_mm: times * a.centre_offset_sd_mm,
        at_1khz_db: times * a.at_1khz_db,
        at_10khz_db: times * a.at_10khz_db,
        ..a.clone()
    };
    judge(&case.tables, &Settings { allowance, ..settings.clone() }, Some(&case.setting_up))
}

/// Goes on with the session until the units that the advice for the widest undecided region asks for are there, and
/// judges again. `None` when there is no such advice.
fn settled(cell: &Cell, case_seed: u64, judgement: &Judgement, settings: &Settings) -> Option<bool> {
    let width = |r: &Region| (r.to_hz / r.from_hz).log2();
    let advised = |r: &&Region| {
        r.low_db.is_some() && r.settle.as_ref().is_some_and(|s| s.reason == SettleReason::Reachable)
    };
    let region = judgement.regions.iter().filter(advised).max_by(|a, b| width(a).total_cmp(&width(b)))?;
    let advice = region.settle.as_ref()?;
    let gone_on = match (advice.placements, advice.events) {
        (Some(n), _) => GoneOn::ToPlacements(n),
        (None, Some(n)) => GoneOn::ToEvents(n),
        (None, None) => return None,
    };
    let case = draw_case_gone_on(cell, case_seed, gone_on);
    let again = judge(&case.tables, settings, None);
    let inside: Vec<Verdict> = case
        .tables
        .bands
        .iter()
        .zip(&again.bands)
        .filter(|(band, _)| band.centre_hz() > region.from_hz && band.centre_hz() < region.to_hz)
        .map(|(_, judged)| judged.verdict)
        .collect();
    let undecided = inside.iter().filter(|v| **v == Verdict::Undecided).count();
    Some(undecided as f64 <= STILL_UNDECIDED * inside.len() as f64)
}
