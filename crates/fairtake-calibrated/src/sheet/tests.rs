//! Tests: the virtual studio's session, whose answers are formulas, comes back on the data sheets.

use super::*;
use crate::bench::{BenchTake, MeasuredRole, StatedFigures};
use crate::direction::DirectionCaution;
use crate::distortion::{Figure, Own};
use crate::excitation::Form;
use crate::level::{
    Calibrator, CalibratorClass, Pattern, PressureResponse, Purpose, Standing, Stated, StaticPressure,
};
use crate::{Excitation, Quantity, TextCurve};
use fairtake_compare::{ReadError, Samples};
use fairtake_signal::units::{amplitude_db, power_db};
use fairtake_signal::weighting::a_power;
use fairtake_virtual_studio::bench::session::{
    BenchMicrophone, PA_PER_FULL_SCALE, Played, loudspeaker, microphones, session,
};

mod settings_up;

const RATE_HZ: u32 = 48_000;

struct Made(Vec<f32>);

impl Samples for Made {
    fn rate_hz(&self) -> u32 {
        RATE_HZ
    }
    fn frames(&self) -> u64 {
        self.0.len() as u64
    }
    fn read(&self, start: u64, out: &mut [f32]) -> Result<usize, ReadError> {
        let left = &self.0[(start as usize).min(self.0.len())..];
        let n = out.len().min(left.len());
        out[..n].copy_from_slice(&left[..n]);
        Ok(n)
    }
}

/// The session as the log has it.
fn bench() -> Bench {
    let sweep = Form { seconds: 2.0, pause_s: 0.5, ..Form::standard(RATE_HZ) };
    let levels_dbfs = vec![-27.0, -15.0, -3.0];
    let steps = Form { from_hz: 40.0, to_hz: 20_000.0, levels_dbfs, ..sweep.clone() };
    let excitations = [sweep, steps].map(|form| Excitation::new(form).expect("is good"));
    let rendered = [excitations[0].render(), excitations[1].render()];
    let played = |i: usize| Played { file: ["sweep", "steps"][i], samples: &rendered[i] };
    let scene = session(&played(0), &played(1), RATE_HZ, 3);
    let takes = scene.takes.into_iter().map(|take| {
        let key = |key: &str| {
            let line = take.logged.lines().find_map(|l| l.strip_prefix(key)?.strip_prefix(" = "));
            line.map(|v| v.trim_matches('"').to_string())
        };
        let number = |of: &str| key(of).map(|v| v.parse::<f64>().expect("a number"));
        BenchTake {
            id: take.file.clone(),
            file: take.file.clone(),
            mic: key("mic").expect("is logged"),
            source: "box".into(),
            role: serde_json::from_value(key("role").expect("is logged").into()).expect("a role"),
            placement: number("placement").unwrap_or(1.0) as u32,
            performance: number("performance").unwrap_or(1.0) as u32,
            gain_db: number("gain_db"),
            angle_deg: number("angle_deg").unwrap_or(0.0),
            distance_mm: number("distance_mm"),
            source_radius_mm: None,
            excitation: key("excitation").map(|file| excitations[usize::from(file == "steps")].clone()),
            sha256: String::new(),
            samples: Box::new(Made(take.samples)),
        }
    });
    let mic = |m: &BenchMicrophone| BenchMic {
        name: m.key.into(),
        purpose: if m.gradient_share == 0.0 { Purpose::Measurement } else { Purpose::Studio },
        pattern: if m.gradient_share == 0.0 { Pattern::Omnidirectional } else { Pattern::Directional },
        gradient_share: Some(m.gradient_share),
        correction: (m.key == "tern").then(|| {
            let db = |hz: f64| m.response.db(hz) - m.response.db(1000.0);
            let points = (0..=60).map(|i| 20.0 * 2f64.powf(f64::from(i) / 6.0)).map(|hz| (hz, db(hz)));
            TextCurve::new(points.collect()).expect("is a curve")
        }),
        correction_within_db: Some(0.1),
        pressure_to_free_field_db: Stated::within(0.1, 0.05),
        published: None,
        tolerance: None,
        stated: StatedFigures { sensitivity_mv_per_pa: Some(3.0), ..StatedFigures::default() },
    };
    Bench {
        temperature_c: Some(20.0),
        mics: microphones().iter().map(|m| (m.key.to_string(), mic(m))).collect(),
        calibrator: Some(Calibrator {
            level_db: 94.0,
            frequency_hz: 1000.0,
            class: Some(CalibratorClass::One),
            certificate_db: None,
            adaptor_db: Stated::exact(0.0),
            static_pressure: StaticPressure { kpa: None, response: PressureResponse::Regulated(0.0) },
            pressure_to_free_field_db: Stated::exact(0.0),
        }),
        full_scale_dbv: Some(Stated::within(12.0, 0.1)),
        gain_within_db: 0.1,
        place_within_mm: 3.0,
        distance_within_mm: 0.5,
        angle_within_deg: 1.0,
        takes: takes.collect(),
        ..Bench::default()
    }
}

/// What a quantity is held to: its interval, and no more than so far from the truth.
fn holds(what: &str, q: &Quantity, truth: f64, most: f64) {
    let half = q.half.expect("its interval is known");
    let off = (q.value - truth).abs();
    assert!(off <= half && off <= most, "{what}: {} ± {half}, truly {truth}", q.value);
}

#[test]
fn the_session_comes_back_on_its_data_sheets() {
    let bench = bench();
    let measured = measure(&bench, "test");
    let sheet = |key: &str| measured.sheets.iter().find(|s| s.mic == key).expect("was recorded");
    let [tern, heron, twin, moorhen] = microphones();

    // Sensitivity: a calibrator, and carried over. 0.05 dB are 0.6 % of the reference's.
    for mic in [&tern, &heron, &twin, &moorhen] {
        let found = sheet(mic.key).sensitivity.found.as_ref().expect("is known");
        let at_1khz = mic.heard(1000.0, 1.0 + mic.centre_mm / 1000.0, 0.0).norm();
        let truth = mic.mv_per_pa * if mic.key == "tern" { 1.0 } else { at_1khz };
        let most = if mic.key == "tern" { 0.006 } else { 0.025 };
        holds(mic.key, found.mv_per_pa.as_ref().expect("gain and scale are logged"), truth, most * truth);
    }
    assert_eq!(sheet("tern").beside_stated[0].agreement, Agreement::Differs);

    // The pressure at the place: that of the sweep through the loudspeaker, 1 m before it.
    let sensitivity = sheet("heron").sensitivity.found.as_ref().expect("is known");
    let played_db = bench.takes[3].excitation.as_ref().expect("a response").form().levels_dbfs[0];
    let effective_pa = PA_PER_FULL_SCALE / 2f64.sqrt() * loudspeaker().response.response(1000.0).norm();
    let truth = amplitude_db(effective_pa / 20e-6).expect("sounds") + played_db;
    let found = sensitivity.conditions.spl_db.expect("by the reference");
    // The reference's centre lies behind its mark, and its calibrator is off by a tenth.
    assert!((found - truth).abs() < 0.3, "{found} {truth}");

    // Response: within 0.3 dB from the gate's limit on; below, held by the intervals.
    for mic in [&heron, &twin, &moorhen] {
        let found = sheet(mic.key).response.found.as_ref().expect("is known");
        let own = found.own.as_ref().expect("against the reference");
        assert_eq!(found.n_repeats, 3);
        assert!((found.drift_ppm.value - 17.0).abs() < 1.0, "{:?}", found.drift_ppm);
        let limit_hz = own.ungated_below_hz.expect("a gate");
        let db =
            |hz: f64| amplitude_db(mic.heard(hz, 1.0 + mic.centre_mm / 1000.0, 0.0).norm()).expect("heard");
        let (mut held, mut n) = (0, 0);
        for p in own.points.iter().filter(|p| p.hz > 30.0 && p.hz < 18_000.0) {
            let (Some(found_db), Some(half)) = (p.db(), p.half_db()) else { continue };
            let off = (found_db - (db(p.hz) - db(1000.0))).abs();
            assert!(p.hz < limit_hz || off < 0.3, "{} at {} Hz: {off}", mic.key, p.hz);
            if p.hz < limit_hz {
                held += usize::from(off <= half);
                n += 1;
            }
        }
        assert!(n > 20 && held as f64 >= 0.9 * n as f64, "{}: {held} of {n} below the gate's limit", mic.key);
    }

    // Pairs: four microphones make six. The twin differs by its dip, whose place and depth are a formula.
    let pair = |first: &str, second: &str| {
        measured.pairs.iter().find(|p| (p.first.as_str(), p.second.as_str()) == (first, second))
    };
    assert_eq!(measured.pairs.len(), 6);
    let twins = pair("heron", "heron-b").expect("both were recorded on the axis");
    let found = &sheet("heron").response.found.as_ref().expect("is known").with_loudspeaker;
    let differ =
        |from_hz, to_hz| twin.response.band_db(from_hz, to_hz) - heron.response.band_db(from_hz, to_hz);
    let exact: Vec<(f64, f64)> = found
        .points
        .iter()
        .filter(|p| p.db().is_some())
        .map(|p| (p.hz, differ(p.from_hz, p.to_hz)))
        .collect();
    let middle: Vec<f64> =
        exact.iter().filter(|(hz, _)| (250.0..=4000.0).contains(hz)).map(|(_, db)| *db).collect();
    let mean = middle.iter().sum::<f64>() / middle.len() as f64;
    let most = exact.iter().max_by(|a, b| (a.1 - mean).abs().total_cmp(&(b.1 - mean).abs())).expect("some");
    assert_eq!(twins.matched.largest.hz, most.0);
    assert_eq!(twins.matched.range_hz, (exact[0].0, exact[exact.len() - 1].0));
    holds("the largest deviation of twins", &twins.matched.largest.deviation_db, most.1 - mean, 0.03);
    let louder = amplitude_db(twin.mv_per_pa / heron.mv_per_pa).expect("positive") + mean;
    holds("level at equal gain", twins.at_equal_gain_db.as_ref().expect("gains are logged"), louder, 0.03);
    assert_eq!(twins.n_repeats, [3, 3]);
    let of_all = twins.matched.half_for_all_db.expect("three settings-up of each");
    assert!(twins.matched.largest.deviation_db.value.abs() > of_all, "1.2 dB are no chance: {of_all}");
    let unlike = pair("heron", "moorhen").expect("both were recorded on the axis");
    assert!(unlike.matched.largest.deviation_db.value.abs() > 3.0, "{unlike:?}");
    // The knob was turned between heron and moorhen, ±0.1 dB at either place; between the twins it was not.
    let knob = |pair: &MatchedPair| {
        let level_db = pair.at_equal_gain_db.as_ref().expect("gains are logged");
        level_db.budget.iter().find(|part| part.from == "two gains").map(|part| part.standard)
    };
    let expected = 2f64.sqrt() * 0.1 / 3f64.sqrt();
    assert!(knob(unlike).is_some_and(|standard| (standard - expected).abs() < 1e-12), "{unlike:?}");
    assert_eq!(knob(twins), None);

    // Direction: a cardioid's index is 10·lg 3.
    let direction = sheet("heron").direction.found.as_ref().expect("was turned");
    let octave =
        |hz: f64| direction.octaves.iter().find(|b| (b.centre_hz / hz - 1.0).abs() < 0.1).expect("is there");
    let index = octave(2000.0).directivity_index_db.as_ref().expect("enough angles");
    holds("directivity index", index, power_db(3.0).expect("positive"), 0.1);
    for hz in [500.0, 1000.0, 2000.0] {
        let order = octave(hz).first_order.as_ref().expect("fitted");
        holds("gradient share by direction", &order.gradient_share, heron.gradient_share, 0.01);
    }
    // Behind, it hears less than walls may reflect: told as a bound, and one that the truth does not exceed.
    let r = 1.0 + heron.centre_mm / 1000.0;
    for hz in [500.0, 1000.0, 2000.0] {
        let re_front = |angle_deg| heron.heard(hz, r, angle_deg).norm() / heron.heard(hz, r, 0.0).norm();
        let db = |angle_deg| amplitude_db(re_front(angle_deg)).expect("not nothing");
        let (aside, behind) = (octave(hz).at_90.as_ref(), octave(hz).at_180.as_ref().expect("was recorded"));
        let aside = aside.expect("was recorded");
        assert_eq!((aside.standing, behind.standing), (Standing::Own, Standing::AtMost), "{hz}");
        holds("at 90°", &aside.level_db, db(90.0), 0.05);
        let most = behind.level_db.value + behind.level_db.half.expect("is known");
        // An octave is the mean of its thirds' powers, of which the lowest has most of the near field: a third octave of (kr)².
        assert!(most > db(180.0) - 0.05 && most < db(180.0) + 1.0, "{hz}: {most} {}", db(180.0));
    }
    // Both sides are alike; turning by ±1° alone makes 0.3 dB of it at 120°.
    let symmetry = octave(1000.0).symmetry.as_ref().expect("both sides");
    assert_eq!(symmetry.n_angles, 4);
    assert!(symmetry.rms_db.expect("sure") < 0.05 && symmetry.greatest_db.value.abs() < 0.1, "{symmetry:?}");
    let limit = direction.cautions.iter().find_map(|c| match c {
        DirectionCaution::MayBeReflected { limit, .. } => Some(*limit),
        _ => None,
    });
    let limit = limit.expect("walls are heard from behind");
    let (bounds, own): (Vec<_>, Vec<_>) =
        direction.thirds.iter().flat_map(|b| &b.polar).partition(|p| p.standing == Standing::AtMost);
    assert!(!bounds.is_empty() && bounds.iter().all(|p| p.level_db.value < limit), "{limit} {bounds:?}");
    assert!(own.iter().all(|p| p.level_db.value >= limit), "{limit} {own:?}");

    // Proximity: a cardioid, and where its acoustic centre lies.
    let proximity = sheet("heron").proximity.found.as_ref().expect("six distances");
    holds("gradient share", &proximity.model.gradient_share, heron.gradient_share, 0.05);
    holds("acoustic centre", &proximity.model.acoustic_centre_mm, heron.centre_mm, 4.0);
    let half = |q: &Quantity| q.half.expect("is known");
    assert!(half(&proximity.model.gradient_share) < 0.1 && half(&proximity.model.acoustic_centre_mm) < 10.0);

    // Distortion: the second harmonic of its square, at the pressure that was there, not at the one that was measured. The third
    // power adds to the fundamental; over a band, powers are summed.
    let distortion = sheet("heron").distortion.found.as_ref().expect("steps were recorded");
    let at_1khz = distortion
        .own
        .iter()
        .min_by(|a, b| (a.hz - 1000.0).abs().total_cmp(&(b.hz - 1000.0).abs()))
        .expect("is there");
    let Own::Measured(second) = &at_1khz.harmonics[0] else { panic!("{at_1khz:?}") };
    let loudest = distortion.over_level.last().expect("three steps");
    let r = (distortion.distance_mm.expect("is logged") + heron.centre_mm) / 1000.0;
    let steps = bench.takes.iter().filter_map(|t| t.excitation.as_ref()).map(|e| &e.form().levels_dbfs);
    let steps = steps.max_by_key(|levels| levels.len()).expect("were played");
    let peak = 10f64.powf(steps.iter().copied().fold(f64::NEG_INFINITY, f64::max) / 20.0);
    let peak_pa = |hz: f64| {
        peak * PA_PER_FULL_SCALE * loudspeaker().response.response(hz).norm() * heron.heard(hz, r, 0.0).norm()
            / r
    };
    let (mut of_second, mut of_first) = (0.0, 0.0);
    for i in 0..=100 {
        let pa = peak_pa(at_1khz.hz * 2f64.powf((f64::from(i) / 100.0 - 0.5) / 3.0));
        of_second += (heron.square_per_pa * pa * pa / 2.0).powi(2);
        of_first += (pa + 0.75 * heron.cube_per_pa2 * pa.powi(3)).powi(2);
    }
    let truth = 100.0 * (of_second / of_first).sqrt();
    holds("own second harmonic", second, truth, 0.01 * truth);
    assert!(matches!(loudest.thd, Figure::Measured(_)));

    // Noise: the formula's spectrum, weighted.
    let noise = sheet("heron").noise.found.as_ref().expect("silence was recorded");
    let own = fairtake_virtual_studio::bench::self_noise::SelfNoise {
        white_rms: 1.0,
        low_rms: 0.2,
        ..fairtake_virtual_studio::bench::self_noise::SelfNoise::clean(RATE_HZ)
    };
    let weighted = power_db(own.power(10.0, 0.5 * f64::from(RATE_HZ), a_power)).expect("positive");
    // The one beside has more noise than the room: that there is no more of the room is not known.
    assert_eq!(noise.a_weighted.standing, Standing::AtMost);
    let share = noise.a_weighted.ambient.expect("one was beside");
    assert!(share.at_least < 0.1 && share.at_most > 0.9, "{share:?}");
    // The room's share, 14 dB below, is in it: 0.17 dB.
    holds("noise", &noise.a_weighted.spl_db, heron.noise_spl_db + weighted, 0.5);
}

#[test]
fn what_is_missing_is_said_where_it_would_stand() {
    let mut bench = bench();
    bench.takes.retain(|t| t.mic == "heron" && t.role == MeasuredRole::Response);
    bench.takes.truncate(2);
    let measured = measure(&bench, "test");
    let [sheet] = measured.sheets.as_slice() else { panic!("{} sheets", measured.sheets.len()) };
    let told =
        |missing: &[Missing]| missing.iter().map(|m| format!("{}; {}", m.what, m.hint)).collect::<String>();
    assert!(
        sheet.sensitivity.found.is_none() && told(&sheet.sensitivity.missing).contains("known sensitivity")
    );
    let response = sheet.response.found.as_ref().expect("with the loudspeaker");
    assert!(response.own.is_none() && told(&sheet.response.missing).contains("without a reference"));
    assert!(sheet.noise.found.is_none() && told(&sheet.noise.missing).contains("silence"));
    assert!(sheet.direction.found.is_none() && told(&sheet.direction.missing).contains("off the axis"));
    // A calibrator on what is no measurement microphone is refused with the reason.
    bench.takes.iter_mut().for_each(|t| t.role = MeasuredRole::Calibrator);
    let refused = measure(&bench, "test");
    let why = told(&refused.sheets[0].sensitivity.missing);
    assert!(why.contains("omnidirectional"), "{why}");
}

#[test]
fn takes_that_cannot_be_held_together_are_named_and_not_mixed() {
    let mut bench = bench();
    let told = |m: &Measurements, of: fn(&DataSheet) -> &Vec<Missing>, mic: &str| -> Vec<String> {
        let sheet = m.sheets.iter().find(|s| s.mic == mic).expect("was recorded");
        of(sheet).iter().map(|m| format!("{}: {}", m.take.as_deref().unwrap_or("-"), m.what)).collect()
    };
    let mut at = |mic: &str, change: &dyn Fn(&BenchTake) -> bool, by: &dyn Fn(&mut BenchTake)| {
        let take = bench.takes.iter_mut().find(|t| t.mic == mic && change(t)).expect("was recorded");
        by(take);
        take.id.clone()
    };
    let louder = |t: &mut BenchTake| t.gain_db = t.gain_db.map(|db| db + 10.0);
    let turned = at("heron", &|t| t.angle_deg == 90.0, &louder);
    let ambient = at("tern", &|t| t.role == MeasuredRole::Ambient, &louder);
    let elsewhere = at("moorhen", &|t| t.role == MeasuredRole::Response && t.placement == 2, &|t| {
        t.source = "horn".into()
    });
    bench.sources.insert("horn".into(), "Horn of the loft".into());
    let measured = measure(&bench, "test");
    let direction = told(&measured, |s| &s.direction.missing, "heron");
    assert!(direction.iter().any(|m| m.contains(&turned) && m.contains("gain")), "{direction:?}");
    let noise = told(&measured, |s| &s.noise.missing, "heron");
    assert!(noise.iter().any(|m| m.contains(&ambient) && m.contains("gain")), "{noise:?}");
    let sheet = |key: &str| measured.sheets.iter().find(|s| s.mic == key).expect("was recorded");
    let level = &sheet("heron").noise.found.as_ref().expect("a level").a_weighted;
    assert_eq!((level.standing, level.ambient), (Standing::AtMost, None));
    let response = told(&measured, |s| &s.response.missing, "moorhen");
    assert!(
        response.iter().any(|m| m.contains(&elsewhere) && m.contains("before Horn of the loft")),
        "{response:?}"
    );
    assert_eq!(sheet("moorhen").response.found.as_ref().expect("two takes").n_repeats, 2);
    // One of the reference's takes at another gain: its level is none of the others', and nothing is carried over.
    let reference = bench
        .takes
        .iter_mut()
        .find(|t| t.mic == "tern" && t.role == MeasuredRole::Response && t.placement == 2);
    louder(reference.expect("was recorded"));
    let measured = measure(&bench, "test");
    let sensitivity = told(&measured, |s| &s.sensitivity.missing, "heron");
    assert!(sensitivity.iter().any(|m| m.contains("tern") && m.contains("gain")), "{sensitivity:?}");
}
