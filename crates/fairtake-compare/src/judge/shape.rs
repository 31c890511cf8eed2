//! Differences in the shape of events: attack, decay, crest. Judged as levels are, one measure by itself.

use super::level;
use super::units::count;
use crate::{BandSpan, Design, Estimate, MatchBy, PairTables, Settings, Table};

/// Shape measures shown side by side.
const N_SHOWN: f64 = 3.0;

/// The difference of one measure, against minus reference, in the measure's own unit, as is `margin`.
///
/// `values` holds for both microphones, per table of the pair, one value per event; `None` where an event has none: then
/// the event is left out, in its partner too where events pair.
pub(crate) fn shape(
    pair: &PairTables,
    values: [&[Vec<Option<f64>>]; 2],
    margin: f64,
    settings: &Settings,
) -> Estimate {
    let [a, b] = values;
    let partner = |own: &Table, index: usize, tables: &[Table]| match pair.design {
        Design::Together => tables.iter().position(|t| t.performance == own.performance),
        Design::Replayed => Some(index),
        Design::InTurn | Design::InTurnWithWitness => None,
    };
    let kept = |tables: &[Table], own: &[Vec<Option<f64>>], others: &[Table], other: &[Vec<Option<f64>>]| {
        tables
            .iter()
            .zip(own)
            .enumerate()
            .map(|(i, (table, values))| {
                let with = partner(table, i, others).and_then(|k| other.get(k));
                let known = |event: usize| with.is_none_or(|w| w.get(event).copied().flatten().is_some());
                let column: Vec<f64> = values
                    .iter()
                    .enumerate()
                    .filter(|(event, _)| known(*event))
                    .filter_map(|(_, v)| *v)
                    .collect();
                one_column(table, column)
            })
            .filter(|t: &Table| t.n_events() > 0)
            .collect::<Vec<Table>>()
    };
    let alone = PairTables {
        // What the witness shows is the player's strength; shapes are not corrected by it.
        design: if pair.design == Design::InTurnWithWitness { Design::InTurn } else { pair.design },
        playing: pair.playing,
        bands: vec![BandSpan { from_hz: 1.0, to_hz: 2.0 }],
        supported: vec![true],
        reference: kept(&pair.reference, a, &pair.against, b),
        against: kept(&pair.against, b, &pair.reference, a),
        witness: Vec::new(),
        noise_subtraction_sd_db: vec![0.0],
    };
    if alone.reference.is_empty() || alone.against.is_empty() {
        return Estimate { estimate: None, low: None, high: None, verdict: None };
    }
    let settings = Settings { margin_db: margin, ..settings.clone() };
    level(&count(&alone, MatchBy::None), 0, N_SHOWN, &settings)
}

/// A table whose only band holds the values.
fn one_column(table: &Table, column: Vec<f64>) -> Table {
    let nothing = vec![0.0; column.len()];
    Table {
        placement: table.placement,
        performance: table.performance,
        position: table.position.clone(),
        order: table.order,
        band_db: column,
        loudness_db: nothing.clone(),
        midrange_db: nothing.clone(),
        sample_peak_db: nothing.clone(),
        true_peak_db: nothing.clone(),
        rms_db: nothing,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Playing, Verdict};

    fn pair(design: Design, n: usize) -> PairTables {
        let table = |performance| {
            let empty = Table {
                placement: 1,
                performance,
                position: None,
                order: None,
                band_db: Vec::new(),
                loudness_db: Vec::new(),
                midrange_db: Vec::new(),
                sample_peak_db: Vec::new(),
                true_peak_db: Vec::new(),
                rms_db: Vec::new(),
            };
            one_column(&empty, vec![0.0; n])
        };
        let against = if design == Design::Together { 1 } else { 2 };
        PairTables {
            design,
            playing: Playing::Percussive,
            bands: vec![BandSpan { from_hz: 1.0, to_hz: 2.0 }],
            supported: vec![true],
            reference: vec![table(1)],
            against: vec![table(against)],
            witness: Vec::new(),
            noise_subtraction_sd_db: vec![0.0],
        }
    }

    #[test]
    fn what_pairs_is_compared_event_by_event_and_events_without_a_value_leave_their_partner_out() {
        let a: Vec<Option<f64>> = (0..8).map(|k| Some(f64::from(k))).collect();
        let mut b: Vec<Option<f64>> =
            (0..8).map(|k| Some(f64::from(k) + 2.0 + 0.01 * f64::from(k % 2))).collect();
        b[0] = None;
        let found = shape(
            &pair(Design::Together, 8),
            [std::slice::from_ref(&a), std::slice::from_ref(&b)],
            1.0,
            &Settings::standard(),
        );
        // Exact: differences 2.00 and 2.01 in turn, seven of them with four of 2.01.
        assert!((found.estimate.expect("known") - (2.0 + 0.04 / 7.0)).abs() < 1e-12);
        assert_eq!(found.verdict, Some(Verdict::Different));
        let in_turn = shape(
            &pair(Design::InTurn, 8),
            [std::slice::from_ref(&a), std::slice::from_ref(&b)],
            1.0,
            &Settings::standard(),
        );
        // Nothing pairs: the spread of the events themselves hides it.
        assert_eq!(in_turn.verdict, Some(Verdict::Undecided));
    }
}
