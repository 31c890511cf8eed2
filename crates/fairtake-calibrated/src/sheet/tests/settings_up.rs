//! What counts as a setting-up.

use super::{Made, bench};
use crate::Quantity;
use crate::bench::{Bench, BenchTake, MeasuredRole};
use crate::level::LevelCaution;
use crate::sheet::{Measurements, measure};

/// What these microphones recorded of a calibrator and at the standard place.
fn on_the_axis(mics: &[&str]) -> Bench {
    let mut bench = bench();
    let is_axis = |t: &BenchTake| {
        t.role == MeasuredRole::Response
            && t.angle_deg == 0.0
            && t.distance_mm == Some(1000.0)
            && mics.contains(&t.mic.as_str())
    };
    bench.takes.retain(|t| t.role == MeasuredRole::Calibrator || is_axis(t));
    bench
}

#[test]
fn several_takes_of_one_placement_are_one_setting_up() {
    let mut bench = on_the_axis(&["tern", "heron", "heron-b"]);
    let is_repeat = |t: &BenchTake| t.role == MeasuredRole::Response && matches!(t.placement, 2 | 3);
    let with = measure(&bench, "test");
    bench.takes.iter_mut().filter(|t| is_repeat(t)).for_each(|t| t.placement = 1);
    let without = measure(&bench, "test");
    let pair = |m: &Measurements| m.pairs.iter().find(|p| p.second == "heron-b").expect("twins").clone();
    let assumed = |q: &Quantity, of: &str| -> Vec<f64> {
        q.budget.iter().filter(|part| part.from == of).map(|part| part.standard).collect()
    };
    // ±0.2 dB of one setting-up, rectangular, however often the sweep was played.
    let whole = [0.2 / 3f64.sqrt()];
    let (told, single) = (pair(&with), pair(&without));
    assert_eq!((told.n_repeats, single.n_repeats), ([3, 3], [1, 1]));
    let deviation = &single.matched.largest.deviation_db;
    for which in ["first", "second"] {
        let of = format!("settings-up of the {which} (assumed)");
        assert_eq!(assumed(deviation, &of), whole, "{deviation:?}");
        assert_eq!(assumed(&single.matched.level_db, &of), whole);
        assert!(assumed(&told.matched.largest.deviation_db, &of).is_empty());
    }
    // The mean is that of the takes, whatever they are called.
    assert!((single.matched.level_db.value - told.matched.level_db.value).abs() < 1e-9);
    let sheet = |m: &Measurements| m.sheets.iter().find(|s| s.mic == "heron").expect("was recorded").clone();
    let heron = sheet(&without);
    let level = &heron.sensitivity.found.as_ref().expect("carried over").dbfs_per_pa;
    for of in ["repeats of the reference (assumed)", "repeats of the microphone (assumed)"] {
        assert_eq!(assumed(level, of), whole, "{level:?}");
    }
    let response = heron.response.found.as_ref().expect("has a reference");
    assert_eq!(response.n_repeats, 1);
    let own = response.own.as_ref().expect("has a reference");
    for point in own.points.iter().filter(|p| p.level_db.is_some()) {
        for of in ["setting-up of the microphone (assumed)", "setting-up of the reference (assumed)"] {
            let told = assumed(point.level_db.as_ref().expect("known"), of);
            assert_eq!(told, whole, "{} Hz", point.hz);
        }
    }
}

#[test]
fn a_reference_that_drifts_is_told_of_takes_of_one_placement_too() {
    let mut bench = on_the_axis(&["tern", "heron"]);
    let drifts = |bench: &Bench| {
        let measured = measure(bench, "test");
        let heron = measured.sheets.into_iter().find(|s| s.mic == "heron").expect("was recorded");
        let cautions = heron.sensitivity.found.expect("carried over").cautions;
        cautions.into_iter().filter(|c| matches!(c, LevelCaution::ReferenceDrifted { .. })).count()
    };
    assert_eq!(drifts(&bench), 0);
    let last = bench
        .takes
        .iter_mut()
        .find(|t| t.mic == "tern" && t.role == MeasuredRole::Response && t.placement == 3)
        .expect("was recorded");
    let louder = last.read().expect("in memory").iter().map(|x| 1.05 * x).collect();
    last.samples = Box::new(Made(louder));
    assert_eq!(drifts(&bench), 1, "0.42 dB and what the place does");
    for take in bench.takes.iter_mut().filter(|t| t.mic == "tern" && t.role == MeasuredRole::Response) {
        take.placement = 1;
    }
    assert_eq!(drifts(&bench), 1);
}
