//! Excitations: lengths against the published formulas, levels, fades, the code, what is refused.

use super::mark::Mark;
use super::*;
use fairtake_signal::units::amplitude_db;

const SWEEPS: &str = include_str!("../../../../reference/09_sweeps.csv");

fn peak_db(samples: &[f32]) -> f64 {
    let peak = samples.iter().fold(0.0f32, |peak, x| peak.max(x.abs()));
    amplitude_db(f64::from(peak)).unwrap_or(f64::NEG_INFINITY)
}

fn excitation(change: impl FnOnce(&mut Form)) -> Excitation {
    let mut form = Form { seconds: 2.0, ..Form::standard(48_000) };
    change(&mut form);
    Excitation::new(form).expect("within its ranges")
}

#[test]
fn lengths_and_leads_are_those_of_the_synchronised_sweep() {
    // Reference: Novak et al. 2015, equations 32 and 33; nine decimals in the file.
    let mut n_checked = 0;
    for line in SWEEPS.lines().filter(|l| l.starts_with("novak")) {
        let cells: Vec<f64> = line.split(',').skip(1).map(|c| c.parse().expect("a number")).collect();
        let sweep = Sweep::plain(cells[0], cells[1], cells[2]);
        let leads = [2, 3, 4, 5].map(|order| sweep.lead_s(order));
        let found = [sweep.rise_s, sweep.seconds(), 0.0, leads[0], leads[1], leads[2], leads[3]];
        for (i, (found, wanted)) in found.iter().zip(&cells[3..10]).enumerate() {
            assert!(i == 2 || (found - wanted).abs() < 1e-8, "{line}: {found} {wanted}");
        }
        assert!((sweep.time_s(1000.0) - cells[10]).abs() < 1e-8, "{line}");
        n_checked += 1;
    }
    assert_eq!(n_checked, 7);
}

#[test]
fn leads_of_a_sweep_that_is_not_synchronised_are_the_published_ones_too() {
    // Reference: Farina 2000; nine decimals in the file. Only L differs: T/ln(f2/f1), not a whole number of periods.
    let mut n_checked = 0;
    for line in SWEEPS.lines().filter(|l| l.starts_with("farina")) {
        let cells: Vec<f64> = line.split(',').skip(1).map(|c| c.parse().expect("a number")).collect();
        let mut sweep = Sweep::plain(cells[0], cells[1], cells[2]);
        sweep.rise_s = cells[3];
        let found = [2, 3, 4, 5].map(|order| sweep.lead_s(order));
        assert!((sweep.seconds() - cells[4]).abs() < 1e-8, "{line}");
        assert!(found.iter().zip(&cells[6..10]).all(|(f, w)| (f - w).abs() < 1e-8), "{line}: {found:?}");
        n_checked += 1;
    }
    assert_eq!(n_checked, 7);
}

#[test]
fn a_harmonic_of_the_sweep_is_the_sweep_itself_earlier() {
    // Exact: sin(n·φ(t)) = sin(φ(t + L·ln n)) where the sweep is synchronised.
    let sweep = Sweep::plain(20.0, 20_000.0, 5.0);
    let t = 1.2345;
    let phase = |t: f64| std::f64::consts::TAU * sweep.from_hz * sweep.rise_s * (t / sweep.rise_s).exp();
    for order in 2..=5u32 {
        let harmonic = (f64::from(order) * phase(t)).sin();
        let earlier = sweep.samples(1.0, t + sweep.lead_s(order), 1)[0];
        // Phases of some thousand turns in double precision.
        assert!((harmonic - earlier).abs() < 1e-8, "{order}: {harmonic} {earlier}");
    }
}

#[test]
fn the_peak_is_the_stated_one_and_the_first_sound_is_quiet() {
    for kind in [Kind::Sweep, Kind::PinkNoise, Kind::WhiteNoise, Kind::Tone] {
        let made = excitation(|form| {
            form.kind = kind;
            form.levels_dbfs = vec![-30.0, -12.0];
            if kind == Kind::Tone {
                (form.from_hz, form.to_hz) = (1000.0, 1000.0);
            }
        });
        let (samples, layout) = (made.render(), Layout::of(&made));
        assert_eq!(samples.len(), layout.n_frames);
        assert!((made.total_s() - samples.len() as f64 / 48_000.0).abs() < 1e-9);
        // A sweep meets its peak only where a sample falls on it.
        assert!((peak_db(&samples) - -12.0).abs() < 0.01, "{kind:?} {}", peak_db(&samples));
        let (first, second) = (layout.passes[0].start, layout.passes[1].start);
        assert!((peak_db(&samples[first..second]) - -30.0).abs() < 0.01, "{kind:?}");
        assert!(peak_db(&samples[..first]) <= -31.9, "{kind:?}");
        // 5 ms into a pass nothing is near its peak yet.
        let begun = peak_db(&samples[second..second + 240]);
        assert!(begun < -12.0 - 30.0, "{kind:?} {begun}");
    }
}

#[test]
fn pink_noise_has_equal_power_in_every_octave_and_white_twice_as_much_in_the_next() {
    for (kind, step_db) in [(Kind::PinkNoise, 0.0), (Kind::WhiteNoise, 3.01)] {
        let made = excitation(|form| {
            form.kind = kind;
            form.seconds = 10.0;
        });
        let layout = Layout::of(&made);
        let samples = made.render();
        let pass = &samples[layout.passes[0].start..][..layout.pass_frames];
        let spectrum = fairtake_signal::fir::to_frequency(pass.iter().map(|x| f64::from(*x)), 524_288);
        let power = |from_hz: f64| {
            let bin = |hz: f64| (hz * 524_288.0 / 48_000.0) as usize;
            spectrum[bin(from_hz)..bin(2.0 * from_hz)].iter().map(|x| x.norm_sqr()).sum::<f64>()
        };
        for from_hz in [250.0, 1000.0, 4000.0] {
            let step = fairtake_signal::units::power_db(power(2.0 * from_hz) / power(from_hz));
            // 2500 bins of the lower octave, each with 100 % spread: 2 % or 0.09 dB; four of them.
            assert!((step.expect("some") - step_db).abs() < 0.35, "{kind:?} {from_hz} {step:?}");
        }
    }
}

#[test]
fn an_equalised_sweep_is_softer_where_the_loudspeaker_is_louder() {
    let curve = crate::TextCurve::parse("20 0\n500 0\n1000 6\n20000 6\n").expect("good");
    let made = excitation(|form| form.loudspeaker = Some(curve));
    let sweep = made.sweep().expect("one");
    let at = |hz: f64| {
        let some = sweep.samples(1e-6, sweep.time_s(hz), 4000);
        amplitude_db(some.iter().fold(0.0f64, |peak, x| peak.max(x.abs()))).expect("not silent")
    };
    // Within 4 ms the frequency rises by 1.5 %, and a peak falls within.
    assert!(
        (at(300.0) - 0.0).abs() < 0.02 && (at(4000.0) - -6.0).abs() < 0.02,
        "{} {}",
        at(300.0),
        at(4000.0)
    );
}

#[test]
fn the_code_of_a_mark_is_read_back_and_one_wrong_bit_is_seen() {
    for (code, role) in [(0, Role::Start), (0xbeef, Role::End), (0xffff, Role::Start), (7, Role::End)] {
        let mark = Mark { code, role };
        let bits = mark.bits();
        assert_eq!(Mark::of_bits(&bits), Some(mark));
        for wrong in 0..bits.len() {
            let mut bits = bits;
            bits[wrong] = !bits[wrong];
            assert_eq!(Mark::of_bits(&bits), None, "bit {wrong}");
        }
    }
}

#[test]
fn whatever_changes_the_sound_changes_the_code() {
    let plain = excitation(|_| {}).code();
    let curve = crate::TextCurve::parse("20 0\n500 3\n").expect("good");
    let others = [
        excitation(|f| f.from_hz = 16.0),
        excitation(|f| f.to_hz = 21_000.0),
        excitation(|f| f.seconds = 2.5),
        excitation(|f| f.levels_dbfs = vec![-13.0]),
        excitation(|f| f.repeats = 2),
        excitation(|f| f.pause_s = 1.5),
        excitation(|f| f.rate_hz = 96_000),
        excitation(|f| f.kind = Kind::PinkNoise),
        excitation(|f| f.loudspeaker = Some(curve)),
    ];
    for other in others {
        assert_ne!(other.code(), plain, "{:?}", other.form());
    }
    // A sweep has no seed.
    assert_eq!(excitation(|f| f.seed = 9).code(), plain);
}

#[test]
fn it_comes_back_from_its_written_form_and_a_wrong_one_is_refused() {
    let made = excitation(|form| form.levels_dbfs = vec![-30.0, -20.0]);
    let text = serde_json::to_string(&made).expect("writes");
    assert_eq!(serde_json::from_str::<Excitation>(&text).expect("reads"), made);
    let least =
        r#"{"kind":"tone","rate_hz":48000,"from_hz":1000,"to_hz":1000,"seconds":5,"levels_dbfs":[-20]}"#;
    assert_eq!(serde_json::from_str::<Excitation>(least).expect("reads").form().repeats, 1);
    let wrong = text.replace("[-30.0,-20.0]", "[-20.0,-30.0]");
    let told = serde_json::from_str::<Excitation>(&wrong).expect_err("refused").to_string();
    assert!(told.contains("levels do not rise: -30 dBFS after -20 dBFS"), "{told}");
}

#[test]
fn what_cannot_be_played_is_refused_with_a_remedy() {
    let told = |change: fn(&mut Form)| {
        let mut form = Form::standard(48_000);
        change(&mut form);
        let error = Excitation::new(form).expect_err("out of range");
        format!("{error}; {}", error.hint())
    };
    assert_eq!(
        told(|f| f.to_hz = 24_000.0),
        "highest frequency of 24000 Hz is out of range; choose between 1 Hz and 23040 Hz"
    );
    assert_eq!(
        told(|f| f.levels_dbfs = vec![3.0]),
        "peak level of 3 dBFS is out of range; choose between -90 dBFS and 0 dBFS"
    );
    assert_eq!(
        told(|f| f.rate_hz = 8000),
        "sampling rate of 8000 Hz is out of range; choose between 44100 Hz and 192000 Hz"
    );
    assert!(told(|f| f.from_hz = f64::NAN).starts_with("lowest frequency of NaN Hz is out of range"));
    assert!(told(|f| f.to_hz = 16.0).starts_with("15 Hz to 16 Hz is less than an octave"));
    assert!(told(|f| f.kind = Kind::Tone).starts_with("a tone from 15 Hz to 22000 Hz"));
    assert!(told(|f| (f.seconds, f.from_hz) = (0.5, 2.0)).starts_with("length of a pass of 0.5 s"));
    assert!(told(|f| (f.seconds, f.repeats) = (100.0, 50)).starts_with("length of the whole of 5050 s"));
}
