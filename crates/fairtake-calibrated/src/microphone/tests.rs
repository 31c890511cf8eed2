//! Substitution, ranges and masks, on curves whose answer is known.

use super::*;
use crate::excitation::{Excitation, Form};
use crate::found::found;
use crate::quantity::{Contribution, Quantity};
use crate::response::{Gate, ImpulseResponse, Point, Response, ResponseSettings, impulse_responses};
use crate::text_curve::{TextCurve, TextMask};
use fairtake_virtual_studio::bench::linear::{Chain, Filter};
use fairtake_virtual_studio::bench::loudspeaker::Loudspeaker;
use fairtake_virtual_studio::bench::recorder::Recorder;
use fairtake_virtual_studio::bench::room::Room;

const RATE_HZ: f64 = 48_000.0;

fn speaker() -> Loudspeaker {
    Loudspeaker::linear(Chain(vec![
        Filter::HighPass { hz: 40.0, q: 0.8 },
        Filter::Peak { hz: 1400.0, q: 2.0, db: 4.0 },
        Filter::Delay { s: 0.003 },
    ]))
}

fn heron() -> Chain {
    Chain(vec![
        Filter::HighPass { hz: 35.0, q: 0.6 },
        Filter::Peak { hz: 5500.0, q: 1.0, db: 4.0 },
        Filter::LowPass { hz: 17_000.0, q: 0.8 },
    ])
}

fn reference_mic() -> Chain {
    Chain(vec![Filter::Peak { hz: 12_000.0, q: 1.0, db: 1.5 }])
}

fn taken(mic: &Chain, room: &Room, seed: u64) -> ImpulseResponse {
    let made = Excitation::new(Form { seconds: 4.0, ..Form::standard(48_000) }).expect("good");
    let signal: Vec<f64> = made.render().iter().map(|x| f64::from(*x)).collect();
    let heard = mic.through(&room.heard(&speaker().play(&signal, RATE_HZ, 0.3), RATE_HZ), RATE_HZ, 0.1);
    let recorder = Recorder { noise_dbfs: Some(-80.0), gain_db: -10.0, seed, ..Recorder::faultless() };
    let recording = recorder.record(&heard, RATE_HZ);
    let there = found(&recording, 48_000, &made).expect("there");
    impulse_responses(&recording, &there, &made).expect("a sweep").remove(0)
}

fn curve(impulse: &ImpulseResponse, gate: Gate) -> Response {
    Response::of(impulse, &ResponseSettings { per_octave: 12, gate }).expect("good")
}

fn certificate() -> Reference {
    let points = (0..41).map(|i| 20.0 * (f64::from(i) / 4.0).exp2()).map(|hz| (hz, reference_mic().db(hz)));
    Reference {
        correction: Some(TextCurve::new(points.collect()).expect("rising")),
        half_db: 0.3,
        coverage_factor: 2.0,
    }
}

#[test]
fn substitution_takes_loudspeaker_and_room_out() {
    let room = Room::with_walls(0.006, 0.2);
    let (tested, reference) = (taken(&heron(), &room, 1), taken(&reference_mic(), &room, 2));
    let gate = Gate::Seconds(0.0055);
    let (gated, gated_reference) = (curve(&tested, gate), curve(&reference, gate));
    let (whole, whole_reference) = (curve(&tested, Gate::Whole), curve(&reference, Gate::Whole));
    let ungated = Ungated {
        tested: &whole,
        reference: &whole_reference,
        reflected_share: reference.reflected_share(0.0055),
        pattern: Pattern::Same,
    };
    let found = substituted(&gated, &gated_reference, &certificate(), Some(ungated)).expect("good");
    let at_1k = heron().db(1000.0);
    let mut n_below = 0;
    for p in found.points.iter().filter(|p| p.from_hz > 50.0 && p.to_hz < 18_000.0) {
        let level = p.level_db.as_ref().expect("measured");
        let truth = heron().band_db(p.from_hz, p.to_hz) - at_1k;
        assert!((level.value - truth).abs() < 0.3, "{:.0} Hz: {:.2} {truth:.2}", p.hz, level.value);
        assert!(level.half.expect("known") > 0.29, "the certificate counts: 0.3 dB at a factor of 2");
        n_below += usize::from(level.budget.iter().any(|part| part.from == "pattern in reflections"));
    }
    // From 50 Hz to 364 Hz: some 34 points.
    assert!((30..40).contains(&n_below), "{n_below}");
    assert!(
        found.ungated_below_hz.is_some_and(|hz| (360.0..390.0).contains(&hz)),
        "{:?}",
        found.ungated_below_hz
    );
    // Without curves that are not gated nothing is said there.
    let open = substituted(&gated, &gated_reference, &certificate(), None).expect("good");
    assert!(open.points.iter().all(|p| p.from_hz > 363.0 || p.level_db.is_none()));
    assert_eq!(open.ungated_below_hz, None);
}

#[test]
fn the_spread_of_repeats_is_the_uncertainty_of_their_mean() {
    let (a, b) = (taken(&heron(), &Room::anechoic(), 1), taken(&heron(), &Room::anechoic(), 2));
    let shifted = |by_db: f64| {
        let mut r = curve(&a, Gate::Whole);
        r.points.iter_mut().filter_map(|p| p.level_db.as_mut()).for_each(|q| q.value += by_db);
        r
    };
    let mean = average(&[shifted(0.0), shifted(0.3), shifted(0.6)]).expect("alike");
    let at = mean.at(1000.0).expect("measured");
    // Exact: 0.3/√3, with the factor of Student's t for two degrees of freedom, 4.303.
    assert!((at.half.expect("known") - 4.3027 * 0.3 / 3f64.sqrt()).abs() < 1e-3, "{:?}", at.half);
    assert!((at.value - shifted(0.3).at(1000.0).expect("measured").value).abs() < 1e-9);
    let alone = average(&[curve(&b, Gate::Whole)]).expect("one");
    assert_eq!(alone, curve(&b, Gate::Whole));
    assert_eq!(average(&[]).expect_err("none").to_string(), "there is no response");
    let coarse = Response::of(&a, &ResponseSettings { per_octave: 3, gate: Gate::Whole }).expect("good");
    assert_eq!(
        average(&[shifted(0.0), coarse]).expect_err("unlike").to_string(),
        "responses of different bands cannot be joined"
    );
}

#[test]
fn against_1_khz_what_a_setting_up_reads_more_of_everywhere_falls_out() {
    let a = taken(&heron(), &Room::anechoic(), 1);
    // Three set-ups, 0.3 dB apart as a whole, and one of them with 0.3 dB more above 5 kHz.
    let set_up = |by_db: f64, above_db: f64| {
        let mut r = curve(&a, Gate::Whole);
        for p in &mut r.points {
            let more = if p.hz > 5000.0 { above_db } else { 0.0 };
            p.level_db.iter_mut().for_each(|q| q.value += by_db + more);
        }
        r
    };
    let repeats = [set_up(0.0, 0.0), set_up(0.3, 0.0), set_up(0.6, 0.3)];
    let at_1k: Vec<f64> = repeats.iter().map(|r| r.at(1000.0).expect("measured").value).collect();
    let shape = average_less(&repeats, &at_1k).expect("alike");
    let half = |hz: f64| shape.at(hz).expect("measured").half.expect("known");
    // Exact: nothing but what deconvolution leaves at 2 kHz; 0.3 dB in one of three, 0.1·√3/√3 dB, at 8 kHz (t of 2 degrees: 4.303).
    assert!(half(2000.0) < 0.001, "{}", half(2000.0));
    assert!((half(8000.0) - 4.3027 * 0.1).abs() < 1e-3, "{}", half(8000.0));
    assert!(shape.at(1000.0).expect("measured").value.abs() < 1e-9);
    let error = average_less(&repeats, &at_1k[..2]).expect_err("a level is missing").to_string();
    assert!(error.contains("numbers of curves and of levels"), "{error}");
    // Substituted, the level that all share is in no interval, neither at the point nor at 1 kHz.
    let reference = Reference { half_db: 0.0, ..certificate() };
    let found = substituted(&shape, &shape, &reference, None).expect("good");
    let at_2k = found.points.iter().find(|p| p.hz > 2000.0).expect("a point").half_db().expect("known");
    assert!(at_2k < 0.002, "{at_2k}");
}

/// Points 1/12 octave apart with this level and half width.
pub(super) fn made(level_db: impl Fn(f64) -> f64, half_db: f64) -> Vec<Point> {
    (-60..=52)
        .map(|k| {
            let (hz, half) =
                (1000.0 * 10f64.powf(0.3 * (f64::from(k) + 0.5) / 12.0), 10f64.powf(0.15 / 12.0));
            let level = Quantity::new(level_db(hz), vec![Contribution::expanded("made", half_db, 1.959_964)]);
            Point { from_hz: hz / half, to_hz: hz * half, hz, level_db: Some(level) }
        })
        .collect()
}

#[test]
fn the_range_ends_where_the_response_has_fallen() {
    // Exact: falling by 12 dB per octave below 100 Hz and by 24 above 10 kHz, in steps of the points.
    let fall = |hz: f64| -12.0 * (100.0 / hz).log2().max(0.0) - 24.0 * (hz / 10_000.0).log2().max(0.0);
    let points = made(fall, 0.5);
    let three = effective_range(&points, -3.0).expect("known at 1 kHz");
    let (Edge::At(low), Edge::At(high)) = (&three.low, &three.high) else { panic!("{three:?}") };
    assert!((low.value / (100.0 * 2f64.powf(-0.25)) - 1.0).abs() < 0.01, "{}", low.value);
    assert!((high.value / (10_000.0 * 2f64.powf(0.125)) - 1.0).abs() < 0.01, "{}", high.value);
    // Half a dB is a 24th of an octave at 12 dB per octave.
    let half_octaves = (1.0 + low.half.expect("known") / low.value).log2();
    assert!((half_octaves - 0.5 / 12.0).abs() < 0.003, "{half_octaves}");
    let far = effective_range(&points, -40.0).expect("known at 1 kHz");
    assert!(matches!(far.low, Edge::Beyond(hz) if (hz - points[0].hz).abs() < 1e-9), "{far:?}");
}

#[test]
fn a_curve_and_a_mask_are_held_against_a_response() {
    let bump = |hz: f64| 3.0 * (-((hz / 6000.0).log2() / 0.3).powi(2)).exp();
    let points = made(|hz| bump(hz) - 40.0, 0.2);
    let published = TextCurve::parse("20 0\n20000 0\n").expect("good");
    let found = deviation(&points, &published).expect("in common");
    assert!(
        (found.largest.hz / 6000.0).log2().abs() < 0.05
            && (found.largest.deviation_db.value - 3.0).abs() < 0.15
    );
    assert!((found.level_db + 40.0).abs() < 0.15, "{}", found.level_db);
    let relative = made(bump, 0.2);
    let held =
        |text: &str| held_against(&relative, &TextMask::parse(text).expect("good")).expect("in common");
    assert_eq!(held("20 -4 4\n20000 -4 4\n").verdict, Verdict::Within);
    let outside = held("20 -2 2\n20000 -2 2\n");
    assert_eq!(outside.verdict, Verdict::Outside);
    assert!(outside.beyond.iter().all(|(hz, db)| (hz / 6000.0).log2().abs() < 0.3 && *db <= 1.0));
    // 3 dB are 0.25 dB beyond: more than the ±0.2 dB of one point, less than ±0.36 dB of one among 113 (normal factor 3.51 for
    // 0.05/113 against 1.96).
    let chance = held("20 -2.75 2.75\n20000 -2.75 2.75\n");
    assert_eq!(chance.verdict, Verdict::Undecided);
    assert!(
        !chance.beyond.is_empty() && chance.beyond.iter().all(|(_, db)| *db < 0.36),
        "{:?}",
        chance.beyond
    );
    assert_eq!(held("20 -2.6 2.6\n20000 -2.6 2.6\n").verdict, Verdict::Outside);
    let near = held("20 -3.05 3.05\n20000 -3.05 3.05\n");
    assert_eq!((near.verdict, near.beyond.len()), (Verdict::Undecided, 0));
    assert!(held_against(&relative, &TextMask::parse("30000 -1 1\n40000 -1 1\n").expect("good")).is_none());
}

#[test]
fn what_cannot_be_substituted_is_refused() {
    let impulse = taken(&heron(), &Room::anechoic(), 1);
    let (gated, coarse) = (
        curve(&impulse, Gate::Seconds(0.0015)),
        Response::of(&impulse, &ResponseSettings { per_octave: 3, gate: Gate::Whole }).expect("good"),
    );
    let told = |a: &Response, b: &Response, reference: &Reference| {
        substituted(a, b, reference, None).expect_err("refused").to_string()
    };
    assert_eq!(
        told(&gated, &coarse, &certificate()),
        "the curves of microphone and reference were made differently"
    );
    assert_eq!(
        told(&gated, &gated, &certificate()),
        "nothing is measured at 1 kHz, to which the response refers"
    );
    let odd = Reference { coverage_factor: 0.0, ..certificate() };
    assert_eq!(told(&gated, &gated, &odd), "a reference that is known to 0.3 dB with a coverage factor of 0");
    let elsewhere =
        Reference { correction: Some(TextCurve::parse("30000 0\n40000 1").expect("good")), ..certificate() };
    assert!(told(&gated, &gated, &elsewhere).starts_with("the correction goes from 30000 Hz to 40000 Hz"));
}

#[test]
fn sweeps_of_one_setting_up_have_the_noise_of_a_mean_and_no_spread() {
    let a = taken(&heron(), &Room::anechoic(), 1);
    let sweep = |by_db: f64| {
        let mut r = curve(&a, Gate::Whole);
        r.points.iter_mut().filter_map(|p| p.level_db.as_mut()).for_each(|q| q.value += by_db);
        r
    };
    let (one, mean) = (sweep(0.0), one_setting_up(&[-0.3, 0.0, 0.1, 0.2].map(sweep)).expect("alike"));
    let noise = |r: &Response, k: usize| -> f64 {
        let budget = &r.points[k].level_db.as_ref().expect("measured").budget;
        budget.iter().find(|part| part.from == "noise").expect("some").standard
    };
    for k in (0..one.points.len()).filter(|k| one.points[*k].level_db.is_some()) {
        assert!(
            (mean.points[k].db().expect("measured") - one.points[k].db().expect("measured")).abs() < 1e-9
        );
        assert!((noise(&mean, k) / noise(&one, k) - 0.5).abs() < 1e-9, "a mean of four");
        let spread = mean.points[k].level_db.as_ref().expect("measured").budget.iter();
        assert_eq!(spread.filter(|part| part.from == "repeats").count(), 0);
    }
}
