//! Polar patterns on a turntable.

use crate::table::Row;
use fairtake_calibrated::direction::{AngleTake, Null, NullAngle, Turning, direction};
use fairtake_calibrated::proximity::speed_of_sound_m_s;
use fairtake_calibrated::{BandLevel, Quantity};
use fairtake_virtual_studio::bench::turntable::{Pattern, TurntableRun};
use std::f64::consts::PI;

/// A first-order pattern at 1 kHz, 1 m before a point source.
fn near(share: f64) -> Pattern {
    Pattern::FirstOrderAt { share, kr: 2.0 * PI * 1000.0 / speed_of_sound_m_s(20.0) }
}

/// The angle of a null that is told from its neighbours.
fn at(null: &Null) -> Option<&Quantity> {
    match &null.angle {
        NullAngle::At(angle) => Some(angle),
        NullAngle::Between { .. } => None,
    }
}

/// Rows for patterns, steps and sides.
pub fn rows(n: u64) -> Vec<Row> {
    let cases = [
        ("omnidirectional, 15°, one side", near(0.0), TurntableRun::one_side(15.0)),
        ("cardioid, 15°, one side", near(0.5), TurntableRun::one_side(15.0)),
        ("cardioid, 30°, both sides", near(0.5), TurntableRun::both_sides(30.0)),
        ("supercardioid, 10°, both sides", near(0.63), TurntableRun::both_sides(10.0)),
        ("hypercardioid, 45°, one side", near(0.75), TurntableRun::one_side(45.0)),
        ("bidirectional, 10°, one side", near(1.0), TurntableRun::one_side(10.0)),
        (
            "lobes: x = 1.5 sin θ, 15°, both sides",
            Pattern::Lobed { share: 0.5, wave: 1.5 },
            TurntableRun::both_sides(15.0),
        ),
        (
            "lobes: x = 3 sin θ, 15°, both sides",
            Pattern::Lobed { share: 0.5, wave: 3.0 },
            TurntableRun::both_sides(15.0),
        ),
        (
            "lobes: x = 6 sin θ, 15°, both sides",
            Pattern::Lobed { share: 0.5, wave: 6.0 },
            TurntableRun::both_sides(15.0),
        ),
        (
            "lobes: x = 6 sin θ, 5°, both sides",
            Pattern::Lobed { share: 0.5, wave: 6.0 },
            TurntableRun::both_sides(5.0),
        ),
        (
            "lobes: x = 12 sin θ, 10°, both sides",
            Pattern::Lobed { share: 0.5, wave: 12.0 },
            TurntableRun::both_sides(10.0),
        ),
    ];
    let zero_known = ("bidirectional, 10°, one side, zero exact", near(1.0), TurntableRun::one_side(10.0));
    let exact = case(n, zero_known.0, zero_known.1, zero_known.2, 0.0);
    let all = cases.into_iter().flat_map(|(name, pattern, angles)| case(n, name, pattern, angles, 1.0));
    all.chain(exact).collect()
}

fn case(n: u64, name: &str, pattern: Pattern, angles_deg: Vec<f64>, zero_deg: f64) -> Vec<Row> {
    let run = TurntableRun {
        pattern,
        angles_deg,
        level_db: 0.1,
        floor: 0.003,
        angle_deg: 1.0,
        zero_deg,
        centre_share: 0.01,
    };
    let turning = Turning {
        angle_deg: 1.0,
        zero_deg,
        distance_mm: 1000.0,
        centre_mm: 10.0,
        reflected_db: None,
        temperature_c: 20.0,
    };
    let row = |figure: &str| Row::new(format!("{name}: {figure}"));
    let mut index = row("directivity index (dB)");
    let mut halves = row("front to back, random (dB)");
    let mut at_90 = row("level at 90° (dB)");
    let mut polar = row("every point of the diagram above −20 dB");
    let mut share = row("gradient share");
    let mut null = row("null (degrees)");
    let db = |angle: f64| 20.0 * pattern.amplitude(angle).abs().log10();
    let random = 10.0 * (pattern.mean_power(0.0, PI / 2.0) / pattern.mean_power(PI / 2.0, PI)).log10();
    let first_order = match pattern {
        Pattern::FirstOrder(share) | Pattern::FirstOrderAt { share, .. } => Some(share),
        Pattern::Lobed { .. } => None,
    };
    for seed in 0..n {
        let takes: Vec<AngleTake> = run
            .levels(seed)
            .iter()
            .map(|level| AngleTake {
                angle_deg: level.angle_deg,
                thirds: vec![BandLevel {
                    centre_hz: 1000.0,
                    level_db: level.level_db,
                    standard_db: Some(level.standard_db),
                    degrees_of_freedom: None,
                }],
            })
            .collect();
        let found = direction(&takes, &turning).expect("a good row of angles");
        let band = &found.thirds[0];
        index.add(band.directivity_index_db.as_ref(), pattern.directivity_index_db());
        halves.add(band.front_to_back_random_db.as_ref(), random);
        if db(PI / 2.0) > -20.0 {
            at_90.add(band.at_90.as_ref().map(|l| &l.level_db), db(PI / 2.0));
        }
        for point in &band.polar {
            let truth = db(point.angle_deg.to_radians());
            if truth > -20.0 && point.angle_deg != 0.0 {
                polar.add(Some(&point.level_db), truth);
            }
        }
        if let Some(b) = first_order {
            share.add(band.first_order.as_ref().map(|f| &f.gradient_share), b);
            if b >= 0.5 {
                null.add(band.null.as_ref().and_then(at), (-(1.0 - b) / b).acos().to_degrees());
            }
        }
    }
    [index, halves, at_90, polar, share, null].into_iter().filter(Row::is_filled).collect()
}
