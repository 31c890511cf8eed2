//! Tests: the curve is the one that was found, and nothing where nothing is known.

use super::*;
use crate::testing::{every_second, found, hits, take};
use fairtake_compare::Playing;
use fairtake_signal::bands::BandSet;

/// A comparison with these twelfth-octave differences, of which `None` is out of range.
fn with(difference_db: impl Fn(f64) -> Option<f64>) -> ComparisonFindings {
    let samples = hits(48_000, 3, &every_second(), 14.0);
    let takes = [take("a", 1, samples.clone()), take("b", 1, samples)];
    let mut comparison = found(&takes, Playing::Percussive).findings.comparisons.remove(0);
    let like = comparison.bands[0].clone();
    let band = |(from_hz, to_hz): (f64, f64)| {
        let centre_hz = (from_hz * to_hz).sqrt();
        let db = difference_db(centre_hz);
        let verdict = if db.is_some() { Verdict::Different } else { Verdict::OutOfRange };
        // What is out of range may still have a number: it was not judged.
        Band { centre_hz, from_hz, to_hz, difference_db: db.or(Some(9.0)), verdict, ..like.clone() }
    };
    comparison.bands = BandSet::new(12, 24_000.0).spans_hz().into_iter().map(band).collect();
    comparison
}

/// Greatest step of the curve from one 480th of an octave to the next, over the audible range.
fn greatest_step_db(curve: &GainCurve) -> f64 {
    let at = |i: usize| curve.db(10.0 * 2f64.powf(i as f64 / 480.0));
    (0..5300).map(|i| (at(i + 1) - at(i)).abs()).fold(0.0, f64::max)
}

#[test]
fn known_bands_have_their_difference_and_all_else_none() {
    let known = |hz: f64| (100.0..5000.0).contains(&hz).then_some((hz / 700.0).ln());
    let comparison = with(known);
    let curve = found_curve(&comparison, Extent::Everywhere).expect("bands are known");
    let (mut from, mut to) = (f64::INFINITY, 0f64);
    for band in &comparison.bands {
        if let Some(db) = known(band.centre_hz) {
            assert!((curve.db(band.centre_hz) - db).abs() < 1e-12);
            (from, to) = (from.min(band.from_hz), to.max(band.to_hz));
        }
    }
    // At the outermost edges the last band's value, half of it after a twelfth of an octave, nothing after a sixth.
    let twelfth = 2f64.powf(1.0 / 12.0);
    let lowest = curve.db(from);
    assert!(lowest < -1.5 && (curve.db(from / twelfth) - lowest / 2.0).abs() < 1e-9);
    assert_eq!(curve.db(from / twelfth.powf(2.001)), 0.0);
    assert!((curve.db(to * twelfth) - curve.db(to) / 2.0).abs() < 1e-9);
    assert_eq!((curve.db(to * twelfth.powf(2.001)), curve.db(0.0), curve.db(24_000.0)), (0.0, 0.0, 0.0));
    // 2 dB over a sixth of an octave by a cosine: at most π/2 times the mean slope, 0.04 dB in 80 steps.
    assert!(greatest_step_db(&curve) < 0.045, "{}", greatest_step_db(&curve));
    let said = left_alone(&comparison.bands, Extent::Everywhere);
    assert_eq!(said.len(), 2, "{said:?}");
    assert!(said[0].starts_with("from 20 Hz to 100 Hz the difference is not known"), "{said:?}");
}

#[test]
fn gaps_of_any_width_are_crossed_without_a_step() {
    for n_missing in 1..=8 {
        let missing: Vec<usize> = (60..60 + n_missing).collect();
        let spans = BandSet::new(12, 24_000.0).spans_hz();
        let lacks = |hz: f64| missing.iter().any(|i| spans[*i].0 < hz && hz < spans[*i].1);
        let comparison = with(|hz| (!lacks(hz)).then_some(if hz < spans[60].0 { 4.0 } else { -3.0 }));
        let curve = found_curve(&comparison, Extent::Everywhere).expect("bands are known");
        let (left, right) = (spans[60].0, spans[59 + n_missing].1);
        assert_eq!((curve.db(left * 0.999), curve.db(right * 1.001)), (4.0, -3.0));
        // 7 dB over one twelfth of an octave by a cosine is the steepest: 0.28 dB in 40 steps.
        assert!(greatest_step_db(&curve) < 0.3, "{n_missing}: {}", greatest_step_db(&curve));
        // From four bands on both sides have returned in the middle; the twelfth of IEC 61260-1 is less than that of an
        // octave by a third of a per cent.
        let middle = curve.db((left * right).sqrt());
        assert_eq!(middle.abs() < 1e-3, n_missing >= 4, "{n_missing}: {middle}");
    }
}

#[test]
fn a_region_is_imposed_alone() {
    let comparison = with(|hz| (hz < 16_000.0).then_some(if hz < 8000.0 { 1.0 } else { 2.0 }));
    let region = Extent::Region { from_hz: 7990.0, to_hz: 20_000.0 };
    let curve = found_curve(&comparison, region).expect("bands are known");
    for band in &comparison.bands {
        let wanted = if band.centre_hz > 8000.0 && band.centre_hz < 16_000.0 { 2.0 } else { 0.0 };
        let far = band.centre_hz < 7000.0 || band.centre_hz > 18_500.0;
        if wanted > 0.0 || far {
            assert_eq!(curve.db(band.centre_hz), wanted, "{}", band.centre_hz);
        }
    }
    let said = left_alone(&comparison.bands, region);
    assert_eq!(said.len(), 2, "{said:?}");
    assert!(said[0].starts_with("from 16 kHz to"), "{said:?}");
    assert_eq!(said[1], "below 8.0 kHz and above 20 kHz the reference is left as it is");
}

#[test]
fn where_nothing_is_known_nothing_is_imposed() {
    let comparison = with(|hz| (hz < 1000.0).then_some(1.0));
    let refused = |extent| found_curve(&comparison, extent).expect_err("nothing is known").to_string();
    let region = Extent::Region { from_hz: 2000.0, to_hz: 4000.0 };
    assert_eq!(refused(region), "no difference of b from a is known from 2.0 kHz to 4.0 kHz");
    assert!(found_curve(&comparison, Extent::Region { from_hz: 4000.0, to_hz: 20.0 }).is_err());
    assert!(found_curve(&comparison, Extent::Region { from_hz: f64::NAN, to_hz: 4000.0 }).is_err());
    let nothing = with(|_| None);
    let refused = found_curve(&nothing, Extent::Everywhere).expect_err("nothing is known").to_string();
    assert_eq!(refused, "no difference of b from a is known");
}
