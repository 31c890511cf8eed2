//! The fit on tables whose answer is known exactly; how often its interval holds is tried in the virtual studio.

use super::*;
use crate::{BandSpan, Design};

const AT: SetUp = SetUp {
    distance_mm: 65.0,
    centre_offset_mm: 15.0,
    radius_mm: 0.0,
    gradient_share: 0.5,
    speed_of_sound_m_s: 343.4,
};

/// Eight hits at each of two placements that differ by a change of distance and a level, with a little scatter.
fn moved(to_mm: f64, level_db: f64, at: &SetUp) -> PairTables {
    let bands: Vec<BandSpan> = (0..30)
        .map(|i| {
            let centre = 40.0 * (f64::from(i) / 3.0).exp2();
            BandSpan { from_hz: centre / 1.1225, to_hz: centre * 1.1225 }
        })
        .collect();
    let table = |performance: u32, change: &dyn Fn(f64) -> f64| {
        let scatter = |event: usize, b: usize| ((event * 31 + b * 17) % 7) as f64 * 0.05 - 0.15;
        let band_db = (0..8)
            .flat_map(|e| {
                bands.iter().enumerate().map(move |(b, s)| (e, b, s.centre_hz())).collect::<Vec<_>>()
            })
            .map(|(e, b, hz)| -40.0 + e as f64 + scatter(e, b) + change(hz))
            .collect();
        let column = vec![-30.0; 8];
        Table {
            placement: performance,
            performance,
            position: None,
            order: None,
            band_db,
            loudness_db: column.clone(),
            midrange_db: column.clone(),
            sample_peak_db: column.clone(),
            true_peak_db: column.clone(),
            rms_db: column,
        }
    };
    let from_mm = at.distance_mm + at.centre_offset_mm;
    let change = |hz: f64| {
        level_db
            + distance_change_db(from_mm, to_mm, hz, at.gradient_share, at.radius_mm, at.speed_of_sound_m_s)
    };
    PairTables {
        design: Design::InTurn,
        playing: Playing::Percussive,
        supported: vec![true; bands.len()],
        noise_subtraction_sd_db: vec![0.0; bands.len()],
        reference: vec![table(1, &|_| 0.0)],
        against: vec![table(2, &change)],
        witness: Vec::new(),
        bands,
    }
}

#[test]
fn a_change_of_distance_is_found_whatever_the_level() {
    for (to_mm, level_db) in [(80.0, 0.0), (95.0, 0.0), (95.0, 7.0), (65.0, -4.0), (110.0, -9.0)] {
        let found = replaced(&moved(to_mm, level_db, &AT), &AT, LevelIs::Free, &Settings::standard());
        let found = found.expect("it can be told");
        // The scatter is the same at both placements, so that the fit is exact but for the golden section.
        assert!((found.moved_mm - (to_mm - 80.0)).abs() < 0.01, "{to_mm} {level_db}: {found:?}");
        assert!(found.low_mm < found.moved_mm && found.moved_mm < found.high_mm && !found.level_used);
    }
}

#[test]
fn a_witness_lets_the_level_tell_and_the_interval_shrink() {
    let omni = SetUp { gradient_share: 0.0, ..AT };
    let settings = Settings::standard();
    let known = LevelIs::Known { gain_change_db: 2.0 };
    let mut pair = moved(95.0, 2.0, &omni);
    assert_eq!(replaced(&pair, &omni, known, &settings), Err(CannotTell::Omni), "no witness heard it");
    // A witness that hears the player alone.
    pair.witness = [&pair.reference[0], &moved(80.0, 0.0, &omni).against[0]].map(Table::clone).to_vec();
    let found = replaced(&pair, &omni, known, &settings).expect("the level tells");
    assert!((found.moved_mm - 15.0).abs() < 0.01 && found.level_used, "{found:?}");
    let free = replaced(&moved(95.0, 2.0, &AT), &AT, LevelIs::Free, &settings).expect("the shape tells");
    assert!(found.high_mm - found.low_mm < free.high_mm - free.low_mm);
}

#[test]
fn what_cannot_be_told_is_said() {
    let settings = Settings::standard();
    let mut few = moved(95.0, 0.0, &AT);
    few.against[0].band_db.truncate(3 * few.bands.len());
    few.against[0].loudness_db.truncate(3);
    let told = replaced(&few, &AT, LevelIs::Free, &settings);
    assert_eq!(told, Err(CannotTell::TooFewEvents { needed: 4 }));
    // Before a skin five times as wide as it is near, distance does not bend the low end.
    let wide = SetUp { radius_mm: 400.0, ..AT };
    let told = replaced(&moved(95.0, 0.0, &wide), &wide, LevelIs::Free, &settings);
    assert!(matches!(told, Err(CannotTell::TooWide { .. })), "{told:?}");
    let mut log = Shootout::default();
    log.sources.insert("drum".into(), crate::Source::default());
    log.mics.insert("moorhen".into(), crate::Mic::default());
    assert_eq!(SetUp::logged(&log, "drum", "moorhen"), Err(CannotTell::NoDistance));
}

#[test]
fn it_is_said_in_words_that_do_not_claim_more_than_was_computed() {
    let said = |moved_mm, low_mm, high_mm| Replaced { moved_mm, low_mm, high_mm, level_used: false }.words();
    assert_eq!(said(12.2, 4.4, 20.1), "about 12 mm farther (4 to 21)");
    assert_eq!(said(-12.2, -20.1, -4.4), "about 12 mm nearer (4 to 21)");
    assert_eq!(said(3.0, -4.2, 10.5), "about 3 mm farther (5 mm nearer to 11 mm farther)");
    assert_eq!(said(0.2, -4.2, 4.5), "at the same distance (5 mm nearer to 5 mm farther)");
}
