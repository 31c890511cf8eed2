//! Pairs whose answer is known.

use super::tests::made;
use super::{SamePlace, pair_match};
use crate::quantity::{Contribution, Quantity};
use crate::response::Point;
use fairtake_stats::student::t_factor;

/// Two that stood at one point.
const EXACT: SamePlace =
    SamePlace { distance_mm: Some(1000.0), within_mm: 0.0, gradient_share: 0.5, speed_m_s: 343.2 };

fn dip(hz: f64) -> f64 {
    -1.2 * (-((hz / 9000.0).log2() / 0.2).powi(2)).exp()
}

/// Three settings-up: `off` of a point over frequency, times −1, 0 and 1.
fn three(level_db: impl Fn(f64) -> f64, off: impl Fn(f64) -> f64) -> Vec<Vec<Point>> {
    [-1.0, 0.0, 1.0].map(|times| made(|hz| level_db(hz) + times * off(hz), 0.3)).to_vec()
}

#[test]
fn two_of_a_pair_differ_most_where_they_do() {
    let (first, second) = (three(|_| 0.0, |_| 0.2), three(|hz| 1.5 + dip(hz), |_| 0.2));
    let pair = pair_match(&first, &second, &EXACT).expect("in common");
    assert!((pair.level_db.value - 1.5).abs() < 0.01, "{:?}", pair.level_db);
    let (hz, largest) = (pair.largest.hz, &pair.largest.deviation_db);
    assert!((hz / 9000.0).log2().abs() < 0.05 && (largest.value + 1.2).abs() < 0.05, "{hz} {largest:?}");
    assert_eq!(pair.n_points, first[0].len());
}

#[test]
fn a_setting_up_that_is_louder_as_a_whole_moves_the_level_and_no_shape() {
    let (first, second) = (three(|_| 0.0, |_| 0.2), three(dip, |_| 0.2));
    let pair = pair_match(&first, &second, &EXACT).expect("in common");
    // Exact: 0.2 dB and three settings-up of each, √2·0.2/√3 with 4 degrees of freedom (t 2.776445).
    let half = pair.level_db.half.expect("is known");
    assert!((half - 2.776_445 * 2f64.sqrt() * 0.2 / 3f64.sqrt()).abs() < 1e-4, "{half}");
    assert!(pair.largest.deviation_db.half.expect("is known") < 1e-9, "{:?}", pair.largest);
    // A ripple within the matched range moves the match, and with it every shape: a fifth of the points by 0.5 dB is 0.1 dB.
    let points: Vec<f64> = first[0].iter().map(|p| p.hz).filter(|hz| (250.0..=4000.0).contains(hz)).collect();
    let (low, high) = (points[10], points[10 + points.len() / 5]);
    let bump = |hz: f64| if hz >= low && hz < high { 0.5 } else { 0.0 };
    let pair = pair_match(&three(|_| 0.0, bump), &second, &EXACT).expect("in common");
    let match_db = 0.5 * (points.len() / 5) as f64 / points.len() as f64;
    let expected = 4.302_653 * match_db / 3f64.sqrt();
    let half = pair.largest.deviation_db.half.expect("is known");
    assert!((half - expected).abs() < 1e-4, "{half} {expected}");
}

#[test]
fn what_holds_at_all_frequencies_at_once_is_wider() {
    let tilt = |hz: f64| 0.1 * (hz / 1000.0).log2();
    let (first, second) = (three(|_| 0.0, tilt), three(dip, tilt));
    let pair = pair_match(&first, &second, &EXACT).expect("in common");
    let (half, for_all) = (pair.largest.deviation_db.half, pair.half_for_all_db);
    assert!(for_all.expect("is known") > half.expect("is known"), "{half:?} {for_all:?}");
    // Exact: three settings-up, off by ±x, make x/√3 of a mean, of each microphone; 2 + 2 degrees of freedom in each of nine octaves.
    let octaves: Vec<f64> = first[0].iter().map(|p| (p.hz / 1000.0).log2()).collect();
    let matched: Vec<f64> = first[0]
        .iter()
        .zip(&octaves)
        .filter(|(p, _)| (250.0..=4000.0).contains(&p.hz))
        .map(|(_, o)| *o)
        .collect();
    let middle = matched.iter().sum::<f64>() / matched.len() as f64;
    let squares = octaves.iter().map(|o| (0.1 * (o - middle)).powi(2)).sum::<f64>() / octaves.len() as f64;
    let own = (0.1 * ((pair.largest.hz / 1000.0).log2() - middle)).powi(2);
    let n = octaves.len() as f64;
    let expected = t_factor(1.0 - 0.05 / n, 36.0) * (2.0 * squares.max(own) / 3.0).sqrt();
    assert!((for_all.expect("is known") - expected).abs() < 1e-9, "{for_all:?} {expected}");
}

#[test]
fn what_one_gate_does_to_both_counts_once_and_in_the_match_too() {
    let gated = |points: Vec<Vec<Point>>| -> Vec<Vec<Point>> {
        let mut all = points;
        for level in all.iter_mut().flatten().filter_map(|p| p.level_db.as_mut()) {
            let mut budget = level.budget.clone();
            budget.push(Contribution::within("gate", 0.3));
            *level = Quantity::new(level.value, budget);
        }
        all
    };
    let pair = pair_match(&gated(three(|_| 0.0, |_| 0.0)), &gated(three(dip, |_| 0.0)), &EXACT);
    let half = |q: &Quantity| q.half.expect("is known");
    let pair = pair.expect("in common");
    // Exact: a rectangle of 0.3 dB, and another for the match.
    let one = 1.959_964 * 0.3 / 3f64.sqrt();
    assert!((half(&pair.level_db) - one).abs() < 1e-5, "{:?}", pair.level_db);
    assert!((half(&pair.largest.deviation_db) - 2f64.sqrt() * one).abs() < 1e-5, "{:?}", pair.largest);
}

#[test]
fn the_place_moves_the_level_and_near_a_source_the_shape() {
    let (first, second) = (three(|_| 0.0, |_| 0.0), three(dip, |_| 0.0));
    let of = |distance_mm, gradient_share| {
        let place = SamePlace { distance_mm, within_mm: 3.0, gradient_share, speed_m_s: 343.2 };
        pair_match(&first, &second, &place).expect("in common")
    };
    let standard =
        |q: &Quantity| q.budget.iter().find(|p| p.from == "place").expect("in the budget").standard;
    // Exact: 20 lg(1 + e/d) to first order, 8.686·0.003 dB for a pressure receiver at 1 m; its shape is not moved at all.
    let far = of(Some(1000.0), 0.0);
    assert!((standard(&far.level_db) - 20.0 / 10f64.ln() * 0.003 / 3f64.sqrt()).abs() < 1e-12);
    assert!(standard(&far.largest.deviation_db) < 1e-12);
    // Close to it a gradient receiver's near field changes with the place where levels are matched and not at 9 kHz.
    let near = of(Some(60.0), 1.0);
    assert!(standard(&near.largest.deviation_db) > 0.01, "{:?}", near.largest);
    // Where no distance is logged it is not known what the place does.
    let nowhere = of(None, 0.5);
    assert_eq!((nowhere.level_db.half, nowhere.largest.deviation_db.half), (None, None));
    assert_eq!(nowhere.half_for_all_db, None);
}

#[test]
fn of_one_setting_up_alone_the_spread_is_assumed_and_said_to_be() {
    let (first, second) = (vec![made(|_| 0.0, 0.3)], vec![made(dip, 0.3)]);
    let pair = pair_match(&first, &second, &EXACT).expect("in common");
    let assumed = |q: &Quantity| q.budget.iter().filter(|p| p.from.ends_with("(assumed)")).count();
    assert_eq!((assumed(&pair.level_db), assumed(&pair.largest.deviation_db)), (2, 2));
    // Exact: ±0.2 dB of each, rectangular.
    let half = pair.level_db.half.expect("is known");
    assert!((half - 1.959_964 * 2f64.sqrt() * 0.2 / 3f64.sqrt()).abs() < 1e-5, "{half}");
    assert!(pair_match(&first, &[made(|_| 0.0, 0.3)[..0].to_vec()], &EXACT).is_none());
}
