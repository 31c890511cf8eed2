//! The figure that counts: what remains on takes that were not used to fit.

use crate::bridge::Wanted;
use crate::fit::{at_bands, fit};
use crate::seen::{Seen, mean, seen};
use crate::smooth::smoothest;
use fairtake_compare::{PairTables, Settings, Table, judge};
use serde::{Deserialize, Serialize};

/// A fold is fitted to at least this many rows of a microphone.
const FEWEST_ROWS: usize = 4;

/// What remains on takes that were not used to fit, as root mean square over octaves in dB. What playing, placing and noise
/// do to the held-out takes by themselves is in all of them.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct HeldOut {
    /// Which were held out in turn: placements, or every second event.
    pub by_placement: bool,
    /// How many times.
    pub folds: usize,
    /// Without any correction.
    pub without_db: f64,
    /// With the smoothest correction, fitted to the other takes.
    pub correction_db: f64,
    /// With the equaliser, fitted to the other takes.
    pub equaliser_db: f64,
    /// From one set of takes to the others: what playing and placing do by themselves.
    pub by_itself_db: f64,
    /// Standard deviation of one held-out part, from how the parts differ: what it is off the truth by itself.
    pub by_chance_db: f64,
}

/// Fits to all but one part of the takes, tries on that part, in turn. `None` where there is too little to hold out.
pub(crate) fn held_out(pair: &PairTables, settings: &Settings, wanted: &Wanted) -> Option<HeldOut> {
    let placements = placements(pair);
    let half = |odd: usize| rows(pair, |row| row % 2 == odd);
    let by_placement = || {
        let held = |p: &u32| (without(pair, |t| t.placement == *p), without(pair, |t| t.placement != *p));
        tried(&placements.iter().map(held).collect::<Vec<_>>(), settings, wanted)
    };
    // Microphones that exchanged their spots have no difference in one placement alone: then events are held out.
    let placed = (placements.len() >= 2).then(by_placement).flatten();
    placed.map(|t| t.named(true)).or_else(|| {
        tried(&[(half(0), half(1)), (half(1), half(0))], settings, wanted).map(|t| t.named(false))
    })
}

/// Mean squares over all parts, the variance from part to part, and how many could be tried.
struct Tried {
    squares: [f64; 4],
    variance: f64,
    folds: usize,
}

impl Tried {
    fn named(self, by_placement: bool) -> HeldOut {
        let [without_db, correction_db, equaliser_db, by_itself_db] = self.squares.map(f64::sqrt);
        let by_chance_db = self.variance.sqrt();
        HeldOut {
            by_placement,
            folds: self.folds,
            without_db,
            correction_db,
            equaliser_db,
            by_itself_db,
            by_chance_db,
        }
    }
}

/// One part tried.
struct Fold {
    /// Mean squares over octaves: without a correction, with the smoothest, with the equaliser, and of the difference to that of
    /// the takes that were used.
    squares: [f64; 4],
    /// The difference on the held-out takes, by number of band, with the band's width in octaves.
    there: Vec<(usize, f64, f64)>,
}

/// Every part in turn; `None` where fewer than two can be tried. They do not wait for each other.
fn tried(parts: &[(PairTables, PairTables)], settings: &Settings, wanted: &Wanted) -> Option<Tried> {
    let all: Vec<Option<Fold>> = std::thread::scope(|scope| {
        let threads: Vec<_> = parts.iter().map(|part| scope.spawn(|| fold(part, settings, wanted))).collect();
        threads.into_iter().map(|t| t.join().expect("fitting does not panic")).collect()
    });
    let known: Vec<Fold> = all.into_iter().flatten().collect();
    let folds = known.len();
    let mean = |k: usize| known.iter().map(|f| f.squares[k]).sum::<f64>() / folds as f64;
    (folds >= 2).then(|| Tried { squares: std::array::from_fn(mean), variance: variance(&known), folds })
}

/// Variance of the difference from part to part, mean over the octaves that all parts know.
fn variance(folds: &[Fold]) -> f64 {
    let (mut sum, mut octaves) = (0.0, 0.0);
    for (index, wide, _) in &folds[0].there {
        let at = |f: &Fold| f.there.iter().find(|(i, ..)| i == index).map(|(.., db)| *db);
        let Some(all) = folds.iter().map(at).collect::<Option<Vec<f64>>>() else { continue };
        let middle = all.iter().sum::<f64>() / all.len() as f64;
        sum += wide * all.iter().map(|db| (db - middle).powi(2)).sum::<f64>() / (all.len() - 1) as f64;
        octaves += wide;
    }
    if octaves > 0.0 { sum / octaves } else { 0.0 }
}

/// Fits to the first tables and tries on the second.
fn fold((used, held): &(PairTables, PairTables), settings: &Settings, wanted: &Wanted) -> Option<Fold> {
    let rows = |t: &[Table]| t.iter().map(Table::n_events).sum::<usize>();
    if [used, held].iter().any(|p| rows(&p.reference).min(rows(&p.against)) < FEWEST_ROWS) {
        return None;
    }
    let tried = judge(held, settings, None);
    let (known, there): (Vec<Seen>, Vec<f64>) = seen(used, &judge(used, settings, None), wanted.rate_hz)
        .into_iter()
        .filter_map(|s| Some((s, tried.bands[s.index].difference_db?)))
        .unzip();
    if known.is_empty() {
        return None;
    }
    let correction = smoothest(&known, wanted.most_boost_db);
    let steps = fit(&known, wanted, settings.margin_db);
    let equaliser = at_bands(&known, steps.last()?, wanted.rate_hz);
    let square = |of: &dyn Fn(usize) -> f64| mean(&known, |i, _| (there[i] - of(i)).powi(2));
    Some(Fold {
        squares: [
            square(&|_| 0.0),
            square(&|i| correction[i]),
            square(&|i| equaliser[i]),
            square(&|i| known[i].difference_db),
        ],
        there: known.iter().zip(&there).map(|(s, db)| (s.index, s.octaves(), *db)).collect(),
    })
}

/// Placements that both microphones have.
fn placements(pair: &PairTables) -> Vec<u32> {
    let mut out: Vec<u32> = pair.reference.iter().map(|t| t.placement).collect();
    out.sort_unstable();
    out.dedup();
    out.retain(|p| pair.against.iter().any(|t| t.placement == *p));
    out
}

fn without(pair: &PairTables, leave: impl Fn(&Table) -> bool) -> PairTables {
    let kept = |tables: &[Table]| tables.iter().filter(|t| !leave(t)).cloned().collect::<Vec<_>>();
    let (reference, against) = (kept(&pair.reference), kept(&pair.against));
    let played = |t: &&Table| reference.iter().chain(&against).any(|k| k.performance == t.performance);
    let witness = pair.witness.iter().filter(played).cloned().collect();
    PairTables { reference, against, witness, ..pair.clone() }
}

/// Some of the events of every take; row *k* stays the same event in all tables of one performance.
fn rows(pair: &PairTables, keep: impl Fn(usize) -> bool) -> PairTables {
    let n = pair.bands.len();
    let kept = |t: &Table| {
        let of =
            |column: &[f64]| (0..column.len()).filter(|r| keep(*r)).map(|r| column[r]).collect::<Vec<f64>>();
        Table {
            band_db: t
                .band_db
                .chunks_exact(n)
                .enumerate()
                .filter(|(r, _)| keep(*r))
                .flat_map(|(_, b)| b.to_vec())
                .collect(),
            loudness_db: of(&t.loudness_db),
            midrange_db: of(&t.midrange_db),
            sample_peak_db: of(&t.sample_peak_db),
            true_peak_db: of(&t.true_peak_db),
            rms_db: of(&t.rms_db),
            ..t.clone()
        }
    };
    let all = |tables: &[Table]| tables.iter().map(kept).collect::<Vec<_>>();
    PairTables {
        reference: all(&pair.reference),
        against: all(&pair.against),
        witness: all(&pair.witness),
        ..pair.clone()
    }
}
