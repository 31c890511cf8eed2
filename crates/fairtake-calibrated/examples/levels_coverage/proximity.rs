//! Series of distances.

use crate::table::Row;
use fairtake_calibrated::BandLevel;
use fairtake_calibrated::level::Stated;
use fairtake_calibrated::proximity::{DistanceTake, Placing, RiseAsked, proximity};
use fairtake_virtual_studio::bench::distance::DistanceRun;

/// Rows for patterns and errors of distances.
pub fn rows(n: u64) -> Vec<Row> {
    let row_of = |from: f64, ratio: f64, count: u32| -> Vec<f64> {
        (0..count).map(|k| from * ratio.powf(f64::from(k) / f64::from(count - 1))).collect()
    };
    let six = row_of(60.0, 4.0, 6);
    let eight = row_of(40.0, 12.0, 8);
    let base = |share: f64, distances: &[f64], distance_mm: f64| DistanceRun {
        share,
        distance_mm,
        ..DistanceRun::cardioid(distances.to_vec())
    };
    let cases = [
        ("omnidirectional, six distances, exact", base(0.0, &six, 0.0)),
        ("cardioid, six distances, exact", base(0.5, &six, 0.0)),
        ("bidirectional, six distances, exact", base(1.0, &six, 0.0)),
        ("subcardioid, six distances, ±1 mm", base(0.3, &six, 1.0)),
        ("cardioid, six distances, ±1 mm", base(0.5, &six, 1.0)),
        ("hypercardioid, eight distances, ±1 mm", base(0.75, &eight, 1.0)),
        ("cardioid, eight distances, ±3 mm", base(0.5, &eight, 3.0)),
        (
            "cardioid, eight distances, ±3 mm, readings 0.3 dB",
            DistanceRun { level_db: 0.3, ..base(0.5, &eight, 3.0) },
        ),
        (
            "cardioid, piston of 40 mm, ±1 mm",
            DistanceRun { radius_mm: 40.0, ..base(0.5, &row_of(90.0, 6.0, 7), 1.0) },
        ),
    ];
    cases.into_iter().flat_map(|(name, run)| case(n, name, &run)).collect()
}

fn case(n: u64, name: &str, run: &DistanceRun) -> Vec<Row> {
    let placing = Placing {
        distance_mm: run.distance_mm,
        zero_mm: 0.0,
        temperature_c: Stated::exact(20.0),
        source_radius_mm: Some(run.radius_mm.max(0.5)),
        asked: vec![RiseAsked { frequency_hz: 100.0, rise_db: 6.0 }],
    };
    let row = |figure: &str| Row::new(format!("{name}: {figure}"));
    let mut centre = row("acoustic centre (mm)");
    let mut share = row("gradient share");
    let mut rise = row("where 100 Hz has risen by 6 dB (mm)");
    let mut level = row("levels re the farthest (dB)");
    for seed in 0..n {
        let takes: Vec<DistanceTake> = run
            .measured(seed)
            .into_iter()
            .map(|at| DistanceTake {
                distance_mm: at.distance_mm,
                thirds: run
                    .bands_hz
                    .iter()
                    .zip(&at.levels_db)
                    .map(|(centre_hz, level_db)| BandLevel {
                        centre_hz: *centre_hz,
                        level_db: *level_db,
                        standard_db: Some(run.level_db),
                        degrees_of_freedom: None,
                    })
                    .collect(),
            })
            .collect();
        let found = proximity(&takes, &placing).expect("a good series");
        centre.add(Some(&found.model.acoustic_centre_mm), run.centre_mm);
        share.add(Some(&found.model.gradient_share), run.share);
        if run.share > 0.0 {
            rise.add(found.rises[0].distance_mm.as_ref(), run.rise_at_mm(100.0, 6.0));
        }
        let far = run.distances_mm[run.distances_mm.len() - 1] + run.centre_mm;
        for at in &found.distances[..found.distances.len() - 1] {
            for (band, hz) in at.bands.iter().zip(&run.bands_hz) {
                let truth = run.level_at_db(at.distance_mm + run.centre_mm, *hz) - run.level_at_db(far, *hz);
                level.add(Some(&band.level_db), truth);
            }
        }
    }
    [centre, share, rise, level].into_iter().filter(Row::is_filled).collect()
}
