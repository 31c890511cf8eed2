//! Acoustic centre and gradient share of made microphones, faults that are named, and how often intervals hold.

use super::*;
use crate::band_level::BandLevel;
use crate::level::Stated;
use fairtake_virtual_studio::bench::distance::DistanceRun;

/// Seven distances over 8:1.
const WIDE_MM: [f64; 7] = [50.0, 71.0, 100.0, 141.0, 200.0, 283.0, 400.0];

fn placing() -> Placing {
    Placing {
        distance_mm: 0.0,
        zero_mm: 0.0,
        temperature_c: Stated::exact(20.0),
        source_radius_mm: Some(0.5),
        asked: vec![RiseAsked { frequency_hz: 100.0, rise_db: 6.0 }],
    }
}

fn takes(run: &DistanceRun, seed: u64) -> Vec<DistanceTake> {
    run.measured(seed)
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
        .collect()
}

fn measured(run: &DistanceRun, placing: &Placing, seed: u64) -> Proximity {
    proximity(&takes(run, seed), placing).expect("a good series")
}

#[test]
fn without_noise_centre_and_share_are_exact() {
    for (share, centre_mm) in [(0.0, 12.0), (0.25, -8.0), (0.5, 18.0), (0.75, 30.0), (1.0, 5.0)] {
        let run = DistanceRun { share, centre_mm, level_db: 0.0, ..DistanceRun::cardioid(WIDE_MM.to_vec()) };
        let found = measured(&run, &placing(), 1);
        // Rounding; a piston of 0.5 mm instead of a point: (0.5/100)² of 50 mm. The share of an omnidirectional one is the
        // root of that.
        let centre = found.model.acoustic_centre_mm.value;
        assert!((centre - centre_mm).abs() < 0.01, "{share}: {centre}");
        let b = found.model.gradient_share.value;
        assert!((b - share).abs() < if share == 0.0 { 0.02 } else { 1e-3 }, "{share}: {b}");
        assert!(found.model.residual_db < 1e-3);
        // The distance at which 100 Hz has risen by 6 dB.
        let rise = &found.rises[0];
        match share {
            0.0 => assert_eq!((&rise.distance_mm, rise.reach), (&None, None)),
            _ => {
                let truth = run.rise_at_mm(100.0, 6.0);
                assert!(
                    (rise.distance_mm.as_ref().expect("it rises").value - truth).abs() < 0.5,
                    "{rise:?} {truth}"
                );
                assert_eq!(rise.reach == Some(Reach::Measured), (50.0..=400.0).contains(&truth));
            }
        }
        assert_eq!(found.cautions, []);
    }
}

#[test]
fn with_exact_distances_the_acoustic_centre_is_right_to_a_millimetre() {
    // Six distances over 4:1, readings of 0.05 dB.
    let six: Vec<f64> = (0..6).map(|k| 60.0 * 4f64.powf(f64::from(k) / 5.0)).collect();
    for share in [0.0, 0.5, 1.0] {
        let run = DistanceRun { share, ..DistanceRun::cardioid(six.clone()) };
        for seed in 0..40 {
            let centre = measured(&run, &placing(), seed).model.acoustic_centre_mm.value;
            assert!((centre - 18.0).abs() < 1.0, "{share}: {centre}");
        }
    }
}

#[test]
fn intervals_hold_with_a_millimetre_of_error_in_every_distance() {
    let n = 300;
    for share in [0.37, 0.75] {
        let run = DistanceRun { share, distance_mm: 1.0, ..DistanceRun::cardioid(WIDE_MM.to_vec()) };
        let placing = Placing { distance_mm: 1.0, ..placing() };
        let holds = |q: &Quantity, truth: f64| usize::from((q.value - truth).abs() <= q.half.expect("known"));
        let mut held = [0; 3];
        for seed in 0..n {
            let found = measured(&run, &placing, seed);
            held[0] += holds(&found.model.acoustic_centre_mm, 18.0);
            held[1] += holds(&found.model.gradient_share, share);
            held[2] +=
                holds(found.rises[0].distance_mm.as_ref().expect("it rises"), run.rise_at_mm(100.0, 6.0));
        }
        // 93 to 97 %, and three binomial standard errors of 1.3 % around.
        for h in held {
            assert!((0.89..=1.0).contains(&(h as f64 / n as f64)), "{share}: {held:?} of {n}");
        }
    }
}

#[test]
fn a_loudspeaker_of_known_size_is_no_point_and_one_of_unknown_size_is_said_to_be() {
    let run = DistanceRun {
        radius_mm: 50.0,
        level_db: 0.02,
        ..DistanceRun::cardioid(vec![105.0, 150.0, 210.0, 300.0, 420.0, 600.0])
    };
    let asked = |source_radius_mm| measured(&run, &Placing { source_radius_mm, ..placing() }, 1);
    let known = asked(Some(50.0));
    // The bench sums rings of the piston, the fit has the closed form of pressure and axial velocity.
    assert!((known.model.acoustic_centre_mm.value - 18.0).abs() < 1.0, "{:?}", known.model);
    assert!((known.model.gradient_share.value - 0.5).abs() < 0.01, "{:?}", known.model);
    assert_eq!(known.cautions, []);
    let point = asked(None);
    assert!(matches!(point.cautions[0], ProximityCaution::SourceTakenAsPoint { figure: 105.0, .. }));
    assert!((point.model.acoustic_centre_mm.value - 18.0).abs() > 2.0, "a point's centre lies elsewhere");
    let near = asked(Some(60.0));
    assert!(matches!(near.cautions[0], ProximityCaution::NearerThanSource { figure: 105.0, limit: 120.0 }));
}

#[test]
fn levels_over_distance_are_shown_with_their_rise() {
    let run = DistanceRun { level_db: 0.0, ..DistanceRun::cardioid(WIDE_MM.to_vec()) };
    let found = measured(&run, &placing(), 1);
    let near = &found.distances[0];
    assert_eq!((near.distance_mm, found.distances.len()), (50.0, 7));
    for (k, band) in near.bands.iter().enumerate() {
        let at = |mm: f64| run.level_at_db(mm + 18.0, run.bands_hz[k]);
        let level = at(50.0) - at(400.0);
        assert!((band.level_db.value - level).abs() < 1e-9);
        // Exact: less the mean of 800 Hz, 1 kHz and 1.25 kHz.
        let middle = [29, 30, 31].map(|n| 10f64.powf(f64::from(n) / 10.0));
        let mean =
            middle.iter().map(|hz| run.level_at_db(68.0, *hz) - run.level_at_db(418.0, *hz)).sum::<f64>()
                / 3.0;
        assert!((band.rise_db.as_ref().expect("1 kHz was measured").value - (level - mean)).abs() < 1e-9);
    }
    assert!(found.distances[6].bands.iter().all(|b| b.level_db.value == 0.0));
}

#[test]
fn what_is_wrong_with_a_series_is_named_with_its_values() {
    let run = DistanceRun::cardioid(WIDE_MM.to_vec());
    let good = takes(&run, 1);
    let refused = |takes: &[DistanceTake]| proximity(takes, &placing()).expect_err("not a good series");
    assert_eq!(refused(&[]), ProximityError::TooFewDistances { n_found: 0, n_needed: 4 });
    assert_eq!(refused(&good[..3]), ProximityError::TooFewDistances { n_found: 3, n_needed: 4 });
    let mut doubled = good.clone();
    doubled[3].distance_mm = 100.0;
    let error = refused(&doubled);
    assert!(matches!(error, ProximityError::DoubledDistance { distance_mm: 100.0, .. }), "{error}");
    let mut swapped = good.clone();
    for (k, take) in swapped.iter_mut().enumerate() {
        take.distance_mm = WIDE_MM[6 - k];
    }
    assert!(
        matches!(refused(&swapped), ProximityError::LouderFarAway { near_mm: 50.0, far_mm: 400.0, by_db } if by_db > 10.0)
    );
    let mut narrow = good.clone();
    narrow.iter_mut().enumerate().for_each(|(k, take)| take.distance_mm = 100.0 + k as f64);
    assert!(matches!(refused(&narrow), ProximityError::RangeTooNarrow { .. }));
    let mut bad = good.clone();
    bad[2].thirds[0].level_db = f64::NAN;
    assert_eq!(refused(&bad), ProximityError::NotFinite { distance_mm: 100.0 });
    bad[2].distance_mm = 0.0;
    bad[2].thirds[0].level_db = 0.0;
    assert!(matches!(refused(&bad), ProximityError::OutOfRange { what: "a distance in mm", .. }));
    let mut high = good.clone();
    high.iter_mut().for_each(|take| take.thirds.iter_mut().for_each(|band| band.centre_hz *= 100.0));
    assert!(matches!(refused(&high), ProximityError::NoUsableBand { .. }));

    let cautions =
        |takes: &[DistanceTake]| proximity(takes, &placing()).expect("it can be measured").cautions;
    let mut twice = good.clone();
    twice.push(takes(&DistanceRun { distances_mm: vec![100.0], ..run.clone() }, 1)[0].clone());
    let of_first = good[2].thirds.clone();
    twice[7].thirds = of_first;
    assert_eq!(cautions(&twice), [ProximityCaution::DistanceTwice { distance_mm: 100.0 }]);
    let few = cautions(&good[..5]);
    assert!(matches!(few[..], [ProximityCaution::FewDistances { figure: 5.0, .. }]), "{few:?}");
    let close = cautions(&good[1..5]);
    assert!(close.iter().any(|c| matches!(c, ProximityCaution::NarrowRange { .. })), "{close:?}");
    // One distance is logged 10 mm off: the fit leaves most there.
    let mut off = good.clone();
    off[3].distance_mm += 10.0;
    let said = cautions(&off);
    assert!(
        said.iter()
            .any(|c| matches!(c, ProximityCaution::DoesNotFit { figure, limit, .. } if figure > limit)),
        "{said:?}"
    );
}

#[test]
fn a_room_that_answers_is_seen_in_what_the_fit_leaves() {
    let run = DistanceRun {
        reflection: 0.3,
        ..DistanceRun::cardioid(vec![100.0, 150.0, 225.0, 340.0, 500.0, 750.0])
    };
    let found = measured(&run, &placing(), 3);
    let at = found.cautions.iter().find_map(|c| match c {
        ProximityCaution::DoesNotFit { at_mm, .. } => Some(*at_mm),
        _ => None,
    });
    assert!(at.is_some_and(|mm| mm >= 500.0), "the room is strongest far away: {:?}", found.cautions);
    assert!(found.model.acoustic_centre_mm.budget.iter().any(|c| c.from == "model does not fit"));
}

#[test]
fn readings_without_uncertainty_get_it_from_the_fit() {
    let n = 200;
    let run = DistanceRun::cardioid(WIDE_MM.to_vec());
    let held = (0..n)
        .filter(|seed| {
            let mut takes = takes(&run, *seed);
            takes.iter_mut().for_each(|take| take.thirds.iter_mut().for_each(|b| b.standard_db = None));
            let centre = proximity(&takes, &placing()).expect("a good series").model.acoustic_centre_mm;
            (centre.value - 18.0).abs() <= centre.half.expect("from the fit")
        })
        .count();
    assert!((0.90..=1.0).contains(&(held as f64 / n as f64)), "{held} of {n}");
}
