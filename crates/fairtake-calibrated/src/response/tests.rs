//! Responses of the bench, held against its formulas.

use super::*;
use crate::excitation::{Excitation, Form};
use crate::found::found;
use fairtake_virtual_studio::bench::linear::{Chain, Filter};
use fairtake_virtual_studio::bench::loudspeaker::{Distortion, Loudspeaker};
use fairtake_virtual_studio::bench::recorder::Recorder;
use fairtake_virtual_studio::bench::room::Room;

pub(super) fn chain() -> Chain {
    Chain(vec![
        Filter::Gain { db: -12.0 },
        Filter::HighPass { hz: 45.0, q: 0.75 },
        Filter::Peak { hz: 180.0, q: 1.5, db: 2.5 },
        Filter::Peak { hz: 3200.0, q: 2.0, db: 5.0 },
        Filter::Peak { hz: 8000.0, q: 3.0, db: -4.0 },
        Filter::LowPass { hz: 19_000.0, q: 0.9 },
        Filter::Delay { s: 0.003_456_7 },
    ])
}

fn recorded(excitation: &Excitation, room: &Room, recorder: &Recorder) -> Vec<f32> {
    let rate_hz = f64::from(excitation.rate_hz());
    let signal: Vec<f64> = excitation.render().iter().map(|x| f64::from(*x)).collect();
    let speaker = Loudspeaker::linear(chain());
    recorder.record(&room.heard(&speaker.play(&signal, rate_hz, 0.3), rate_hz), rate_hz)
}

fn impulse(excitation: &Excitation, room: &Room, recorder: &Recorder) -> ImpulseResponse {
    let recording = recorded(excitation, room, recorder);
    let there = found(&recording, excitation.rate_hz(), excitation).expect("there");
    impulse_responses(&recording, &there, excitation).expect("a sweep").remove(0)
}

/// Largest error against the formula within a range, and where.
fn error(response: &Response, truth: impl Fn(f64, f64) -> f64, (low_hz, high_hz): (f64, f64)) -> (f64, f64) {
    let within = |p: &&Point| p.from_hz >= low_hz && p.to_hz <= high_hz;
    let errors = response.points.iter().filter(within).map(|p| {
        let db = p.db().unwrap_or(f64::INFINITY);
        ((db - truth(p.from_hz, p.to_hz)).abs(), p.hz)
    });
    errors.max_by(|a, b| a.0.total_cmp(&b.0)).expect("points in the range")
}

fn settings(gate: Gate) -> ResponseSettings {
    ResponseSettings { per_octave: 12, gate }
}

#[test]
fn without_reflections_a_known_response_is_found_within_a_tenth_of_a_db() {
    for (rate_hz, drift_ppm, seed) in [(48_000, 35.0, 1), (44_100, -50.0, 2), (96_000, 0.0, 3)] {
        let made = Excitation::new(Form::standard(rate_hz)).expect("good");
        // The sweep comes in at −12 −3 −12 dBFS effective; noise 60 dB below.
        let recorder = Recorder { drift_ppm, noise_dbfs: Some(-87.0), seed, ..Recorder::faultless() };
        let impulse = impulse(&made, &Room::anechoic(), &recorder);
        for gate in [Gate::Whole, Gate::Seconds(0.3)] {
            let response = Response::of(&impulse, &settings(gate)).expect("good");
            let (off_db, hz) = error(&response, |from, to| chain().band_db(from, to), (48.0, 18_600.0));
            assert!(off_db < 0.1, "{rate_hz} {gate:?}: {off_db:.3} dB at {hz:.0} Hz");
        }
    }
}

#[test]
fn behind_a_gate_everything_above_two_periods_in_it_is_right_and_nothing_is_said_below() {
    let made = Excitation::new(Form { seconds: 5.0, ..Form::standard(48_000) }).expect("good");
    for (first_s, seed) in [(0.004, 1), (0.007, 2), (0.012, 3)] {
        let recorder = Recorder { noise_dbfs: Some(-87.0), drift_ppm: 20.0, seed, ..Recorder::faultless() };
        let impulse = impulse(&made, &Room::with_walls(first_s, 0.3), &recorder);
        let gate_s = impulse.first_reflection_s().expect("there are walls");
        assert!(gate_s > 0.9 * first_s && gate_s <= first_s, "{gate_s} {first_s}");
        let response = Response::of(&impulse, &settings(Gate::Seconds(gate_s))).expect("good");
        let lowest_hz = 2.0 / gate_s;
        assert!((response.lowest_hz - lowest_hz).abs() < 1e-9 && response.gate_s == gate_s);
        for p in response.points.iter().filter(|p| p.to_hz < 20_000.0) {
            assert_eq!(p.level_db.is_some(), p.from_hz >= lowest_hz, "{} Hz", p.hz);
        }
        let (off_db, hz) = error(&response, |from, to| chain().band_db(from, to), (lowest_hz, 18_600.0));
        assert!(off_db < 0.3, "{first_s}: {off_db:.3} dB at {hz:.0} Hz");
    }
}

#[test]
fn no_reflection_is_seen_where_there_is_none() {
    let made = Excitation::new(Form { seconds: 3.0, ..Form::standard(48_000) }).expect("good");
    let recorder = Recorder { noise_dbfs: Some(-80.0), ..Recorder::faultless() };
    assert_eq!(impulse(&made, &Room::anechoic(), &recorder).first_reflection_s(), None);
}

#[test]
fn the_phase_is_that_of_the_formula() {
    // Exact: the recorder starts half a second early, and what the marks make of the chain's delay is known from where they were found.
    let made = Excitation::new(Form { seconds: 3.0, ..Form::standard(48_000) }).expect("good");
    let recording = recorded(&made, &Room::anechoic(), &Recorder::faultless());
    let there = found(&recording, 48_000, &made).expect("there");
    let impulse = impulse_responses(&recording, &there, &made).expect("a sweep").remove(0);
    let early_s = there.start_s - 0.5;
    let (spectrum, step_hz) = impulse.spectrum(Gate::Whole);
    for k in [100.0, 500.0, 2000.0, 6000.0, 16_000.0].map(|hz| (hz / step_hz).round() as usize) {
        let hz = k as f64 * step_hz;
        let turn = fairtake_transform::Complex::from_polar(1.0, std::f64::consts::TAU * hz * early_s);
        let expected = chain().response(hz) * turn;
        let far = (spectrum[k] - expected).norm() / expected.norm();
        // Quantised drift of the marks, some 0.01 ppm over three seconds, is 0.3 % of a turn at 16 kHz.
        assert!(far < 0.02, "{hz} Hz: {far}");
    }
    assert!((impulse.arrival_s + early_s - 0.003_456_7).abs() < 3e-5, "{}", impulse.arrival_s);
}

#[test]
fn repeats_and_levels_are_kept_apart_and_the_level_is_absolute() {
    let form = Form { seconds: 2.0, levels_dbfs: vec![-30.0, -20.0], repeats: 3, ..Form::standard(48_000) };
    let made = Excitation::new(form).expect("good");
    let recorder = Recorder { noise_dbfs: Some(-75.0), drift_ppm: -40.0, ..Recorder::faultless() };
    let recording = recorded(&made, &Room::anechoic(), &recorder);
    let there = found(&recording, 48_000, &made).expect("there");
    let impulses = impulse_responses(&recording, &there, &made).expect("a sweep");
    assert_eq!(
        impulses.iter().map(|i| (i.level_dbfs, i.n_averaged)).collect::<Vec<_>>(),
        [(-30.0, 3), (-20.0, 3)]
    );
    let truth_db = chain().band_db(980.0, 1020.0);
    let halves: Vec<f64> = impulses
        .iter()
        .map(|impulse| {
            let at =
                Response::of(impulse, &settings(Gate::Whole)).expect("good").at(1000.0).expect("measured");
            assert!((at.value - truth_db).abs() < 0.1, "{} {truth_db}", at.value);
            at.half.expect("known")
        })
        .collect();
    // Ten dB louder: a third of the uncertainty.
    assert!((halves[0] / halves[1] - 10f64.sqrt()).abs() < 0.4, "{halves:?}");
}

#[test]
fn a_third_octave_holds_the_mean_power_of_all_within() {
    let made = Excitation::new(Form { seconds: 2.0, ..Form::standard(48_000) }).expect("good");
    let recorder = Recorder { noise_dbfs: Some(-87.0), ..Recorder::faultless() };
    let impulse = impulse(&made, &Room::anechoic(), &recorder);
    let of = |per_octave| {
        Response::of(&impulse, &ResponseSettings { per_octave, gate: Gate::Whole }).expect("good")
    };
    let (thirds, fine) = (of(3), of(12));
    for band in thirds.points.iter().filter(|p| p.from_hz > 30.0 && p.to_hz < 18_000.0) {
        let level = band.level_db.as_ref().expect("measured");
        let truth = chain().band_db(band.from_hz, band.to_hz);
        // Half widths of 95 %: twice of them is met in all but a few of 100,000.
        assert!((level.value - truth).abs() < 2.0 * level.half.expect("known") + 0.005, "{band:?} {truth}");
    }
    // Four times as wide: half the uncertainty of noise.
    let noise = |response: &Response| {
        let band = response.points.iter().find(|p| p.to_hz > 1000.0).expect("a band");
        band.level_db.as_ref().expect("measured").budget[0].standard
    };
    assert!((noise(&fine) / noise(&thirds) - 2.0).abs() < 0.2, "{} {}", noise(&fine), noise(&thirds));
    assert!(
        thirds.points.first().expect("some").level_db.is_none(),
        "the lowest band reaches below the sweep"
    );
}

#[test]
fn what_is_not_offered_is_refused() {
    let made = Excitation::new(Form { seconds: 2.0, ..Form::standard(48_000) }).expect("good");
    let impulse = impulse(&made, &Room::anechoic(), &Recorder::faultless());
    let told = |per_octave, gate| {
        let error = Response::of(&impulse, &ResponseSettings { per_octave, gate }).expect_err("not offered");
        format!("{error}; {}", error.hint())
    };
    assert_eq!(
        told(12, Gate::Seconds(3.0)),
        "a gate of 3000.00 ms; choose between 0.5 ms and 950 ms, or no gate"
    );
    assert_eq!(told(5, Gate::Whole), "5 bands per octave; choose 3, 6, 12 or 24");
    let noise = Excitation::new(Form { kind: crate::excitation::Kind::PinkNoise, ..made.form().clone() })
        .expect("good");
    let recording = recorded(&noise, &Room::anechoic(), &Recorder::faultless());
    let there = found(&recording, 48_000, &noise).expect("there");
    let error = impulse_responses(&recording, &there, &noise).expect_err("noise").to_string();
    assert_eq!(error, "no response from pink noise");
}

#[test]
fn distortion_does_not_reach_the_response() {
    let made = Excitation::new(Form { seconds: 5.0, ..Form::standard(48_000) }).expect("good");
    let signal: Vec<f64> = made.render().iter().map(|x| f64::from(*x)).collect();
    let speaker = Loudspeaker { distortion: Some(Distortion::memoryless(&[(2, 0.2)])), response: chain() };
    let recording = Recorder::faultless().record(&speaker.play(&signal, 48_000.0, 0.3), 48_000.0);
    let there = found(&recording, 48_000, &made).expect("there");
    let impulse = impulse_responses(&recording, &there, &made).expect("a sweep").remove(0);
    let response = Response::of(&impulse, &settings(Gate::Seconds(0.2))).expect("good");
    let (off_db, hz) = error(&response, |from, to| chain().band_db(from, to), (48.0, 18_600.0));
    assert!(off_db < 0.1, "{off_db:.3} dB at {hz:.0} Hz");
}
