//! Tests: what one gain and one delay explain is taken away, and nothing gets too loud.

use super::*;
use crate::testing::{RATE_HZ, every_second, found, hits, random, take, take_at};
use crate::{Clip, clip};
use fairtake_compare::{Measurement, Playing};
use fairtake_signal::levels::sample_peak;
use fairtake_signal::units::amplitude_db;

/// Twelve hits of seven sines each between 60 Hz and 0.4 of the rate, made anew at any delay: an exact fractional one.
fn ringing(delay_s: f64, gain: f64) -> Vec<f32> {
    let rate = f64::from(RATE_HZ);
    let hz = [63.0, 211.0, 640.0, 1730.0, 4410.0, 9270.0, 19_100.0];
    let mut floor = random(15);
    (0..14 * RATE_HZ as usize)
        .map(|i| {
            let t = i as f64 / rate - delay_s;
            let since = t.rem_euclid(1.0);
            // Rises and falls smoothly, so that the band stays limited.
            let envelope = if t < 1.0 || since > 0.5 { 0.0 } else { (PI * since / 0.5).sin().powi(4) };
            let sum: f64 = hz.iter().map(|f| (TAU * f * t).sin()).sum();
            (gain * 0.05 * envelope * sum + 1e-7 * floor()) as f32
        })
        .collect()
}

/// Findings of two made takes, with the delay and polarity as made instead of as found.
fn told(takes: &[Take], delay_s: f64, polarity: Polarity) -> Measurement {
    let mut found = found(takes, Playing::Percussive);
    let alignment = found.findings.comparisons[0].alignment.as_mut().expect("recorded together");
    (alignment.delay_s, alignment.polarity) = (Some(delay_s), polarity);
    found
}

fn sides(takes: &[Take], gains_db: [f64; 2]) -> [Side<'_>; 2] {
    let stretch = Stretch { start: 47_000, frames: 100_000 };
    [0, 1].map(|i| Side { take: &takes[i], stretch, gain_db: gains_db[i] })
}

#[test]
fn a_copy_is_taken_away_at_any_fraction_of_a_sample() {
    for (delay_frames, gain, polarity) in
        [(0.0, 0.5, Polarity::Same), (0.37, 0.5, Polarity::Same), (-7.73, -0.5, Polarity::Inverted)]
    {
        let delay_s = delay_frames / f64::from(RATE_HZ);
        let takes = [take("a", 1, ringing(0.0, 1.0)), take("b", 1, ringing(delay_s, gain))];
        let found = told(&takes, delay_s, polarity);
        // The first is twice as loud: 20·lg 2 is taken off it, exactly.
        let [a, b] = sides(&takes, [-amplitude_db(2.0).expect("not zero"), 0.0]);
        let left = difference(a, b, &found.findings, None).expect("recorded together");
        assert!(
            left.left_db.expect("noise is left") < -60.0,
            "{delay_frames}: {left:?}",
            left = left.left_db
        );
        assert_eq!((left.polarity, left.delay_s, left.trim_db), (polarity, delay_s, 0.0));
        let own = clip(&takes[1], b.stretch, 0.0).expect("can be played");
        let of = |c: &Clip| energy(&c.samples);
        assert!(of(&left.clip) < 1e-6 * of(&own), "{delay_frames}");
        assert_eq!((left.clip.samples.len(), left.clip.rate_hz), (100_000, RATE_HZ));
        // The wrong sign of the delay leaves much.
        let wrong = told(&takes, -delay_s, polarity);
        let left = difference(a, b, &wrong.findings, None).expect("recorded together");
        assert_eq!(left.left_db.expect("noise is left") > -40.0, delay_frames != 0.0);
    }
}

#[test]
fn the_delay_as_found_takes_most_of_it_away() {
    let takes = [
        take("a", 1, hits(48_000, 16, &every_second(), 14.0)),
        take("b", 1, {
            let samples = hits(48_000, 16, &every_second(), 14.0);
            (0..samples.len()).map(|i| if i < 20 { 0.0 } else { -samples[i - 20] }).collect()
        }),
    ];
    let found = found(&takes, Playing::Percussive);
    let [a, b] = sides(&takes, [0.0, 0.0]);
    let left = difference(a, b, &found.findings, None).expect("recorded together");
    assert_eq!(left.polarity, Polarity::Inverted);
    // A hundredth of a sample off, as the delay is found at worst, leaves of white noise (2π·0.01)²/12: −35 dB.
    assert!(left.left_db.is_none_or(|db| db < -35.0), "{left:?}", left = left.left_db);
}

#[test]
fn what_is_left_is_never_louder_than_the_louder_of_the_two() {
    let mut number = random(17);
    let one = hits(48_000, 18, &every_second(), 14.0);
    let mut n_trimmed = 0;
    for round in 0..12 {
        // From a copy upside down, of which twice as much is left, to nearly a stranger; of strangers there is no difference.
        let share = number() as f32;
        let share = share.signum() * share.abs().max(0.15);
        let other = hits(48_000, 19 + round % 3, &every_second(), 14.0);
        let mixed: Vec<f32> =
            one.iter().zip(&other).map(|(x, y)| share * x + 0.3 * (1.0 - share.abs()) * y).collect();
        let takes = [take("a", 1, one.clone()), take("b", 1, mixed)];
        let found = told(&takes, 5e-4 * number(), Polarity::Unclear);
        let gains_db = [-6.0 * number().abs(), -6.0 * number().abs()];
        let [a, b] = sides(&takes, gains_db);
        let left = difference(a, b, &found.findings, None).expect("recorded together");
        assert!(left.trim_db <= 0.0);
        n_trimmed += usize::from(left.trim_db < -0.1);
        let own = [a, b].map(|s| clip(s.take, s.stretch, s.gain_db).expect("can be played"));
        let most = |of: fn(&[f32]) -> f64| own.iter().map(|c| of(&c.samples)).fold(0.0, f64::max);
        let weighted =
            |x: &[f32]| fairtake_signal::loudness::KWeighting::new(RATE_HZ).energies(x, 480).iter().sum();
        let peak = |x: &[f32]| fairtake_signal::true_peak::TruePeak::new().of(x);
        // Exact but for the rounding of samples to f32, 6·10⁻⁸.
        assert!(peak(&left.clip.samples) <= most(peak) * (1.0 + 1e-6), "round {round}");
        assert!(weighted(&left.clip.samples) <= most(weighted) * (1.0 + 1e-6), "round {round}");
        assert!(sample_peak(&left.clip.samples) > 0.0);
    }
    assert!(n_trimmed > 1, "{n_trimmed}");
}

#[test]
fn ends_of_the_takes_are_no_obstacle() {
    let takes = [take("a", 1, ringing(0.0, 1.0)), take("b", 1, ringing(1e-5, 1.0))];
    let found = told(&takes, 1e-5, Polarity::Same);
    for start in [-20_000, 14 * 48_000 - 10_000, 20 * 48_000] {
        let stretch = Stretch { start, frames: 30_000 };
        let [a, b] = [0, 1].map(|i| Side { take: &takes[i], stretch, gain_db: 0.0 });
        let left = difference(a, b, &found.findings, None).expect("silence can be played");
        assert_eq!(left.clip.samples.len(), 30_000);
        // Nothing but the floor of 10⁻⁷ is there.
        assert!(sample_peak(&left.clip.samples) < 1e-6, "{start}");
    }
}

#[test]
fn what_cannot_be_taken_from_each_other_is_refused_by_name() {
    let samples = hits(48_000, 3, &every_second(), 14.0);
    let made =
        |mic: &str, placement, performance| take_at(RATE_HZ, mic, placement, performance, samples.clone());
    let takes = [made("a", 1, 1), made("b", 1, 1), made("a", 2, 2), made("b", 2, 2)];
    let mut found = found(&takes, Playing::Percussive);
    let [a, b] = sides(&takes, [0.0, 0.0]);
    let refused =
        |a, b, found: &Measurement| difference(a, b, &found.findings, None).expect_err("refused").to_string();
    assert_eq!(
        refused(b, a, &found),
        "b-1 and a-1 cannot be taken from each other: no comparison has the one as reference and the other against it"
    );
    let later = Side { take: &takes[3], ..b };
    assert_eq!(
        refused(a, later, &found),
        "a-1 and b-2 cannot be taken from each other: they were not recorded together"
    );
    assert_eq!(
        refused(Side { take: &takes[2], ..a }, later, &found),
        "a-2 and b-2 cannot be taken from each other: the delay was found at another placement"
    );
    let shifted = Side { stretch: Stretch { start: 5, frames: 100_000 }, ..b };
    assert_eq!(
        refused(a, shifted, &found),
        "a-1 and b-1 cannot be taken from each other: the stretches are not the same seconds"
    );
    let loud = Side { gain_db: 1.0, ..b };
    assert_eq!(refused(a, loud, &found), "b-1 is not played at 1 dB: no clip is louder than its original");
    let coarse = take_at(44_100, "b", 1, 1, samples.clone());
    assert_eq!(
        refused(a, Side { take: &coarse, ..b }, &found),
        "a-1 and b-1 cannot be taken from each other: their sampling rates are 48000 Hz and 44100 Hz"
    );
    let alignment = found.findings.comparisons[0].alignment.as_mut().expect("recorded together");
    alignment.delay_s = Some(0.5);
    assert_eq!(
        refused(a, b, &found),
        "a-1 and b-1 cannot be taken from each other: a delay of 0.5 s is none"
    );
    found.findings.comparisons[0].alignment = None;
    assert_eq!(
        refused(a, b, &found),
        "a-1 and b-1 cannot be taken from each other: the delay between them is not known"
    );
}

#[test]
fn a_shift_is_exact_up_to_the_ends_of_the_stretch() {
    // Held sound at the very low end, where a cut is largest: the cut itself must not be smeared into the stretch.
    let rate = f64::from(RATE_HZ);
    let held = |t: f64| 0.5 * (TAU * 21.0 * t).cos();
    let samples: Vec<f32> = (0..RATE_HZ).map(|i| held(f64::from(i) / rate) as f32).collect();
    let original = take("a", 1, samples);
    let side = Side { take: &original, stretch: Stretch { start: 10_000, frames: 20_000 }, gain_db: 0.0 };
    for delay_frames in [0.5, -31.25] {
        let shifted = delayed(side, delay_frames / rate, None).expect("in memory");
        for (i, x) in shifted.iter().enumerate() {
            let wanted = held((10_000.0 + i as f64 - delay_frames) / rate);
            // The rounding of samples to f32, 3·10⁻⁸ of full scale, spread by the shift.
            assert!((x - wanted).abs() < 1e-6, "{delay_frames} {i}: {x} {wanted}");
        }
    }
}
