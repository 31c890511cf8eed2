//! Distortion of the bench, held against its formulas.

use super::*;
use crate::excitation::{Excitation, Form};
use crate::found::found;
use crate::quantity::Quantity;
use crate::response::{Gate, ImpulseResponse, impulse_responses};
use fairtake_virtual_studio::bench::linear::{Chain, Filter};
use fairtake_virtual_studio::bench::loudspeaker::{Distortion as Bend, Loudspeaker};
use fairtake_virtual_studio::bench::recorder::Recorder;
use fairtake_virtual_studio::bench::room::Room;

const RATE_HZ: f64 = 48_000.0;

fn linear() -> Chain {
    Chain(vec![
        Filter::HighPass { hz: 45.0, q: 0.75 },
        Filter::Peak { hz: 2800.0, q: 1.5, db: 4.0 },
        Filter::Delay { s: 0.002 },
    ])
}

fn excitation(levels_dbfs: &[f64]) -> Excitation {
    let form = Form { levels_dbfs: levels_dbfs.to_vec(), ..Form::standard(48_000) };
    Excitation::new(form).expect("good")
}

/// Impulse responses of what is played through these one after the other.
fn taken(
    made: &Excitation,
    chain: &[&Loudspeaker],
    room: &Room,
    recorder: &Recorder,
) -> Vec<ImpulseResponse> {
    let signal: Vec<f64> = made.render().iter().map(|x| f64::from(*x)).collect();
    let (first, others) = chain.split_first().expect("a loudspeaker");
    let sound = room.heard(&first.play(&signal, RATE_HZ, 0.3), RATE_HZ);
    let heard = others.iter().fold(sound, |sound, next| next.play(&sound, RATE_HZ, 0.1));
    let recording = recorder.record(&heard, RATE_HZ);
    let there = found(&recording, 48_000, made).expect("there");
    impulse_responses(&recording, &there, made).expect("a sweep")
}

fn quiet(seed: u64) -> Recorder {
    // The sweep comes in at some −15 dBFS effective; noise 60 dB below.
    Recorder { noise_dbfs: Some(-75.0), drift_ppm: 25.0, seed, ..Recorder::faultless() }
}

fn value(figure: &Option<Figure>) -> f64 {
    figure.as_ref().and_then(Figure::measured).map_or(f64::NAN, |q| q.value)
}

#[test]
fn thd_is_right_within_five_percent_of_itself_down_to_a_thousandth() {
    let amplitude = 10f64.powf(-12.0 / 20.0);
    let slope = Chain(vec![Filter::Slope { hz: 400.0 }]);
    for (i, (terms, before)) in [
        (vec![(2, 0.4), (3, 0.5), (4, 0.6), (5, 0.8)], Chain::default()),
        (vec![(2, 0.08), (3, 0.1)], Chain::default()),
        (vec![(2, 0.4), (3, 0.6)], slope),
        // About 0.1 %: the least for which it is asked.
        (vec![(2, 0.008)], Chain::default()),
    ]
    .into_iter()
    .enumerate()
    {
        let speaker = Loudspeaker { distortion: Some(Bend { before, terms }), response: linear() };
        let impulse =
            taken(&excitation(&[-12.0]), &[&speaker], &Room::anechoic(), &quiet(i as u64)).remove(0);
        let distortion = Distortion::of(&impulse, 3, Gate::Seconds(0.1)).expect("good");
        let mut n_checked = 0;
        for p in distortion.points.iter().filter(|p| p.hz > 60.0 && p.hz < 8000.0) {
            let truth: [f64; 5] = speaker.harmonics(p.hz, amplitude);
            let orders = p.highest_order as usize;
            let wanted = 100.0 * truth[1..orders].iter().map(|h| h * h).sum::<f64>().sqrt() / truth[0];
            if wanted < 0.095 {
                continue;
            }
            let found = value(&p.thd);
            // Where the response is steep the mean over a band is not that of its middle: bands of a third, 2 % here.
            assert!(
                (found / wanted - 1.0).abs() < 0.05,
                "{i}: {:.0} Hz: {found:.4} % for {wanted:.4} %",
                p.hz
            );
            n_checked += 1;
        }
        assert!(n_checked >= 9, "{i}: {n_checked}");
    }
}

#[test]
fn orders_are_told_apart_and_what_is_not_there_is_at_most_little() {
    let speaker = Loudspeaker { distortion: Some(Bend::memoryless(&[(3, 0.5)])), response: linear() };
    let impulse = taken(&excitation(&[-12.0]), &[&speaker], &Room::anechoic(), &quiet(5)).remove(0);
    let distortion = Distortion::of(&impulse, 3, Gate::Seconds(0.1)).expect("good");
    let at = distortion.at(500.0).expect("a point");
    let truth = speaker.harmonics(at.hz, 10f64.powf(-0.6));
    let wanted = 100.0 * truth[2] / truth[0];
    assert!((value(&at.harmonics[1]) / wanted - 1.0).abs() < 0.03);
    for order in [0, 2, 3] {
        assert!(
            matches!(at.harmonics[order], Some(Figure::AtMost(most)) if most < 0.03),
            "{:?}",
            at.harmonics[order]
        );
    }
    // The fifth harmonic of 5 kHz lies beyond the sweep; the third does not.
    let high = distortion.at(5000.0).expect("a point");
    assert!(high.harmonics[3].is_none() && high.harmonics[1].is_some());
    assert_eq!(high.highest_order, 3);
    assert!(distortion.at(15_000.0).expect("a point").thd.is_none());
}

#[test]
fn the_level_at_which_thd_reaches_a_limit_is_found_where_the_steps_reach_it() {
    let speaker = Loudspeaker { distortion: Some(Bend::memoryless(&[(3, 0.8)])), response: Chain::default() };
    let levels: Vec<f64> = (0..5).map(|i| -30.0 + 5.0 * f64::from(i)).collect();
    let form = Form { seconds: 4.0, ..excitation(&levels).form().clone() };
    let made = Excitation::new(form).expect("good");
    let recorder = Recorder { noise_dbfs: Some(-95.0), ..Recorder::faultless() };
    let steps: Vec<Distortion> = taken(&made, &[&speaker], &Room::anechoic(), &recorder)
        .iter()
        .map(|i| Distortion::of(i, 3, Gate::Seconds(0.05)).expect("good"))
        .collect();
    let spl = Quantity::of_unknown_uncertainty(130.0);
    let over = thd_over_level(&steps, 1000.0, Some(&spl));
    assert_eq!(over.len(), 5);
    // Exact: x + c·x³ has the third harmonic c·A³/4 and the fundamental A + 3c·A³/4.
    let level_for = |percent: f64| {
        let share = percent / 100.0;
        let amplitude = (share / (0.2 * (1.0 - 3.0 * share))).sqrt();
        let fundamental = amplitude * (1.0 + 0.6 * amplitude * amplitude);
        130.0 + fairtake_signal::units::amplitude_db(fundamental / 2f64.sqrt()).expect("above nothing")
    };
    for (percent, reached) in levels_for_thd(&over, Some(&spl)) {
        match reached {
            Some(Reached::At(level)) if percent < 2.0 => {
                assert!(
                    (level.value - level_for(percent)).abs() < 0.15,
                    "{percent}: {} {}",
                    level.value,
                    level_for(percent)
                );
            }
            Some(Reached::NotUpTo(level)) if percent > 2.0 => {
                // The fundamental of the loudest step: 0.506 dB more than was played, by the same formula.
                assert!((level - (130.0 - 10.0 - 3.01 + 0.506)).abs() < 0.05, "{level}")
            }
            other => panic!("{percent}: {other:?}"),
        }
    }
    assert!(matches!(level_for_thd(&over[4..], 0.5, None), Some(Reached::AboveFrom(_))));
    assert_eq!(level_for_thd(&[], 0.5, None), None);
}

#[test]
fn the_microphones_own_distortion_is_told_from_the_loudspeakers() {
    let speaker =
        Loudspeaker { distortion: Some(Bend::memoryless(&[(2, 0.05), (3, 0.12)])), response: linear() };
    let heron = |terms: &[(u32, f64)]| Loudspeaker {
        distortion: (!terms.is_empty()).then(|| Bend::memoryless(terms)),
        response: Chain(vec![
            Filter::Peak { hz: 6000.0, q: 1.0, db: 4.0 },
            Filter::LowPass { hz: 18_000.0, q: 0.8 },
        ]),
    };
    let made = excitation(&[-12.0]);
    let room = Room::anechoic();
    let gate = Gate::Seconds(0.05);
    let recorder = |seed| Recorder { gain_db: -6.0, noise_dbfs: Some(-85.0), ..quiet(seed) };
    let reference =
        taken(&made, &[&speaker, &Loudspeaker::linear(Chain::default())], &room, &recorder(1)).remove(0);
    let tested = |terms: &[(u32, f64)], seed| {
        taken(&made, &[&speaker, &heron(terms)], &room, &recorder(seed)).remove(0)
    };
    let own =
        |impulse: &ImpulseResponse| own_distortion(impulse, Some(&reference), 0.1, 3, gate).expect("alike");
    let at = |points: &[OwnPoint], hz: f64| {
        points
            .iter()
            .min_by(|a, b| (a.hz / hz).ln().abs().total_cmp(&(b.hz / hz).ln().abs()))
            .cloned()
            .expect("a point")
    };

    // More of its own than of the loudspeaker's: measured, near what it does to a pure sound of that level.
    let bent = at(&own(&tested(&[(2, 0.12)], 2)), 1000.0);
    let mut sums = [0.0; 2];
    for i in 0..=100 {
        let hz = bent.hz * 2f64.powf((f64::from(i) / 100.0 - 0.5) / 3.0);
        let amplitude = speaker.harmonics(hz, 10f64.powf(-0.6))[0];
        let there = heron(&[(2, 0.12)]).harmonics(hz, amplitude);
        (0..2).for_each(|k| sums[k] += there[k] * there[k]);
    }
    let wanted = 100.0 * (sums[1] / sums[0]).sqrt();
    let Own::Measured(second) = &bent.harmonics[0] else { panic!("{bent:?}") };
    let half = second.half.expect("its interval is known");
    let off = (second.value - wanted).abs();
    assert!(off <= half && off < 0.02 * wanted, "{} ± {half}: {wanted}", second.value);
    let of_speaker = speaker.harmonics(bent.hz, 10f64.powf(-0.6));
    let carried = heron(&[]).response;
    let gain = carried.response(2.0 * bent.hz).norm() / carried.response(bent.hz).norm();
    let of_speaker = 100.0 * gain * of_speaker[1] / of_speaker[0];
    let found = bent.loudspeaker_percent[0].expect("measured");
    assert!((found / of_speaker - 1.0).abs() < 0.05, "{found} {of_speaker}");

    // None of its own: at most a fraction of the loudspeaker's.
    let clean = at(&own(&tested(&[], 3)), 1000.0);
    for order in [0, 1] {
        let of_speaker = clean.loudspeaker_percent[order].expect("measured");
        assert!(matches!(clean.harmonics[order], Own::AtMost(most) if most < 0.25 * of_speaker), "{clean:?}");
    }
    // Without a reference take nothing can be said.
    let alone = own_distortion(&tested(&[], 4), None, 0.1, 3, gate).expect("no error");
    assert!(alone.iter().all(|p| p.harmonics.iter().all(|h| *h == Own::CannotBeSeparated)));
    let softer = taken(&excitation(&[-20.0]), &[&speaker], &room, &recorder(5)).remove(0);
    let unlike =
        own_distortion(&softer, Some(&reference), 0.1, 3, gate).expect_err("another level").to_string();
    assert_eq!(unlike, "responses of different levels of the sweep cannot be joined");
}
