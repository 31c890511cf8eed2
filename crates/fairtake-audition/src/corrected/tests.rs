//! Tests: a known equaliser between two microphones is undone, to the ear and when one is taken from the other.

use super::*;
use crate::testing::{RATE_HZ, every_second, found, hits, take, take_at};
use crate::{clip, difference};
use fairtake_bridge::{Wanted, bridge};
use fairtake_compare::{Measurement, Playing, Settings};
use fairtake_signal::bands::BandSet;
use fairtake_signal::filters::Biquad;
use fairtake_signal::spectrum::BandSpectrum;

/// One drum through two microphones that differ by an equaliser of two bands and two milliseconds.
fn takes(performances: [u32; 2]) -> [Take; 2] {
    let rate = f64::from(RATE_HZ);
    let heard = hits(RATE_HZ, 21, &every_second(), 14.0);
    let mut other: Vec<f32> = std::iter::repeat_n(0.0, 96).chain(heard.iter().copied()).collect();
    other.truncate(heard.len());
    Biquad::peak(rate, 400.0, 5.0, 1.0).run(&mut other);
    Biquad::high_shelf(rate, 5000.0, -6.0).run(&mut other);
    [take("a", performances[0], heard), take("b", performances[1], other)]
}

fn bridged(takes: &[Take]) -> (Measurement, Bridge) {
    let found = found(takes, Playing::Percussive);
    let wanted = Wanted { most_boost_db: 12.0, most_bands: 6, rate_hz: f64::from(RATE_HZ) };
    let settings = Settings { resamples: 50, ..Settings::standard() };
    let made = bridge(&found.tables[0], ["drum", "a", "b"], &settings, &wanted).expect("enough is known");
    (found, made)
}

/// Energy per third octave from 100 Hz to 10 kHz, in dB.
fn thirds_db(samples: &[f32]) -> Vec<f64> {
    let bands = BandSet::new(3, 24_000.0);
    let energy = BandSpectrum::new(RATE_HZ, &bands).event_energy(samples);
    let within =
        bands.spans_hz().into_iter().zip(energy).filter(|((from, to), _)| *from > 100.0 && *to < 1e4);
    within.filter_map(|(_, e)| power_db(e)).collect()
}

#[test]
fn with_the_correction_one_sounds_as_the_other_does() {
    let takes = takes([1, 1]);
    let (found, bridge) = bridged(&takes);
    let moments = moments(&takes, &found.measures, &found.findings, "drum").expect("can be heard");
    let mics = ["a".to_string(), "b".to_string()];
    let gains = gains_db(&found.findings, "drum", &mics).expect("compared");
    let clips: Vec<Clip> = [0, 1]
        .map(|i| clip(&takes[i], moments[0].parts[i].stretch, gains[i].gain_db).expect("can be played"))
        .into();
    let apart = |x: &Clip| {
        let (x, y) = (thirds_db(&x.samples), thirds_db(&clips[1].samples));
        assert_eq!(x.len(), 19);
        x.iter().zip(&y).map(|(x, y)| (x - y).abs()).fold(0.0, f64::max)
    };
    assert!(apart(&clips[0]) > 4.0);
    for by in [By::Correction, By::Equaliser] {
        let made = corrected(&clips[0], &clips, &bridge, by).expect("is known");
        // What is said of it is the range that the bridge knows.
        let (first, last) = (bridge.bands[0].from_hz, bridge.bands[bridge.bands.len() - 1].to_hz);
        let [from, to] = [first, last].map(fairtake_compare::wording::hertz);
        assert_eq!(made.remarks, [format!("the difference is known from {from} to {to}")], "{by:?}");
        // What the clip was turned down by is the same at all frequencies.
        let mut up = made.clip.clone();
        let factor = db_to_power(-made.trim_db).sqrt() as f32;
        up.samples.iter_mut().for_each(|x| *x *= factor);
        assert!(apart(&up) < 0.7, "{by:?}: {}", apart(&up));
    }
}

#[test]
fn what_is_left_shrinks_by_what_the_correction_carries() {
    let takes = takes([1, 1]);
    let (found, bridge) = bridged(&takes);
    let left =
        left_over(&takes, &found.measures, &found.findings, &bridge).expect("at hand").expect("together");
    assert!(left.without_db > -10.0, "{left:?}");
    assert!(left.correction_db < -20.0 && left.equaliser_db < -20.0, "{left:?}");
    // No better than what any filter of this kind can do, as the comparison found it.
    let alignment = found.findings.comparisons[0].alignment.as_ref().expect("together");
    let best = alignment.null_depth.any_linear_db.expect("known");
    assert!(left.correction_db > best - 1.0, "{left:?} {best}");
    // The same over one stretch.
    let moments = moments(&takes, &found.measures, &found.findings, "drum").expect("can be heard");
    let gains = gains_db(&found.findings, "drum", &["a".into(), "b".into()]).expect("compared");
    let side =
        |i: usize| Side { take: &takes[i], stretch: moments[0].parts[i].stretch, gain_db: gains[i].gain_db };
    let filter = correction_filter(&bridge, By::Correction, RATE_HZ).expect("is known");
    let one = difference(side(0), side(1), &found.findings, Some(&filter)).expect("together");
    assert!((one.left_db.expect("noise is left") - left.correction_db).abs() < 3.0, "{left:?}");
}

#[test]
fn takes_in_turn_are_not_taken_from_each_other() {
    let takes = takes([1, 2]);
    let (found, bridge) = bridged(&takes);
    assert_eq!(left_over(&takes, &found.measures, &found.findings, &bridge), Ok(None));
}

/// Placements of seven seconds, each with a delay of its own: that of one is known.
#[test]
fn what_is_left_is_found_at_the_placement_of_which_the_delay_is_known_and_others_are_passed_over() {
    let rate = f64::from(RATE_HZ);
    let mut takes = Vec::new();
    for placement in 1..=3u32 {
        let heard = hits(RATE_HZ, 30 + u64::from(placement), &[1.0, 2.0, 3.0, 4.0, 5.0, 6.0], 7.0);
        let late = 48 * placement as usize;
        let mut other: Vec<f32> = std::iter::repeat_n(0.0, late).chain(heard.iter().copied()).collect();
        other.truncate(heard.len());
        Biquad::peak(rate, 400.0, 5.0, 1.0).run(&mut other);
        Biquad::high_shelf(rate, 5000.0, -6.0).run(&mut other);
        takes.push(take_at(RATE_HZ, "a", placement, placement, heard));
        takes.push(take_at(RATE_HZ, "b", placement, placement, other));
    }
    let (found, bridge) = bridged(&takes);
    let of = |takes: &[Take]| {
        left_over(takes, &found.measures, &found.findings, &bridge).expect("at hand").expect("together")
    };
    let left = of(&takes);
    // All three would be more than enough; with the delay of the first the others would hardly cancel.
    assert!((3.0..8.0).contains(&left.seconds), "{left:?}");
    assert!(left.without_db > -10.0, "{left:?}");
    assert!(left.correction_db < -15.0 && left.equaliser_db < -15.0, "{left:?}");
}
