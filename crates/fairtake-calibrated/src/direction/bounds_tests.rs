//! What walls may have made of a level, and what follows from such levels.

use super::super::{Apart, NullAngle, NullBy, Symmetry};
use super::tests::{at, turning};
use super::*;
use fairtake_virtual_studio::bench::turntable::TurntableRun;

#[test]
fn a_level_that_walls_may_have_made_is_a_bound_and_what_rests_on_it_is_less_sure() {
    // A cardioid far away: nothing is heard from behind but a reflection 22 dB below the front.
    let truth = |a: f64| (0.5 + 0.5 * a.to_radians().cos()).powi(2);
    let wall = 10f64.powf(-2.2);
    let takes: Vec<AngleTake> = (0..=12)
        .map(|k| 15.0 * f64::from(k))
        .map(|angle_deg| {
            let level_db = power_db(truth(angle_deg).max(wall)).expect("positive");
            let band =
                BandLevel { centre_hz: 1000.0, level_db, standard_db: Some(0.05), degrees_of_freedom: None };
            AngleTake { angle_deg, thirds: vec![band] }
        })
        .collect();
    let of = |reflected_db| {
        let found = direction(&takes, &Turning { reflected_db, ..turning() }).expect("a good row of angles");
        (found.thirds[0].clone(), found.cautions)
    };
    let (known, cautions) = of(Some(-22.0));
    let (unheard, _) = of(None);
    // Exact: 20 lg(cos²(θ/2)) is −12.0 dB at 120° and −16.7 dB at 135°.
    for point in &known.polar {
        let expected = if point.angle_deg > 130.0 { Standing::AtMost } else { Standing::Own };
        assert_eq!(point.standing, expected, "{point:?}");
    }
    assert_eq!(known.at_90.as_ref().map(|l| l.standing), Some(Standing::Own));
    let back = known.at_180.as_ref().expect("was recorded");
    assert_eq!((back.standing, back.level_db.value.round()), (Standing::AtMost, -22.0));
    assert!(cautions.iter().any(|c| *c == DirectionCaution::MayBeReflected { figure: -22.0, limit: -16.0 }));
    // Taken for the microphone's own it was told to be heard from behind, to a fraction of a decibel.
    let own = unheard.at_180.as_ref().expect("was recorded");
    assert!(own.standing == Standing::Own && own.level_db.half.expect("known") < 0.3);
    let index = |band: &BandDirection| band.directivity_index_db.clone().expect("all around");
    let exact = power_db(3.0).expect("positive");
    let (with, without) = (index(&known), index(&unheard));
    assert!((with.value - exact).abs() < with.half.expect("known"), "{with:?}");
    assert!(with.half > without.half, "{with:?} {without:?}");
    let share = |band: &BandDirection| band.first_order.clone().expect("fitted").gradient_share;
    let (with, without) = (share(&known), share(&unheard));
    assert!((with.value - 0.5).abs() < with.half.expect("known"), "{with:?}");
    assert!((with.value - 0.5).abs() <= (without.value - 0.5).abs(), "{with:?} {without:?}");
}

#[test]
fn a_null_that_walls_hide_is_bounded_in_level_and_in_angle() {
    // Two lobes: nothing of first order. On the axis 0 dB, one deep place between 105° and 165° that walls fill to −22 dB.
    let of = |reflected_db: Option<f64>, floor_db: f64| {
        let takes: Vec<AngleTake> = (0..=12)
            .map(|k| 15.0 * f64::from(k))
            .map(|angle_deg| {
                let level_db: f64 = match angle_deg {
                    a if a < 50.0 => 0.0,
                    a if a < 110.0 => -8.0,
                    150.0 => -26.0,
                    a if a < 170.0 => -30.0,
                    _ => -9.0,
                };
                let level_db = level_db.max(floor_db);
                let thirds = vec![BandLevel {
                    centre_hz: 1000.0,
                    level_db,
                    standard_db: Some(0.05),
                    degrees_of_freedom: None,
                }];
                AngleTake { angle_deg, thirds }
            })
            .collect();
        let found = direction(&takes, &Turning { reflected_db, ..turning() }).expect("a good row of angles");
        found.thirds[0].null.clone().expect("stands out")
    };
    let hidden = of(Some(-22.0), -22.0);
    assert_eq!((hidden.by, hidden.standing), (NullBy::LowestLevel, Standing::AtMost));
    // Surely heard are −8 dB at 105° and −9 dB at 180°.
    assert_eq!(hidden.angle, NullAngle::Between { from_deg: 105.0, to_deg: 180.0 });
    assert!((hidden.lowest_db.value + 22.0).abs() < 1e-9);
    // Without walls it is where the lowest level is: of two alike the first.
    let heard = of(None, -40.0);
    assert_eq!((heard.by, heard.standing), (NullBy::LowestLevel, Standing::Own));
    assert_eq!(at(&heard).value, 120.0);
}

#[test]
fn sides_are_held_against_each_other_only_where_one_is_surely_heard() {
    // At 120° both may be walls'; at 90° the left one may be; at 60° both are sure, 2 dB apart.
    let level = |angle_deg: f64| match angle_deg.abs() {
        a if a < 50.0 => 0.0,
        a if a < 80.0 => {
            if angle_deg > 0.0 {
                0.0
            } else {
                -2.0
            }
        }
        a if a < 100.0 => {
            if angle_deg > 0.0 {
                -10.0
            } else {
                -17.0
            }
        }
        a if a < 130.0 => {
            if angle_deg > 0.0 {
                -16.5
            } else {
                -19.5
            }
        }
        _ => -15.0,
    };
    let takes: Vec<AngleTake> = TurntableRun::both_sides(30.0)
        .into_iter()
        .map(|angle_deg| AngleTake {
            angle_deg,
            thirds: vec![BandLevel {
                centre_hz: 1000.0,
                level_db: level(angle_deg),
                standard_db: Some(0.05),
                degrees_of_freedom: None,
            }],
        })
        .collect();
    let of = |reflected_db| {
        let found = direction(&takes, &Turning { reflected_db, ..turning() }).expect("a full turn");
        found.thirds[0].symmetry.clone().expect("both sides")
    };
    // Angles: 30, 60, 90, 120, 150; walls up to −22 dB make a bound of all below −16 dB.
    let (bounded, heard) = (of(Some(-22.0)), of(None));
    assert_eq!((bounded.n_angles, bounded.apart, bounded.at_deg), (3, Apart::AtLeast, 90.0));
    assert!((bounded.greatest_db.value - 7.0).abs() < 1e-9, "{bounded:?}");
    assert_eq!((heard.n_angles, heard.apart, heard.at_deg), (5, Apart::Measured, 90.0));
    // Two readings of 0.05 dB each spread a difference's square by 0.005 dB². Heard: 2, 7 and 3 dB of five; with the bound out: 2 dB of three.
    let rms = |s: &Symmetry| s.rms_db.expect("sure somewhere");
    assert!((rms(&heard) - ((62.0 - 5.0 * 0.005) / 5.0_f64).sqrt()).abs() < 1e-9, "{heard:?}");
    assert!((rms(&bounded) - ((4.0 - 3.0 * 0.005) / 3.0_f64).sqrt()).abs() < 1e-9, "{bounded:?}");
    // With walls 6 dB stronger both sides at 90° are bounds too, and what is left is alike.
    let stronger = of(Some(-14.5));
    assert_eq!((stronger.n_angles, stronger.apart), (2, Apart::Measured));
    assert!((stronger.greatest_db.value - 2.0).abs() < 1e-9, "{stronger:?}");
    assert!((rms(&stronger) - ((4.0 - 2.0 * 0.005) / 2.0_f64).sqrt()).abs() < 1e-9, "{stronger:?}");
    // The greatest difference is sure, 2 dB at 60°, but of 120° only the least is known, 0.5 dB: it may be more there.
    let takes: Vec<AngleTake> = takes
        .iter()
        .map(|take| {
            let level_db = match take.angle_deg {
                90.0 | -90.0 => -10.0,
                120.0 => -15.9,
                -120.0 => -16.4,
                _ => take.thirds[0].level_db,
            };
            let thirds = vec![BandLevel { level_db, ..take.thirds[0] }];
            AngleTake { thirds, ..take.clone() }
        })
        .collect();
    let found = direction(&takes, &Turning { reflected_db: Some(-22.0), ..turning() }).expect("a full turn");
    let elsewhere = found.thirds[0].symmetry.clone().expect("both sides");
    assert_eq!((elsewhere.n_angles, elsewhere.apart, elsewhere.at_deg), (4, Apart::AtLeast, 60.0));
    assert!((rms(&elsewhere) - ((4.0 - 4.0 * 0.005) / 4.0_f64).sqrt()).abs() < 1e-9, "{elsewhere:?}");
}
