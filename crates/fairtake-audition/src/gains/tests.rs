//! Tests: down only, and to one loudness.

use super::*;
use crate::testing::{every_second, found, found_with, hits, take};
use fairtake_compare::{Playing, Settings, Source};

/// Three microphones on one performance; the second is 6 dB quieter than the first, the third 4 dB louder.
fn three() -> Findings {
    let samples = hits(48_000, 12, &every_second(), 14.0);
    let at = |db: f64| samples.iter().map(|x| (f64::from(*x) * 10f64.powf(db / 20.0)) as f32).collect();
    let takes = [take("a", 1, at(0.0)), take("b", 1, at(-6.0)), take("c", 1, at(4.0))];
    found(&takes, Playing::Percussive).findings
}

fn keys(mics: &[&str]) -> Vec<String> {
    mics.iter().map(|m| m.to_string()).collect()
}

fn db(findings: &Findings, mics: &[&str]) -> Vec<f64> {
    let gains = gains_db(findings, "drum", &keys(mics)).expect("all were compared");
    assert!(gains.iter().all(|g| g.gain_db <= 0.0), "{gains:?}");
    assert!(gains.iter().zip(mics).all(|(g, m)| g.mic == *m));
    gains.iter().map(|g| g.gain_db).collect()
}

#[test]
fn the_quietest_stays_and_the_others_come_down_to_it() {
    let findings = three();
    let near = |found: Vec<f64>, wanted: &[f64]| {
        // Scaled copies of one recording: the rounding of samples to f32, 10⁻⁷, is far below 0.001 dB.
        assert_eq!(found.len(), wanted.len());
        assert!(found.iter().zip(wanted).all(|(f, w)| (f - w).abs() < 1e-3), "{found:?} {wanted:?}");
    };
    near(db(&findings, &["a", "b", "c"]), &[-6.0, 0.0, -10.0]);
    // Two that were compared with the first only, and in any order.
    near(db(&findings, &["c", "b"]), &[-10.0, 0.0]);
    near(db(&findings, &["c", "a"]), &[-4.0, 0.0]);
    near(db(&findings, &["c"]), &[0.0]);
    assert_eq!(db(&findings, &[]), Vec::<f64>::new());
}

#[test]
fn a_match_that_is_not_known_is_said_and_not_made_up() {
    let mut findings = three();
    findings.comparisons[1].level_match.gain_db = None;
    for mics in [["a", "b", "c"], ["c", "b", "a"]] {
        let gains = gains_db(&findings, "drum", &keys(&mics)).expect("all were compared");
        for gain in &gains {
            match gain.mic.as_str() {
                "c" => {
                    assert_eq!(gain.gain_db, 0.0);
                    assert!(gain.remark.as_deref().is_some_and(|r| r.contains("not known")), "{gain:?}");
                }
                "b" => assert_eq!((gain.gain_db, &gain.remark), (0.0, &None)),
                _ => assert!((gain.gain_db + 6.0).abs() < 1e-3 && gain.remark.is_none(), "{gain:?}"),
            }
        }
    }
    // Nothing is known of any: no one is matched to itself.
    findings.comparisons[0].level_match.gain_db = Some(f64::NAN);
    let gains = gains_db(&findings, "drum", &keys(&["a", "b", "c"])).expect("all were compared");
    assert!(gains.iter().all(|g| g.gain_db == 0.0 && g.remark.is_some()), "{gains:?}");
}

#[test]
fn levels_that_were_not_matched_are_said_to_be_so() {
    let samples = hits(48_000, 12, &every_second(), 14.0);
    let takes = [take("a", 1, samples.clone()), take("b", 1, samples.iter().map(|x| x * 0.5).collect())];
    let settings = Settings { match_by: MatchBy::None, ..Settings::standard() };
    let source = Source { playing: Playing::Percussive, ..Source::default() };
    let findings = found_with(&takes, source, settings).findings;
    let gains = gains_db(&findings, "drum", &keys(&["a", "b"])).expect("both were compared");
    assert!(gains.iter().all(|g| g.gain_db == 0.0), "{gains:?}");
    let remark = "the levels were not matched: played as recorded";
    assert!(gains.iter().all(|g| g.remark.as_deref() == Some(remark)), "{gains:?}");
}

#[test]
fn a_stranger_is_named() {
    let refused = gains_db(&three(), "drum", &keys(&["a", "heron"])).expect_err("was not compared");
    assert_eq!(refused.to_string(), "the microphone 'heron' takes part in no comparison on 'drum'");
}
