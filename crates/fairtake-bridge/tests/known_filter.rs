//! A difference that is made by a known equaliser is found again, and limits hold.

use fairtake_bridge::{Bridge, BridgeError, Equaliser, EqualiserBand, Shape, Wanted, bridge};
use fairtake_compare::{BandSpan, Design, PairTables, Playing, Settings, Table};
use fairtake_signal::bands::BandSet;

const RATE_HZ: f64 = 48_000.0;
const WANTED: Wanted = Wanted { most_boost_db: 12.0, most_bands: 6, rate_hz: RATE_HZ };

fn known() -> Equaliser {
    let band = |shape, hz, gain_db, q| EqualiserBand { shape, hz, gain_db, q };
    Equaliser {
        gain_db: -2.0,
        bands: vec![
            band(Shape::LowShelf, 140.0, 4.0, std::f64::consts::FRAC_1_SQRT_2),
            band(Shape::Peak, 900.0, -5.0, 1.4),
            band(Shape::Peak, 3200.0, 3.0, 2.0),
            band(Shape::HighShelf, 8000.0, 5.0, std::f64::consts::FRAC_1_SQRT_2),
        ],
    }
}

/// Hits recorded at once by two microphones that differ by `equaliser`, every band of every hit off by `sd_db`.
fn recorded(n_events: usize, sd_db: f64, difference_db: impl Fn(f64) -> f64) -> PairTables {
    let spans = BandSet::new(12, RATE_HZ / 2.0).spans_hz();
    let bands: Vec<BandSpan> =
        spans.iter().map(|(from_hz, to_hz)| BandSpan { from_hz: *from_hz, to_hz: *to_hz }).collect();
    let mut state = 7u64;
    // Sum of twelve even draws: close to normal, standard deviation 1.
    let mut draw = move || {
        let mut sum = -6.0;
        for _ in 0..12 {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            sum += (state >> 11) as f64 / (1u64 << 53) as f64;
        }
        sum
    };
    let hits: Vec<Vec<f64>> = (0..n_events)
        .map(|k| {
            bands
                .iter()
                .map(|b| -30.0 - 3.0 * (b.centre_hz() / 400.0).log2().abs() + 0.3 * k as f64)
                .collect()
        })
        .collect();
    let mut take = |heard: &dyn Fn(f64) -> f64| {
        let rows: Vec<Vec<f64>> = hits
            .iter()
            .map(|hit| {
                hit.iter().zip(&bands).map(|(db, b)| db + heard(b.centre_hz()) + sd_db * draw()).collect()
            })
            .collect();
        let loud: Vec<f64> = rows
            .iter()
            .map(|r| 10.0 * r.iter().map(|db| 10f64.powf(db / 10.0)).sum::<f64>().log10())
            .collect();
        Table {
            placement: 1,
            performance: 1,
            position: None,
            order: None,
            band_db: rows.concat(),
            midrange_db: loud.clone(),
            sample_peak_db: loud.clone(),
            true_peak_db: loud.clone(),
            rms_db: loud.clone(),
            loudness_db: loud,
        }
    };
    let (reference, against) = (vec![take(&|_| 0.0)], vec![take(&difference_db)]);
    PairTables {
        design: Design::Together,
        playing: Playing::Percussive,
        supported: vec![true; bands.len()],
        noise_subtraction_sd_db: vec![0.0; bands.len()],
        bands,
        reference,
        against,
        witness: Vec::new(),
    }
}

fn bridged(pair: &PairTables, wanted: &Wanted) -> Result<Bridge, BridgeError> {
    bridge(pair, ["drum", "heron", "moorhen"], &Settings::standard(), wanted)
}

#[test]
fn a_known_equaliser_is_found_again() {
    let known = known();
    let found =
        bridged(&recorded(24, 0.15, |hz| known.db(RATE_HZ, hz)), &WANTED).expect("enough was recorded");
    // The match turns all by one gain; what is compared is the shape.
    let offset = found
        .bands
        .iter()
        .map(|b| b.wanted_db - known.db(RATE_HZ, (b.from_hz * b.to_hz).sqrt()))
        .sum::<f64>()
        / found.bands.len() as f64;
    for b in &found.bands {
        let truth = known.db(RATE_HZ, (b.from_hz * b.to_hz).sqrt()) + offset;
        assert!(
            (b.correction_db - truth).abs() < 0.2,
            "correction at {}: {} {truth}",
            b.from_hz,
            b.correction_db
        );
    }
    let free = Wanted { most_bands: 4, ..WANTED };
    // With no margin to be content with, all four are used.
    let settings = Settings { margin_db: 0.05, ..Settings::standard() };
    let pair = recorded(24, 0.15, |hz| known.db(RATE_HZ, hz));
    let found = bridge(&pair, ["drum", "heron", "moorhen"], &settings, &free).expect("enough was recorded");
    assert_eq!(found.equaliser.bands.len(), 4, "{:?}", found.equaliser);
    for (got, true_band) in found.equaliser.bands.iter().zip(&known.bands) {
        assert_eq!(got.shape, true_band.shape, "{:?} {:?}", found.equaliser, found.steps);
        assert!((got.hz / true_band.hz).ln().abs() < 0.03, "{got:?} {true_band:?}");
        assert!((got.gain_db - true_band.gain_db).abs() < 0.2, "{got:?} {true_band:?}");
    }
    let left: Vec<f64> = found.steps.iter().map(|s| s.remaining_rms_db).collect();
    assert!(left.windows(2).all(|w| w[1] < w[0]), "every band buys something: {left:?}");
    let held = found.held_out.expect("every second event can be held out");
    assert!(!held.by_placement && held.folds == 2);
    assert!(held.equaliser_db < 0.15 && held.without_db > 2.0, "{held:?}");
    assert!(found.after_equaliser.explained.expect("it is far above chance") > 0.99);
}

#[test]
fn no_boost_goes_above_the_limit() {
    let known = known();
    let low = Wanted { most_boost_db: 2.0, ..WANTED };
    let found = bridged(&recorded(24, 0.1, |hz| known.db(RATE_HZ, hz)), &low).expect("enough was recorded");
    for b in &found.bands {
        assert!(b.correction_db <= 2.0, "{}", b.correction_db);
        // The limit is held on a grid of a thirtieth of a decade and in the middle of every band, which are these.
        assert!(found.equaliser.bands_db(RATE_HZ, (b.from_hz * b.to_hz).sqrt()) <= 2.0 + 1e-6, "{b:?}");
        assert!(b.equaliser_db <= 2.0 + 1e-6, "{b:?}");
    }
    assert!(found.equaliser.bands.iter().all(|b| b.gain_db <= 2.0));
    assert!(found.after_correction.greatest.is_some(), "what the limit leaves is said");
}

#[test]
fn nothing_is_corrected_where_nothing_is_known() {
    let mut pair = recorded(24, 0.1, |hz| 3.0 * (hz / 1000.0).log2());
    for (supported, band) in pair.supported.iter_mut().zip(&pair.bands) {
        *supported = band.centre_hz() > 200.0 && !(1000.0..1400.0).contains(&band.centre_hz());
    }
    let found = bridged(&pair, &WANTED).expect("enough was recorded");
    assert!(found.bands.iter().all(|b| b.to_hz > 200.0));
    let curve = found.correction().expect("bands are known");
    assert_eq!(curve.db(100.0), 0.0);
    // In the middle of the gap, which is more than a third of an octave wide, both sides have returned to nothing.
    let gap: Vec<_> =
        pair.bands.iter().zip(&pair.supported).filter(|(b, s)| !**s && b.from_hz > 300.0).collect();
    let (from, to) = (gap[0].0.from_hz, gap[gap.len() - 1].0.to_hz);
    assert_eq!(curve.db((from * to).sqrt()), 0.0);
    assert!(curve.db(4000.0) > 3.0);
}

#[test]
fn what_a_low_rate_cannot_do_is_left_out() {
    let low = Wanted { rate_hz: 16_000.0, ..WANTED };
    let pair = recorded(24, 0.1, |hz| 3.0 * (hz / 1000.0).log2());
    let found = bridged(&pair, &low).expect("enough was recorded");
    assert!(found.bands.iter().all(|b| b.to_hz <= 7200.0) && found.bands.len() > 90);
    let mut high = pair.clone();
    high.supported.iter_mut().zip(&high.bands).for_each(|(s, b)| *s = b.from_hz > 8000.0);
    assert_eq!(bridged(&high, &low), Err(BridgeError::NoBand));
}

#[test]
fn too_little_is_refused_with_what_to_record() {
    let refused = bridged(&recorded(2, 0.1, |_| 3.0), &WANTED).expect_err("two hits are too few");
    assert_eq!(refused, BridgeError::TooLittle);
    assert!(refused.hint().contains("eight hits"));
    let mut silent = recorded(24, 0.1, |_| 3.0);
    silent.supported.fill(false);
    assert_eq!(bridged(&silent, &WANTED), Err(BridgeError::NoBand));
    let wild = Wanted { most_boost_db: f64::NAN, ..WANTED };
    assert!(matches!(bridged(&recorded(24, 0.1, |_| 3.0), &wild), Err(BridgeError::Wanted(_))));
}

#[test]
fn microphones_that_are_alike_need_nothing() {
    let found = bridged(&recorded(24, 0.3, |_| 0.0), &WANTED).expect("enough was recorded");
    assert!(found.equaliser.bands.is_empty(), "{:?}", found.equaliser);
    assert!(found.bands.iter().all(|b| b.correction_db.abs() < 0.3));
    assert_eq!(found.after_equaliser.explained, None);
}
