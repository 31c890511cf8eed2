//! Found, or not: recordings of the bench.

use super::*;
use crate::excitation::{Form, Kind};
use fairtake_virtual_studio::bench::linear::{Chain, Filter};
use fairtake_virtual_studio::bench::loudspeaker::{Distortion, Loudspeaker};
use fairtake_virtual_studio::bench::recorder::Recorder;
use fairtake_virtual_studio::bench::room::Room;

const RATE_HZ: f64 = 48_000.0;

fn excitation(change: impl FnOnce(&mut Form)) -> Excitation {
    let mut form = Form { seconds: 4.0, ..Form::standard(48_000) };
    change(&mut form);
    Excitation::new(form).expect("within its ranges")
}

fn signal(excitation: &Excitation) -> Vec<f64> {
    excitation.render().iter().map(|x| f64::from(*x)).collect()
}

/// Through a loudspeaker that distorts a little and a room with walls.
fn heard(excitation: &Excitation) -> Vec<f64> {
    let speaker = Loudspeaker {
        distortion: Some(Distortion::memoryless(&[(2, 0.05), (3, 0.1)])),
        response: Chain(vec![
            Filter::HighPass { hz: 60.0, q: 0.8 },
            Filter::Peak { hz: 2500.0, q: 2.0, db: 5.0 },
            Filter::Delay { s: 0.004_123 },
        ]),
    };
    Room::with_walls(0.004, 0.3).heard(&speaker.play(&signal(excitation), RATE_HZ, 0.2), RATE_HZ)
}

/// Walls and peaks add up: 10 dB of headroom.
fn noisy(dbfs: f64) -> Recorder {
    Recorder { noise_dbfs: Some(dbfs), gain_db: -10.0, ..Recorder::faultless() }
}

#[test]
fn drift_is_found_within_one_ppm_and_the_start_within_a_few_samples() {
    let made = excitation(|_| {});
    let heard = heard(&made);
    for (seed, drift_ppm, noise_dbfs) in
        [(1, 50.0, -72.0), (2, -50.0, -72.0), (3, 0.0, -52.0), (4, 12.5, -52.0), (5, -120.0, -90.0)]
    {
        let recorder = Recorder { drift_ppm, seed, ..noisy(noise_dbfs) };
        let there = found(&recorder.record(&heard, RATE_HZ), 48_000, &made).expect("there");
        let off = there.drift_ppm.value - drift_ppm;
        let half = there.drift_ppm.half.expect("known");
        assert!(off.abs() < 1.0, "drift {drift_ppm}: off by {off}");
        assert!(half > 0.0 && half < 1.0 && off.abs() < 2.0 * half + 0.02, "{off} within {half}");
        // Half a second early, 4.1 ms of way.
        assert!((there.start_s - 0.504_123).abs() < 2e-4, "{}", there.start_s);
        assert_eq!(there.defects, [], "{drift_ppm} ppm, {noise_dbfs} dBFS");
    }
}

#[test]
fn every_kind_is_found_at_every_rate() {
    for rate_hz in [44_100u32, 96_000, 192_000] {
        for kind in [Kind::Sweep, Kind::PinkNoise, Kind::Tone] {
            let mut form =
                Form { kind, seconds: 1.0, levels_dbfs: vec![-30.0, -20.0], ..Form::standard(rate_hz) };
            if kind == Kind::Tone {
                (form.from_hz, form.to_hz) = (1000.0, 1000.0);
            }
            let made = Excitation::new(form).expect("good");
            let recording =
                Recorder { drift_ppm: 30.0, ..noisy(-80.0) }.record(&signal(&made), f64::from(rate_hz));
            let there = found(&recording, rate_hz, &made).expect("there");
            assert!((there.drift_ppm.value - 30.0).abs() < 1.0, "{kind:?} {rate_hz} {:?}", there.drift_ppm);
            assert_eq!((there.passes.len(), there.defects.as_slice()), (2, &[][..]), "{kind:?} {rate_hz}");
        }
    }
}

fn told(recording: &[f32], excitation: &Excitation) -> String {
    let error = found(recording, 48_000, excitation).expect_err("not as played");
    format!("{error}; {}", error.hint())
}

#[test]
fn what_is_not_as_it_was_played_is_refused_with_its_values() {
    let made = excitation(|_| {});
    let whole = noisy(-70.0).record(&heard(&made), RATE_HZ);
    let cut = told(&whole[..5 * 48_000], &made);
    assert!(
        cut.starts_with("the recording is cut off: after the first mark at 1.00 s there are 4.0 s of "),
        "{cut}"
    );
    let late = told(&whole[3 * 48_000..], &made);
    assert!(late.starts_with("the beginning is missing: the last mark is at "), "{late}");
    let twice = told(&[whole.as_slice(), whole.as_slice()].concat(), &made);
    assert!(twice.starts_with("the excitation is there more than once: marks at 1.00 s and 1"), "{twice}");
    let other = excitation(|form| form.seconds = 3.0);
    let wrong = told(&noisy(-70.0).record(&heard(&other), RATE_HZ), &made);
    let codes = format!("has the code {:04x}, not {:04x}; name the excitation", other.code(), made.code());
    assert!(wrong.starts_with("another excitation: the mark at 1.00 s") && wrong.contains(&codes), "{wrong}");
    let buried = told(&noisy(-15.0).record(&heard(&made), RATE_HZ), &made);
    assert!(buried.starts_with("no mark of the excitation in the recording (likeness 0."), "{buried}");
    let silence = told(&vec![0.0; 480_000], &made);
    assert!(silence.starts_with("no mark of the excitation"), "{silence}");
    let nothing = told(&[], &made);
    assert!(nothing.starts_with("no mark of the excitation"), "{nothing}");
    let lost = Recorder { losses_s: vec![(4.0, 0.050)], ..noisy(-70.0) };
    let edited = told(&lost.record(&heard(&made), RATE_HZ), &made);
    assert!(edited.starts_with("50.0 ms are missing between marks that were played 7."), "{edited}");
    let rate = found(&whole, 44_100, &made).expect_err("another rate").to_string();
    assert_eq!(rate, "recorded at 44100 Hz, but the excitation is for 48000 Hz");
    let mut broken = whole.clone();
    broken[48_000] = f32::NAN;
    assert_eq!(told(&broken, &made), "a sample at 1.00 s is no number; export the recording again");
}

#[test]
fn a_file_of_48_khz_that_was_recorded_at_another_rate_is_known_by_its_speed() {
    let made = excitation(|_| {});
    for (true_hz, ratio) in [(44_100.0, "0.919"), (96_000.0, "2.000")] {
        // A player that takes 48 000 samples for so many a second; and the recorder says 48 kHz.
        let stretched = Recorder { drift_ppm: 1e6 * (48_000.0 / true_hz - 1.0), ..noisy(-70.0) };
        let told = told(&stretched.record(&signal(&made), RATE_HZ), &made);
        assert!(told.starts_with(&format!("everything runs {ratio} times as fast as it should")), "{told}");
    }
}

#[test]
fn faults_that_leave_a_measurement_are_named_with_their_place() {
    let made = excitation(|_| {});
    let heard = heard(&made);
    let defects =
        |recorder: Recorder| found(&recorder.record(&heard, RATE_HZ), 48_000, &made).expect("there").defects;
    let clipped = defects(Recorder { ceiling_dbfs: -18.0, ..noisy(-70.0) });
    assert!(
        matches!(clipped[0], Defect::Clipped { count: 50.., at_dbfs, .. } if (at_dbfs + 18.0).abs() < 0.01),
        "{clipped:?}"
    );
    for (at_s, length_s) in [(4.0, 0.002), (5.5, 0.005), (6.3, 0.003)] {
        let zeros = defects(Recorder { dropouts_s: vec![(at_s, length_s)], ..noisy(-70.0) });
        let near = |s: f64| (s - at_s).abs() < 0.01;
        assert!(
            zeros.iter().any(|d| matches!(d, Defect::Dropout { count: 1, first_s } if near(*first_s))),
            "{zeros:?}"
        );
        assert!(
            zeros.iter().any(|d| matches!(d, Defect::Break { first_s, .. } if near(*first_s))),
            "{zeros:?}"
        );
    }
    // A buffer of 64 frames is lost: 1.3 ms, which could pass for a clock that is 170 ppm slow.
    for at_s in [3.6, 4.4, 5.2, 6.0, 6.8] {
        let lost = defects(Recorder { losses_s: vec![(at_s, 64.0 / 48_000.0)], ..noisy(-70.0) });
        let near = |s: f64| (s - at_s).abs() < 0.01;
        assert!(
            lost.iter().any(|d| matches!(d, Defect::Break { first_s, .. } if near(*first_s))),
            "{at_s}: {lost:?}"
        );
    }
    let faint = defects(noisy(-46.0));
    assert!(matches!(faint[..], [Defect::Noisy { snr_db }] if (snr_db - 23.0).abs() < 4.0), "{faint:?}");
}
