//! Noise levels against spectra that are formulas, faults that are found, and how often intervals hold.

use super::*;
use crate::level::{Chain, Conditions, SoundField};
use fairtake_signal::units::power_db;
use fairtake_signal::weighting::a_power;
use fairtake_virtual_studio::bench::self_noise::{SelfNoise, with_room};

const RATE_HZ: u32 = 48_000;

fn sensitivity(dbfs_per_pa: f64) -> Sensitivity {
    let conditions = Conditions {
        frequency_hz: 1000.0,
        field: SoundField::FreeField,
        spl_db: None,
        static_pressure_kpa: None,
        distance_mm: None,
        n_takes: 1,
        chain: Chain::UNKNOWN,
    };
    let known = Contribution { from: "calibrator".into(), standard: 0.1, degrees_of_freedom: None };
    Sensitivity::of(dbfs_per_pa, vec![known], conditions, Vec::new())
}

fn plain(samples: &[f32], rate_hz: u32) -> NoiseTake<'_> {
    NoiseTake { samples, rate_hz, chain_alone: None, beside: None }
}

fn measured(made: &SelfNoise, seconds: f64, seed: u64) -> Noise {
    let samples = made.samples(seconds, seed);
    self_noise(&plain(&samples, made.rate_hz), &sensitivity(-40.0)).expect("good silence")
}

/// Level in dB SPL of a power, by the same definition: full scale of a sine is 94 dB + 40 dB.
fn spl(power: f64) -> f64 {
    power_db(2.0 * power).expect("positive") + 40.0 + 93.979_4
}

#[test]
fn weighted_noise_and_third_octaves_are_those_of_the_formula() {
    let made = SelfNoise::clean(RATE_HZ);
    let found = measured(&made, 30.0, 1);
    let truth = spl(made.power(1.0, 24_000.0, a_power));
    // Standard error of A-weighted noise over 30 s is 0.01 dB; the trapezoid of bins below 20 Hz does nothing.
    assert!((found.a_weighted.spl_db.value - truth).abs() < 0.04, "{:?} {truth}", found.a_weighted);
    assert!((found.signal_to_noise_db.value - (94.0 - found.a_weighted.spl_db.value)).abs() < 1e-9);
    for band in &found.thirds {
        let level = &band.level.as_ref().expect("noise everywhere").spl_db;
        let truth = spl(made.power(band.from_hz, band.to_hz, |_| 1.0));
        // Four standard errors of its own spread; the window's skirts add a tenth at the lowest band of steep noise.
        let own = level.budget.last().expect("spread").standard;
        assert!(
            (level.value - truth).abs() < 4.0 * own + 0.05,
            "{:.0} Hz: {} {truth}",
            band.from_hz,
            level.value
        );
    }
    assert!(found.hum.is_empty());
    // Nothing was beside it: nobody can tell whose noise this is.
    assert_eq!(found.a_weighted.standing, Standing::AtMost);
    assert!(
        matches!(
            found.cautions[..],
            [LevelCaution::AmbientUnknown { .. }, LevelCaution::ChainUnknown { .. }]
        ),
        "{:?}",
        found.cautions
    );
}

#[test]
fn noise_arithmetic_is_that_of_the_table() {
    // reference/07_datasheet_arithmetic.csv: weighted noise of −118 dBV with −34 dB re 1 V/Pa is 9.98 dB SPL; two equal noises
    // are 3.01 dB more.
    let text = include_str!("../../../../reference/07_datasheet_arithmetic.csv");
    let row = text.lines().find(|l| l.starts_with("self_noise_from_voltage,-118 dBV")).expect("the row");
    let expected: f64 = row.split(',').nth(2).and_then(|c| c.parse().ok()).expect("a number");
    // Full scale 0 dBV, gain 0: dBFS re a sine is dBV. Power of −118 dB re a full-scale sine.
    let power = 0.5 * 10f64.powf(-11.8);
    assert!((sensitivity(-34.0).spl_db(power).expect("positive") - expected).abs() < 5e-5);
    let sum = text.lines().find(|l| l.starts_with("noise_sum,")).expect("the row");
    let more: f64 = sum.split(',').nth(2).and_then(|c| c.parse().ok()).expect("a number");
    let two = sensitivity(-34.0).spl_db(2.0 * power).expect("positive");
    assert!((two - expected - more).abs() < 1e-4);
}

#[test]
fn the_dynamic_range_does_not_know_the_calibrator() {
    let samples = SelfNoise::clean(RATE_HZ).samples(10.0, 2);
    let found = self_noise(&plain(&samples, RATE_HZ), &sensitivity(-40.0)).expect("good silence");
    let other = self_noise(&plain(&samples, RATE_HZ), &sensitivity(-30.0)).expect("good silence");
    assert!((found.dynamic_range_db.value - other.dynamic_range_db.value).abs() < 1e-9);
    assert!(
        found.dynamic_range_db.half.expect("known") < 0.1
            && found.a_weighted.spl_db.half.expect("known") > 0.19
    );
}

#[test]
fn the_quasi_peak_of_noise_lies_above_its_rms_as_noise_has_peaks() {
    let made = SelfNoise { low_rms: 0.0, ..SelfNoise::clean(RATE_HZ) };
    let found = measured(&made, 20.0, 3);
    let rms = spl(made.power(10.0, 24_000.0, fairtake_signal::weighting::bs468_power));
    // Golden: 4.2 dB for white noise through the network; outside/levels.py has the same by a meter of its own. The meter's spread
    // over 20 s is below 0.1 dB, the weighting formula's scale 0.04 dB.
    let above = found.bs468.spl_db.value - rms;
    assert!((above - 4.2).abs() < 0.25, "{above}");
}

#[test]
fn what_should_not_be_in_silence_is_found_and_named() {
    let clean = SelfNoise::clean(RATE_HZ);
    let events = measured(&SelfNoise { events: (3, 6.0), ..clean.clone() }, 20.0, 4);
    assert!(
        events.cautions.iter().any(|c| matches!(c, LevelCaution::Events { figure: 3.0, .. })),
        "{:?}",
        events.cautions
    );
    let clicks = measured(&SelfNoise { clicks: (4, 60.0), ..clean.clone() }, 20.0, 5);
    let n = clicks.cautions.iter().find_map(|c| match c {
        LevelCaution::Clicks { figure, .. } => Some(*figure),
        _ => None,
    });
    assert_eq!(n, Some(4.0), "{:?}", clicks.cautions);
    let hum = measured(&SelfNoise { hum: Some((49.9, 1e-4)), ..clean }, 20.0, 6);
    let line = hum.hum.first().expect("a line");
    // Exact: a sine of amplitude 1e-4 has half its square as power. Noise beside it is taken off.
    assert!((line.at_hz - 49.9).abs() < 0.5 && (line.spl_db.value - spl(0.5e-8)).abs() < 0.2, "{line:?}");
    assert_eq!(hum.hum.len(), 2, "first and third harmonic: {:?}", hum.hum);
    assert!(hum.cautions.iter().any(|c| matches!(c, LevelCaution::Hum { .. })));
}

#[test]
fn clean_noise_is_not_accused() {
    let accused: Vec<_> = (0..40)
        .flat_map(|seed| measured(&SelfNoise::clean(24_000), 30.0, 100 + seed).cautions)
        .filter(|c| !matches!(c, LevelCaution::AmbientUnknown { .. } | LevelCaution::ChainUnknown { .. }))
        .collect();
    assert_eq!(accused, []);
}

#[test]
fn sound_of_the_room_is_told_from_the_microphones_own_noise() {
    let own_noise = SelfNoise::clean(24_000);
    let other = SelfNoise { white_rms: 4e-5, ..own_noise.clone() };
    for (room_rms, share) in [(0.0, 0.0), (3.3e-6, 0.1), (1e-5, 0.5), (3e-5, 0.9)] {
        let mut own = own_noise.samples(30.0, 7);
        let mut beside = other.samples(30.0, 8);
        let room = SelfNoise { white_rms: room_rms, low_rms: 0.0, ..own_noise.clone() }.samples(30.0, 9);
        // The microphone beside is 6 dB more sensitive and noisier.
        with_room(&mut own, &mut beside, &room, [1.0, 2.0]);
        let take = NoiseTake {
            beside: Some(Beside { samples: &beside, dbfs_per_pa: -40.0 + 6.0206, is_omnidirectional: true }),
            ..plain(&own, 24_000)
        };
        let found = self_noise(&take, &sensitivity(-40.0)).expect("good silence");
        let ambient = found.a_weighted.ambient.expect("something was beside");
        assert!((ambient.at_least - share).abs() < 0.04, "{room_rms}: {ambient:?}");
        // Exact but for chance: room and noise of the one beside as sound, (r² + (4e-5/2)²), of room and own noise.
        let other = 4e-5f64.powi(2) / 4.0;
        let most = (room_rms * room_rms + other) / (room_rms * room_rms + 1e-10);
        assert!((ambient.at_most - most.min(1.0)).abs() < 0.04, "{room_rms}: {ambient:?} {most}");
        // Without a quieter microphone beside it nobody knows that there is no sound which the two do not hear alike.
        assert_eq!(found.a_weighted.standing, Standing::AtMost, "{room_rms}");
        let hides = found.cautions.iter().any(|c| matches!(c, LevelCaution::AmbientHides { .. }));
        let may = found.cautions.iter().any(|c| matches!(c, LevelCaution::AmbientMayHide { .. }));
        if share != 0.1 {
            assert_eq!((hides, may), (share > 0.1, share < 0.1), "{room_rms}");
        }
    }
}

#[test]
fn noise_is_the_microphones_own_only_where_all_that_others_read_is_little() {
    let own_noise = SelfNoise::clean(24_000);
    // As sound: a microphone beside it 14 dB quieter, which hears a room of its own that the first hears not at all alike.
    let quiet = SelfNoise { white_rms: 2e-6, low_rms: 4e-7, ..own_noise.clone() };
    let own = own_noise.samples(30.0, 17);
    let chain = quiet.samples(30.0, 19);
    let read = |beside: &SelfNoise, chain: Option<&[f32]>| {
        let beside = beside.samples(30.0, 18);
        let beside = Some(Beside { samples: &beside, dbfs_per_pa: -40.0, is_omnidirectional: true });
        let take = NoiseTake { samples: &own, rate_hz: 24_000, chain_alone: chain, beside };
        self_noise(&take, &sensitivity(-40.0)).expect("good silence")
    };
    let standings = |n: &Noise| (n.a_weighted.standing, n.bs468.standing);
    let found = read(&quiet, Some(&chain));
    assert_eq!(standings(&found), (Standing::Own, Standing::Own), "{:?}", found.a_weighted);
    // Exact: 0.04 of the power; two shares of it, each within 0.18 dB, are in the interval.
    let other: Vec<f64> = found
        .a_weighted
        .spl_db
        .budget
        .iter()
        .filter(|c| c.from == "other noise")
        .map(|c| c.standard)
        .collect();
    assert_eq!(other.len(), 2);
    let exact = -power_db(0.96).expect("positive") / 3f64.sqrt();
    assert!(other.iter().all(|s| (s / exact - 1.0).abs() < 0.1), "{other:?} {exact}");
    assert_eq!(
        standings(&read(&quiet, None)),
        (Standing::AtMost, Standing::AtMost),
        "the chain is not known"
    );
    // One that does not hear all sides alike may miss what the first one hears.
    let beside = quiet.samples(30.0, 18);
    let beside = Some(Beside { samples: &beside, dbfs_per_pa: -40.0, is_omnidirectional: false });
    let take = NoiseTake { samples: &own, rate_hz: 24_000, chain_alone: Some(&chain), beside };
    let one_sided = self_noise(&take, &sensitivity(-40.0)).expect("good silence");
    assert_eq!(standings(&one_sided), (Standing::AtMost, Standing::AtMost));
    assert_eq!(one_sided.a_weighted.ambient.expect("beside").at_most, 1.0);
    // What the one beside reads lies low: it weighs in A, and hardly in BS.468 with its peak at 6 kHz.
    let low = SelfNoise { white_rms: 2e-6, low_rms: 1.8e-6, ..own_noise.clone() };
    let found = read(&low, Some(&chain));
    let [a, bs] = [&found.a_weighted, &found.bs468].map(|l| l.ambient.expect("beside").at_most);
    // By the formula's integrals with each weighting: each level is judged by its own.
    let truth =
        |weight: fn(f64) -> f64| low.power(10.0, 12_000.0, weight) / own_noise.power(10.0, 12_000.0, weight);
    let (a_truth, bs_truth) = (truth(a_power), truth(fairtake_signal::weighting::bs468_power));
    assert!(
        (a / a_truth - 1.0).abs() < 0.1 && (bs / bs_truth - 1.0).abs() < 0.1,
        "{a} {a_truth} {bs} {bs_truth}"
    );
    assert_eq!(standings(&found), (Standing::AtMost, Standing::Own), "{a} {bs}");
}

#[test]
fn noise_of_the_chain_is_told_from_the_microphones_own() {
    let made = SelfNoise::clean(24_000);
    let own = made.samples(10.0, 10);
    let chain =
        SelfNoise { white_rms: 0.7 * made.white_rms, low_rms: 0.7 * made.low_rms, ..made }.samples(10.0, 11);
    let take = NoiseTake { chain_alone: Some(&chain), ..plain(&own, 24_000) };
    let found = self_noise(&take, &sensitivity(-40.0)).expect("good silence");
    // Exact: 0.49 of the power.
    let figure = found.a_weighted.chain_share.expect("it was recorded");
    assert!((figure - 0.49).abs() < 0.03, "{figure}");
    assert!(found.cautions.iter().any(|c| matches!(c, LevelCaution::ChainHides { .. })));
}

#[test]
fn no_silence_is_an_error() {
    let s = sensitivity(-40.0);
    assert!(matches!(self_noise(&plain(&[0.1; 48_000], RATE_HZ), &s), Err(LevelError::TooShort { .. })));
    assert_eq!(self_noise(&plain(&[0.0; 480_000], RATE_HZ), &s), Err(LevelError::DigitalSilence));
    assert_eq!(self_noise(&plain(&[f32::INFINITY; 480_000], RATE_HZ), &s), Err(LevelError::NotFinite));
}

#[test]
fn intervals_of_noise_levels_hold_as_often_as_they_say() {
    let made = SelfNoise::clean(8000);
    let n = 200;
    let a_truth = spl(made.power(1.0, 4000.0, a_power));
    let (mut held, mut band_held, mut n_bands) = (0, 0, 0);
    for seed in 0..n {
        let found = measured(&made, 20.0, 1000 + seed);
        // The sensitivity is exact here: only the spread counts.
        let holds = |level: &NoiseLevel, truth: f64| {
            let own = vec![level.spl_db.budget.last().expect("spread").clone()];
            (level.spl_db.value - truth).abs() <= Quantity::new(0.0, own).half.expect("known")
        };
        held += usize::from(holds(&found.a_weighted, a_truth));
        for band in found.thirds.iter().filter(|b| b.from_hz > 90.0) {
            let truth = spl(made.power(band.from_hz, band.to_hz, |_| 1.0));
            band_held += usize::from(holds(band.level.as_ref().expect("noise"), truth));
            n_bands += 1;
        }
    }
    // Binomial: 0.95 ± 0.015; three of these. Bands of one take are independent.
    assert!((0.905..=0.995).contains(&(held as f64 / n as f64)), "{held} of {n}");
    let rate = band_held as f64 / n_bands as f64;
    assert!((0.93..=0.97).contains(&rate), "{rate}");
}
