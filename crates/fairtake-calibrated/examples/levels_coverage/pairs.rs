//! Pairs: twins whose difference is known, set up again and again.

use crate::table::Row;
use fairtake_calibrated::level::Stated;
use fairtake_calibrated::microphone::{PairMatch, SamePlace, pair_match};
use fairtake_calibrated::response::Point;
use fairtake_calibrated::{Contribution, Quantity};
use fairtake_signal::bands::BandSet;
use fairtake_virtual_studio::bench::linear::{Chain, Filter};
use fairtake_virtual_studio::bench::twins::TwinRun;

/// Where levels are matched, in Hz.
const MATCHED_HZ: (f64, f64) = (250.0, 4000.0);

/// Rows for numbers of settings-up, distances and gains.
pub fn rows(n: u64) -> Vec<Row> {
    let dip = Chain(vec![Filter::Gain { db: 0.6 }, Filter::Peak { hz: 5500.0, q: 2.0, db: -1.2 }]);
    let three = TwinRun {
        bands_hz: BandSet::new(12, 24_000.0)
            .spans_hz()
            .into_iter()
            .filter(|(from, to)| *from > 240.0 && *to < 18_500.0)
            .collect(),
        differs: dip,
        n_repeats: [3, 3],
        level_db: 0.1,
        ripple_db: (0.15, 0.15),
        noise_db: 0.01,
        distance_mm: 1000.0,
        place_mm: 3.0,
        gradient_share: 0.5,
        gains_db: [30.0, 30.0],
        gain_within_db: 0.1,
    };
    let cases = [
        ("twins, three settings-up, one gain", three.clone()),
        ("twins, five settings-up, one gain", TwinRun { n_repeats: [5, 5], ..three.clone() }),
        ("twins, three settings-up, two gains", TwinRun { gains_db: [30.0, 36.0], ..three.clone() }),
        (
            "twins, five settings-up, 100 mm, two gains",
            TwinRun { n_repeats: [5, 5], distance_mm: 100.0, gains_db: [30.0, 36.0], ..three.clone() },
        ),
        (
            "no difference, three settings-up, one gain",
            TwinRun { differs: Chain(Vec::new()), ..three.clone() },
        ),
        (
            "no difference, three settings-up that differ more towards high frequencies, one gain",
            TwinRun { differs: Chain(Vec::new()), ripple_db: (0.05, 0.3), ..three.clone() },
        ),
    ];
    cases.into_iter().flat_map(|(name, run)| case(n, name, &run)).collect()
}

fn case(n: u64, name: &str, run: &TwinRun) -> Vec<Row> {
    let row = |figure: &str| Row::new(format!("{name}: {figure}"));
    let mut largest = row("largest deviation (dB)");
    let mut for_all = row("the same, for all frequencies at once (dB)");
    let mut level = row("level at equal gain (dB)");
    let truth = run.truth_db();
    let middle = |(from, to): &(f64, f64)| (from * to).sqrt();
    let matched: Vec<f64> = run
        .bands_hz
        .iter()
        .zip(&truth)
        .filter(|(band, _)| (MATCHED_HZ.0..=MATCHED_HZ.1).contains(&middle(band)))
        .map(|(_, db)| *db)
        .collect();
    let true_level_db = matched.iter().sum::<f64>() / matched.len() as f64;
    for seed in 0..n {
        let found = measured(run, seed);
        let at = run.bands_hz.iter().position(|band| middle(band) == found.largest.hz);
        let true_db = truth[at.expect("one of the points")] - true_level_db;
        let deviation_db = found.largest.deviation_db;
        let wider = Quantity { half: found.half_for_all_db, ..deviation_db.clone() };
        largest.add(Some(&deviation_db), true_db);
        for_all.add(Some(&wider), true_db);
        // As a data sheet takes gains off; one that was not touched has no doubt of its own.
        let change_db = run.gains_db[1] - run.gains_db[0];
        let mut budget = found.level_db.budget;
        if change_db != 0.0 {
            let both = Stated::within(change_db, 2f64.sqrt() * run.gain_within_db);
            budget.push(both.contribution("two gains"));
        }
        level.add(Some(&Quantity::new(found.level_db.value - change_db, budget)), true_level_db);
    }
    vec![largest, for_all, level]
}

fn measured(run: &TwinRun, seed: u64) -> PairMatch {
    let made = run.measured(seed);
    let point = |(band, db): (&(f64, f64), &f64)| {
        let noise = Contribution { from: "noise".into(), standard: run.noise_db, degrees_of_freedom: None };
        let level_db = Some(Quantity::new(*db, vec![noise]));
        Point { from_hz: band.0, to_hz: band.1, hz: (band.0 * band.1).sqrt(), level_db }
    };
    let settings = made.levels_db.map(|all| -> Vec<Vec<Point>> {
        all.iter().map(|levels| run.bands_hz.iter().zip(levels).map(point).collect()).collect()
    });
    let place = SamePlace {
        distance_mm: Some(run.distance_mm),
        within_mm: run.place_mm,
        gradient_share: run.gradient_share,
        speed_m_s: 343.2,
    };
    pair_match(&settings[0], &settings[1], &place).expect("points in common")
}
