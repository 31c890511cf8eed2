//! The fewest bands of an equaliser that carry a difference: one after the other where it helps most, all of them fitted
//! anew each time.

use crate::bridge::Wanted;
use crate::equaliser::Equaliser;
use crate::problem::{Problem, gains_db, half_sines};
use crate::remaining::{by_band, greatest, rms_db};
use crate::seen::Seen;
use fairtake_compare::each_in_parallel;

/// A band that takes off less than this share of the sum of squares is not worth its place.
const WORTH_SHARE: f64 = 0.01;
/// So many equalisers are kept from one number of bands to the next.
const FEW: usize = 5;
/// Two whose sums of squares differ by less than this share are the same.
const SAME_SHARE: f64 = 1e-3;

/// Bands one after the other until nothing of the margin or more is shown to remain, or `most_bands` are used; the best
/// equaliser of each number on the way, the first without a band.
pub(crate) fn fit(seen: &[Seen], wanted: &Wanted, margin_db: f64) -> Vec<Equaliser> {
    let seen = &allowed(seen, wanted.most_boost_db);
    let problem = Problem::new(seen, wanted);
    let mut kept = vec![problem.improved(&Equaliser::default())];
    let mut steps = vec![problem.limited(kept[0].clone())];
    while steps.len() <= wanted.most_bands && !reaches(seen, &steps[steps.len() - 1], wanted, margin_db) {
        let before = problem.cost(&kept[0]);
        kept = with_one_more(&problem, &kept);
        if kept.is_empty() || problem.cost(&kept[0]) >= before * (1.0 - WORTH_SHARE) {
            break;
        }
        steps.push(problem.limited(kept[0].clone()));
    }
    steps
}

/// What an equaliser may aim at: a band that would need more than the highest boost asks for that boost. What that leaves is
/// said with what remains, and no band is spent on it.
fn allowed(seen: &[Seen], most_db: f64) -> Vec<Seen> {
    let held = |s: &Seen| {
        let over = (s.difference_db - most_db).max(0.0);
        Seen {
            difference_db: s.difference_db - over,
            simultaneous_db: s.simultaneous_db.map(|b| b - over),
            ..*s
        }
    };
    seen.iter().map(held).collect()
}

/// True where no difference of the margin or more is shown to remain.
fn reaches(seen: &[Seen], equaliser: &Equaliser, wanted: &Wanted, margin_db: f64) -> bool {
    greatest(&by_band(seen, &at_bands(seen, equaliser, wanted.rate_hz), margin_db)).is_none()
}

/// Gain of an equaliser in the middle of every band, in dB.
pub(crate) fn at_bands(seen: &[Seen], equaliser: &Equaliser, rate_hz: f64) -> Vec<f64> {
    gains_db(&half_sines(seen.iter().map(|s| s.band.centre_hz()), rate_hz), equaliser, rate_hz)
}

/// The best few equalisers with a band more than those few, the best first: what is best with a band less need not lead
/// to what is best.
fn with_one_more(problem: &Problem, few: &[Equaliser]) -> Vec<Equaliser> {
    let begun: Vec<Equaliser> = few.iter().flat_map(|e| problem.begun(e)).collect();
    let improved = |e: &Equaliser| {
        let e = problem.improved(e);
        (problem.cost(&e), e)
    };
    // In order, so that every run finds the same.
    let mut made = each_in_parallel(&begun, improved);
    made.sort_by(|a, b| a.0.total_cmp(&b.0));
    // The same one, found twice, is one.
    made.dedup_by(|a, b| (a.0 - b.0).abs() < SAME_SHARE * b.0);
    made.truncate(FEW);
    made.into_iter().map(|(_, e)| e).collect()
}

/// What every band bought: root mean square of what remains, in dB, with none, one, two … bands.
pub(crate) fn bought(seen: &[Seen], steps: &[Equaliser], rate_hz: f64) -> Vec<f64> {
    steps.iter().map(|e| rms_db(seen, &at_bands(seen, e, rate_hz))).collect()
}
