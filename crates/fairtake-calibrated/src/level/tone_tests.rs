//! A calibrator's tone is told from everything else, and read to a few thousandths of a dB.

use super::*;
use fairtake_virtual_studio::bench::calibrator::{Handled, ToneTake};

fn read(take: &ToneTake) -> Result<Tone, LevelError> {
    tone(&take.samples(3), take.rate_hz, 1000.0)
}

#[test]
fn a_good_tone_is_read_at_every_rate_and_level() {
    for (level_dbfs, rate_hz, frequency_hz) in
        [(-3.0, 48_000, 1000.0), (-37.2, 44_100, 997.3), (-21.35, 96_000, 1004.9), (-60.0, 192_000, 990.0)]
    {
        let take = ToneTake { rate_hz, frequency_hz, ..ToneTake::good(level_dbfs) };
        let found = read(&take).expect("a good tone");
        // Exact; noise 60 dB below in blocks of 0.25 s moves the mean by 1e-5 of the level; overtones by less than 1e-4.
        assert!((found.level_dbfs - level_dbfs).abs() < 0.002, "{found:?}");
        assert!((found.frequency_hz - frequency_hz).abs() < 0.02, "{found:?}");
        assert!((found.distortion_percent - 0.36).abs() < 0.02, "{found:?}");
        assert_eq!(found.cautions, []);
    }
}

#[test]
fn what_happens_while_the_calibrator_is_put_on_is_left_out() {
    let take = ToneTake { handled: Handled::WithinTheTake, ..ToneTake::good(-20.0) };
    let found = read(&take).expect("a good tone");
    assert!((found.level_dbfs + 20.0).abs() < 0.002 && (8.5..10.0).contains(&found.seconds), "{found:?}");
}

#[test]
fn what_is_no_calibrator_tone_is_refused_with_its_figure() {
    let good = ToneTake::good(-20.0);
    let refused = |take: ToneTake| read(&take).expect_err("not a calibrator's tone");
    let LevelError::WrongFrequency { found_hz, .. } =
        refused(ToneTake { frequency_hz: 250.0, ..good.clone() })
    else {
        panic!("250 Hz")
    };
    assert!((found_hz - 250.0).abs() < 0.1);
    // A file of 44.1 kHz that is played at 48 kHz.
    let LevelError::WrongFrequency { found_hz, .. } =
        refused(ToneTake { frequency_hz: 1088.4, ..good.clone() })
    else {
        panic!("another rate")
    };
    assert!((found_hz - 1088.4).abs() < 0.1);
    let LevelError::TwoTones { other_hz, other_db, .. } =
        refused(ToneTake { other: Some((430.0, 0.2)), ..good.clone() })
    else {
        panic!("two tones")
    };
    // Exact: 20 lg 0.2 = −13.98 dB.
    assert!((other_hz - 430.0).abs() < 0.5 && (other_db + 13.98).abs() < 0.2, "{other_hz} {other_db}");
    let LevelError::Distorted { found_percent, .. } =
        refused(ToneTake { overtones: [0.0, 0.15], ..good.clone() })
    else {
        panic!("distorted")
    };
    assert!((found_percent - 15.0).abs() < 0.2);
    let LevelError::Unsteady { range_db, .. } = refused(ToneTake { falls_db: 2.0, ..good.clone() }) else {
        panic!("unsteady")
    };
    assert!((1.7..2.0).contains(&range_db), "{range_db}");
    assert!(matches!(refused(ToneTake { seconds: 2.0, ..good.clone() }), LevelError::TooShort { .. }));
    let clipped = ToneTake { level_dbfs: 2.0, noise_dbfs: -60.0, ..good.clone() };
    assert!(matches!(refused(clipped), LevelError::Clipped { n_stretches } if n_stretches > 100));
    // Noise alone; a tone that drowns in it; music would be the same.
    for level_dbfs in [-120.0, -45.0] {
        let noise = ToneTake { level_dbfs, noise_dbfs: -30.0, ..good.clone() };
        assert!(
            matches!(refused(noise), LevelError::NotATone { rest_db, .. } if rest_db > -20.0),
            "{level_dbfs}"
        );
    }
    assert_eq!(tone(&[0.0; 480_000], 48_000, 1000.0), Err(LevelError::DigitalSilence));
    assert_eq!(tone(&[], 48_000, 1000.0), Err(LevelError::DigitalSilence));
    assert_eq!(tone(&[f32::NAN; 480_000], 48_000, 1000.0), Err(LevelError::NotFinite));
}

#[test]
fn what_is_only_unusual_is_said_beside_the_level() {
    let good = ToneTake::good(-20.0);
    let cautions = |take: ToneTake| read(&take).expect("a tone").cautions;
    let falling = cautions(ToneTake { falls_db: 0.5, ..good.clone() });
    assert!(
        matches!(falling[..], [LevelCaution::ToneUnsteady { figure, .. }] if (0.4..0.5).contains(&figure)),
        "{falling:?}"
    );
    let bent = cautions(ToneTake { overtones: [0.05, 0.0], ..good.clone() });
    assert!(
        matches!(bent[..], [LevelCaution::ToneDistorted { figure, .. }] if (figure - 5.0).abs() < 0.1),
        "{bent:?}"
    );
    let noisy = cautions(ToneTake { noise_dbfs: -50.0, ..good });
    assert!(
        matches!(noisy[..], [LevelCaution::ToneNotAlone { figure, .. }] if (figure + 30.0).abs() < 0.5),
        "{noisy:?}"
    );
}

#[test]
fn errors_read_as_sentences_with_values_and_a_remedy() {
    let error = LevelError::WrongFrequency { found_hz: 1088.43, stated_hz: 1000.0 };
    assert_eq!(error.to_string(), "the tone has 1088.4 Hz, the calibrator makes 1000 Hz");
    assert!(error.hint().contains("sampling rate"));
}
