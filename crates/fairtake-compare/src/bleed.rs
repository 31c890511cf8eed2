//! What leaks into two microphones from other sources, relative to what they are set up for: the difference in
//! signal-to-bleed. It needs no gain to be known: each microphone's gain is in its signal and in its bleed alike.

use crate::judge::{Judgement, judge, verdict};
use crate::measure::tabulate_on;
use crate::{
    BleedBand, BleedFindings, BleedMeasure, Design, Estimate, MatchBy, PairTables, Settings, Table, Take,
    TakeMeasure, Verdict,
};

type Measured<'a> = (&'a Take, &'a TakeMeasure);

/// Column of the loudness among the levels of a judgement.
const LOUDNESS: usize = 3;

/// Signal-to-bleed of a pair; `None` where one microphone has no bleed take. `signal` are the tables of the comparison.
///
/// With S the level of the signal and L that of the bleed, the difference is (S − L) of *against* less (S − L) of the
/// reference, which is the difference of the signals less the difference of the bleeds, each before any match. Both have
/// their own intervals, from independent recordings; the halves are added as squares.
pub(crate) fn bleed(
    signal: &PairTables,
    takes: [&[Measured]; 2],
    settings: &Settings,
) -> Option<BleedFindings> {
    let [a, b] = takes;
    if a.is_empty() || b.is_empty() {
        return None;
    }
    let at_once = a.iter().all(|(t, _)| b.iter().any(|(o, _)| o.performance == t.performance));
    let design = if at_once { Design::Together } else { Design::InTurn };
    let leaked = tabulate_on(&signal.bands, a, b, design, settings).pair;
    let plain = Settings { match_by: MatchBy::None, ..settings.clone() };
    let (of_signal, of_leaked) = (judge(signal, &plain, None), judge(&leaked, &plain, None));
    // Levels of both sides can be set against each other only where they are of one kind: energies, or powers.
    let one_kind = leaked.playing == signal.playing;
    let ratio = |signal: &[Table], leaked: &[Table], value: &dyn Fn(&Table) -> Option<f64>| {
        let mean = |tables: &[Table]| -> Option<f64> {
            let all: Option<Vec<f64>> = tables.iter().map(value).collect();
            all.filter(|v| !v.is_empty()).map(|v| v.iter().sum::<f64>() / v.len() as f64)
        };
        mean(signal).zip(mean(leaked)).filter(|_| one_kind).map(|(s, l)| s - l)
    };
    let loudness = |t: &Table| mean(t.loudness_db.iter().copied());
    let bands = (0..signal.bands.len().min(leaked.bands.len()))
        .map(|i| {
            let in_range = signal.supported[i] && leaked.supported[i];
            let level = |t: &Table| {
                let m = signal.bands.len();
                mean((0..t.n_events()).map(|e| t.band_db[e * m + i]))
            };
            let level_of =
                |signal: &[Table], leaked: &[Table]| ratio(signal, leaked, &level).filter(|_| in_range);
            BleedBand {
                from_hz: signal.bands[i].from_hz,
                to_hz: signal.bands[i].to_hz,
                reference_db: level_of(&signal.reference, &leaked.reference),
                against_db: level_of(&signal.against, &leaked.against),
                difference_db: band_difference(&of_signal, &of_leaked, i, settings),
            }
        })
        .collect();
    Some(BleedFindings {
        loudness_db: BleedMeasure {
            reference: ratio(&signal.reference, &leaked.reference, &loudness),
            against: ratio(&signal.against, &leaked.against, &loudness),
            difference_db: loudness_difference(&of_signal, &of_leaked, settings),
        },
        bands,
    })
}

fn mean(values: impl Iterator<Item = f64>) -> Option<f64> {
    let (sum, n) = values.fold((0.0, 0.0), |(s, n), v| (s + v, n + 1.0));
    (n > 0.0).then(|| sum / n)
}

fn half((low, high): (f64, f64)) -> f64 {
    (high - low) / 2.0
}

fn loudness_difference(signal: &Judgement, leaked: &Judgement, settings: &Settings) -> Estimate {
    let (s, l) = (signal.levels[LOUDNESS], leaked.levels[LOUDNESS]);
    let estimate = s.estimate.zip(l.estimate).map(|(s, l)| s - l);
    let wide = s.low.zip(s.high).zip(l.low.zip(l.high)).map(|(s, l)| half(s).hypot(half(l)));
    judged(estimate, wide, wide, settings)
}

/// One band: the interval shown is pointwise, the verdict by that which holds for all bands at once.
fn band_difference(signal: &Judgement, leaked: &Judgement, i: usize, settings: &Settings) -> Estimate {
    let (s, l) = (&signal.bands[i], &leaked.bands[i]);
    let estimate = s.difference_db.zip(l.difference_db).map(|(s, l)| s - l);
    let both = |s: Option<[f64; 2]>, l: Option<[f64; 2]>| {
        s.zip(l).map(|(s, l)| half((s[0], s[1])).hypot(half((l[0], l[1]))))
    };
    if estimate.is_none() {
        return Estimate { estimate: None, low: None, high: None, verdict: Some(Verdict::OutOfRange) };
    }
    judged(
        estimate,
        both(s.pointwise_db, l.pointwise_db),
        both(s.simultaneous_db, l.simultaneous_db),
        settings,
    )
}

fn judged(estimate: Option<f64>, shown: Option<f64>, decides: Option<f64>, settings: &Settings) -> Estimate {
    Estimate {
        estimate,
        low: estimate.zip(shown).map(|(e, h)| e - h),
        high: estimate.zip(shown).map(|(e, h)| e + h),
        verdict: estimate
            .map(|e| decides.map_or(Verdict::Undecided, |h| verdict(e, e - h, e + h, settings.margin_db))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{hits, take};
    use crate::{Role, measure_performance, tabulate};

    #[test]
    fn a_microphone_that_hears_less_of_the_neighbour_is_found_whatever_its_gain() {
        let settings = Settings::standard();
        let scaled = |x: &[f32], gain: f32| x.iter().map(|v| v * gain).collect::<Vec<f32>>();
        let (drum, neighbour) = (hits(3, 1.0), hits(4, 0.2));
        // The second microphone is 6 dB hotter, and hears the neighbour 4 dB less: 0.631.
        let takes = [
            take("a", 1, drum.clone()),
            take("b", 1, scaled(&drum, 2.0)),
            take("a", 2, neighbour.clone()),
            take("b", 2, scaled(&neighbour, 2.0 * 0.630_957)),
        ];
        let both = |k: usize| measure_performance(&[&takes[k], &takes[k + 1]], &settings).expect("in memory");
        let (signal, mut leaked) = (both(0), both(2));
        leaked.iter_mut().for_each(|m| m.events.iter_mut().for_each(|e| e.left_out = None));
        let made = tabulate(
            &[(&takes[0], &signal[0])],
            &[(&takes[1], &signal[1])],
            &[],
            Design::Together,
            &settings,
        );
        let mut takes_of_bleed = [take("a", 2, Vec::new()), take("b", 2, Vec::new())];
        takes_of_bleed.iter_mut().for_each(|t| t.role = Role::Bleed);
        let (a, b) = ([(&takes_of_bleed[0], &leaked[0])], [(&takes_of_bleed[1], &leaked[1])]);
        let found = bleed(&made.pair, [&a, &b], &settings).expect("both have bleed takes");
        // Exact: 20·lg(1/0.630957) = 4.000 dB more signal to bleed; the same samples, so that nothing scatters.
        let d = found.loudness_db.difference_db;
        assert!((d.estimate.expect("known") - 4.0).abs() < 1e-3, "{d:?}");
        assert_eq!(d.verdict, Some(Verdict::Different));
        let judged: Vec<f64> = found.bands.iter().filter_map(|b| b.difference_db.estimate).collect();
        assert!(judged.len() > 20, "{}", judged.len());
        // Noise that is subtracted does not scale with the neighbour: some hundredths near 10 dB of signal to noise.
        assert!(judged.iter().all(|d| (d - 4.0).abs() < 0.3), "{judged:?}");
        assert!(
            found.loudness_db.reference.is_some_and(|r| (10.0..18.0).contains(&r)),
            "{:?}",
            found.loudness_db
        );
        assert!(bleed(&made.pair, [&a, &[]], &settings).is_none());
    }
}
