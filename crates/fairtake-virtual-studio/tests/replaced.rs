//! How far off its last placement a microphone stands: the interval holds the known change about as often as it says,
//! and is narrow enough to be of use. Docs: docs/methods/replaced.md.

use fairtake_compare::{Replaced, Settings, replaced};
use fairtake_stats::binomial::tail_at_least;
use fairtake_virtual_studio::replaced::{Beside, replaced_case};

/// Cases of 12 hits at each placement that could be told: the estimate, and the truth in mm.
fn told(n_cases: u64, beside: Beside) -> Vec<(Replaced, f64)> {
    (0..n_cases)
        .filter_map(|seed| {
            let case = replaced_case(seed, 12, beside);
            let found = replaced(&case.pair, &case.at, case.level, &Settings::standard());
            found.ok().map(|found| (found, case.moved_mm))
        })
        .collect()
}

fn n_held(told: &[(Replaced, f64)], widened: f64) -> u64 {
    let held = told.iter().filter(|(r, truth)| {
        let (low, high) =
            (r.moved_mm - widened * (r.moved_mm - r.low_mm), r.moved_mm + widened * (r.high_mm - r.moved_mm));
        low <= *truth && *truth <= high
    });
    held.count() as u64
}

/// Fewest that an interval of 95 % holds of `n`, except by a chance of 1 %: the binomial quantile.
fn fewest_held(n: u64) -> u64 {
    (0..=n).find(|k| 1.0 - tail_at_least(k + 1, n, 0.95) > 0.01).expect("all of them are enough")
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

#[test]
fn the_interval_holds_the_known_change_of_distance() {
    for beside in [Beside::Nobody, Beside::Witness] {
        let told = told(100, beside);
        let n = told.len() as u64;
        let held = n_held(&told, 1.0);
        let half_mm = median(told.iter().map(|(r, _)| (r.high_mm - r.low_mm) / 2.0).collect());
        let error_mm = median(told.iter().map(|(r, truth)| (r.moved_mm - truth).abs()).collect());
        let moved_mm = median(told.iter().map(|(_, truth)| truth.abs()).collect());
        println!(
            "{beside:?}: {n} of 100 told, {held} held, half {half_mm:.1} mm, error {error_mm:.1} mm, moved {moved_mm:.1} mm"
        );
        assert!(held >= fewest_held(n), "{beside:?}: {held} of {n}, {} wanted", fewest_held(n));
        // An interval that always holds because it is always wide is of no use: shrunk to a third it must fail.
        assert!(n_held(&told, 1.0 / 3.0) < fewest_held(n), "{beside:?}");
        // Most microphones near a small source can be told with a witness; without one, those that moved much.
        let wanted = if beside == Beside::Witness { 80 } else { 25 };
        assert!(n >= wanted, "{beside:?}: only {n} of 100 could be told");
    }
}

#[test]
fn a_witness_makes_it_sharper() {
    let half_mm =
        |beside| median(told(60, beside).iter().map(|(r, _)| (r.high_mm - r.low_mm) / 2.0).collect());
    assert!(half_mm(Beside::Witness) < half_mm(Beside::Nobody));
}
