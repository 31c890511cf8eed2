//! The arithmetic of sensitivities against a table of data-sheet arithmetic, refusals, and how often intervals hold.

use super::*;
use crate::level::{
    CalibratorClass, Doubt, Field, PressureResponse, Stated, StaticPressure, by_substitution,
};
use fairtake_virtual_studio::bench::calibrator::{CalibrationCase, CalibrationSpread, ToneTake};

const MEASURING: (Pattern, Purpose) = (Pattern::Omnidirectional, Purpose::Measurement);

fn calibrator(level_db: f64) -> Calibrator {
    Calibrator {
        level_db,
        frequency_hz: 1000.0,
        class: Some(CalibratorClass::One),
        certificate_db: Some(Stated {
            value: 0.0,
            doubt: Doubt::Expanded { half: 0.16, coverage_factor: 2.0 },
        }),
        adaptor_db: Stated { value: 0.0, doubt: Doubt::Standard(0.03) },
        static_pressure: StaticPressure {
            kpa: Some(Stated::within(101.325, 0.1)),
            response: PressureResponse::Regulated(0.0),
        },
        pressure_to_free_field_db: Stated { value: 0.0, doubt: Doubt::Standard(0.04) },
    }
}

fn take(level_dbfs: f64) -> Vec<f32> {
    ToneTake { seconds: 4.0, ..ToneTake::good(level_dbfs) }.samples(1)
}

/// Rows of the table: item, input, value.
fn rows(item: &str) -> Vec<(String, f64)> {
    include_str!("../../../../reference/07_datasheet_arithmetic.csv")
        .lines()
        .map(|line| line.split(',').map(str::to_string).collect::<Vec<_>>())
        .filter(|cells| cells[0] == item)
        .map(|cells| (cells[1].clone(), cells[2].parse().expect("a number")))
        .collect()
}

/// Numbers in a text.
fn numbers(text: &str) -> Vec<f64> {
    text.split_whitespace().filter_map(|word| word.trim_end_matches(';').parse().ok()).collect()
}

#[test]
fn one_pascal_is_where_the_table_has_it() {
    let [(_, db)] = &rows("pascal_to_spl")[..] else { panic!("one row") };
    assert!((pascal_spl_db() - db).abs() < 5e-5);
}

#[test]
fn full_scale_is_where_the_calibrators_reading_puts_it() {
    let rows = rows("full_scale_spl");
    assert_eq!(rows.len(), 2);
    for (input, full_scale_db) in rows {
        let [spl_db, reading_dbfs] = numbers(&input)[..] else { panic!("{input}") };
        let found =
            by_calibrator(&[&take(reading_dbfs)], 48_000, MEASURING, &calibrator(spl_db), &Chain::UNKNOWN)
                .expect("a good take");
        // The table's two decimals.
        assert!((found.full_scale_spl_db.value - full_scale_db).abs() < 0.005, "{input}: {found:?}");
        assert_eq!((&found.mv_per_pa, &found.db_re_1v_per_pa), (&None, &None), "gain is not known");
    }
}

#[test]
fn millivolts_and_decibels_agree_with_the_table() {
    let rows = rows("sensitivity_mV_to_dB");
    assert!(rows.len() > 10);
    for (input, db_re_1v) in rows {
        let mv = numbers(&input)[0];
        let conditions = Conditions {
            frequency_hz: 1000.0,
            field: SoundField::FreeField,
            spl_db: None,
            static_pressure_kpa: None,
            distance_mm: None,
            n_takes: 1,
            chain: Chain { gain_db: Some(Stated::exact(30.0)), full_scale_dbv: Some(Stated::exact(6.0)) },
        };
        // 1 Pa, mv at the microphone, 30 dB more at the converter, whose full scale is 6 dB re 1 V.
        let dbfs = 20.0 * (mv / 1000.0f64).ln() / 10f64.ln() + 30.0 - 6.0;
        let found = Sensitivity::of(dbfs, Vec::new(), conditions, Vec::new());
        let (found_mv, found_db) = (found.mv_per_pa.expect("known"), found.db_re_1v_per_pa.expect("known"));
        assert!(
            (found_mv.value / mv - 1.0).abs() < 1e-12 && (found_db.value - db_re_1v).abs() < 5e-5,
            "{input}"
        );
    }
}

#[test]
fn the_whole_way_from_a_take_to_millivolts_is_right_to_a_twentieth_of_a_decibel() {
    // Exact: 12.5 mV/Pa, corrections of +0.13 dB (certificate), −0.08 dB (adaptor), +0.10 dB (free field).
    let true_db = 20.0 * 0.0125f64.ln() / 10f64.ln();
    let mut with = calibrator(94.0);
    with.certificate_db = Some(Stated::within(0.13, 0.1));
    with.adaptor_db = Stated::within(-0.08, 0.05);
    with.pressure_to_free_field_db = Stated::within(0.10, 0.05);
    let chain =
        Chain { gain_db: Some(Stated::within(40.0, 0.3)), full_scale_dbv: Some(Stated::within(8.2, 0.2)) };
    let made_spl_db = 94.0 + 0.13 - 0.08;
    let level = true_db - 0.10 + (made_spl_db - pascal_spl_db()) + 40.0 - 8.2;
    let found = by_calibrator(&[&take(level)], 48_000, MEASURING, &with, &chain).expect("a good take");
    let db = found.db_re_1v_per_pa.expect("the chain is known");
    assert!((db.value - true_db).abs() < 0.005, "{db:?}");
    // Exact: root of the summed squares of all that was entered, ±0.1, 0.05, 0.05, 0.3, 0.2 and the seating's 0.1, each over
    // √3; the spread of blocks adds less than 0.001 dB.
    let standard =
        ((0.1f64.powi(2) * 2.0 + 2.0 * 0.05f64.powi(2) + 0.3f64.powi(2) + 0.2f64.powi(2)) / 3.0).sqrt();
    assert!((db.half.expect("known") / 1.96 - standard).abs() < 0.002, "{db:?}");
    let mv = found.mv_per_pa.expect("known");
    assert!(
        (mv.value - 12.5).abs() < 0.01
            && (mv.half.expect("known") / 12.5 - 1.96 * standard / 8.686).abs() < 1e-3
    );
    assert!(matches!(found.cautions[..], [LevelCaution::SeatedOnce { .. }]));
}

#[test]
fn a_calibrator_on_any_other_microphone_is_refused_with_the_reason() {
    for (pattern, purpose, words) in [
        (Pattern::Directional, Purpose::Measurement, "directional"),
        (Pattern::Directional, Purpose::Studio, "directional"),
        (Pattern::Omnidirectional, Purpose::Studio, "not built for measuring"),
        (Pattern::Unknown, Purpose::Measurement, "not logged"),
        (Pattern::Omnidirectional, Purpose::Unknown, "not logged"),
    ] {
        let refused =
            by_calibrator(&[&take(-20.0)], 48_000, (pattern, purpose), &calibrator(94.0), &Chain::UNKNOWN);
        let error = refused.expect_err("it cannot fit");
        assert!(error.to_string().contains(words) && error.hint().contains("substitution"), "{error}");
    }
}

#[test]
fn a_calibrator_of_which_nothing_is_known_is_refused_and_its_class_serves() {
    let mut unknown = calibrator(94.0);
    (unknown.class, unknown.certificate_db) = (None, None);
    let asked = |c: &Calibrator| by_calibrator(&[&take(-20.0)], 48_000, MEASURING, c, &Chain::UNKNOWN);
    assert_eq!(asked(&unknown), Err(LevelError::CalibratorUnknown));
    let halves = [CalibratorClass::Ls, CalibratorClass::One, CalibratorClass::Two].map(|class| {
        unknown.class = Some(class);
        asked(&unknown).expect("its class is known").dbfs_per_pa.half.expect("known")
    });
    assert!(halves[0] < halves[1] && halves[1] < halves[2], "{halves:?}");
    unknown.level_db = 0.94;
    assert!(matches!(asked(&unknown), Err(LevelError::OutOfRange { .. })));
}

#[test]
fn intervals_of_calibrations_hold_as_often_as_they_say() {
    let spread =
        CalibrationSpread { calibrator_db: 0.08, adaptor_db: 0.03, free_field_db: 0.04, seating_db: 0.03 };
    let n = 400;
    let held = (0..n)
        .filter(|seed| {
            let case = CalibrationCase::drawn(-37.0, 94.0, 3, &spread, *seed);
            let takes: Vec<Vec<f32>> = case
                .levels_dbfs
                .iter()
                .map(|level| {
                    ToneTake { seconds: 3.6, rate_hz: 8000, ..ToneTake::good(*level) }.samples(*seed)
                })
                .collect();
            let takes: Vec<&[f32]> = takes.iter().map(Vec::as_slice).collect();
            let found = by_calibrator(&takes, 8000, MEASURING, &calibrator(94.0), &Chain::UNKNOWN)
                .expect("good takes");
            (found.dbfs_per_pa.value - case.true_dbfs_per_pa).abs() <= found.dbfs_per_pa.half.expect("known")
        })
        .count();
    // Binomial with 0.95: 380 ± 4.4; three of these around 93 to 97 %.
    assert!((0.93 - 0.033..=0.97 + 0.033).contains(&(held as f64 / n as f64)), "{held} of {n}");
}

#[test]
fn substitution_carries_the_sensitivity_over_and_its_doubts_too() {
    let reference = by_calibrator(&[&take(-37.0)], 48_000, MEASURING, &calibrator(94.0), &Chain::UNKNOWN)
        .expect("a good take");
    let field = Field {
        distance_mm: 1000.0,
        played_dbfs: 0.0,
        position_mm: 5.0,
        reflections_db: 0.1,
        gain_change_db: Stated::within(10.0, 0.1),
        temperature_c: 20.0,
    };
    let own = Chain { gain_db: Some(Stated::exact(20.0)), full_scale_dbv: Some(Stated::exact(10.0)) };
    let found = by_substitution(&reference, &[-40.0, -40.02, -39.98], &[-31.0, -31.1, -30.9], &field, &own)
        .expect("good levels");
    // Exact: pressure is −40 − 10 − S_ref re 1 Pa, own level −31.
    let expected = -31.0 - (-40.0 - 10.0 - reference.dbfs_per_pa.value);
    assert!((found.dbfs_per_pa.value - expected).abs() < 1e-9);
    assert!((found.db_re_1v_per_pa.as_ref().expect("known").value - (expected + 10.0 - 20.0)).abs() < 1e-9);
    assert!(found.dbfs_per_pa.half > reference.dbfs_per_pa.half, "doubts add up");
    assert_eq!(found.conditions.field, SoundField::FreeField);
    // Levels re a sweep at −12 dBFS: it was 12 dB quieter, and the sensitivity is the same.
    let swept = Field { played_dbfs: -12.0, ..field.clone() };
    let re_sweep =
        by_substitution(&reference, &[-40.0, -40.02, -39.98], &[-31.0, -31.1, -30.9], &swept, &own)
            .expect("good levels");
    assert_eq!(re_sweep.dbfs_per_pa, found.dbfs_per_pa);
    let quieter = found.conditions.spl_db.expect("known") - re_sweep.conditions.spl_db.expect("known");
    assert!((quieter - 12.0).abs() < 1e-9);
    let drifting = by_substitution(&reference, &[-40.0, -40.6], &[-31.0], &field, &own).expect("good levels");
    assert!(
        drifting.cautions.iter().any(
            |c| matches!(c, LevelCaution::ReferenceDrifted { figure, .. } if (figure - 0.6).abs() < 1e-9)
        )
    );
    assert!(matches!(
        by_substitution(&reference, &[], &[-31.0], &field, &own),
        Err(LevelError::NoTakes { what: "the reference in the field" })
    ));
    let metres = Field { distance_mm: 1.0, ..field };
    assert!(matches!(
        by_substitution(&reference, &[-40.0], &[-31.0], &metres, &own),
        Err(LevelError::OutOfRange { .. })
    ));
}
