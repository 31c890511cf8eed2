//! What is said of pairs of microphones, for page and terminal.

use super::lines::{signed, upwards};
use crate::words::hertz;
use fairtake_calibrated::REPEATED_OFTEN;
use fairtake_calibrated::microphone::PairMatch;
use fairtake_calibrated::sheet::MatchedPair;
use maud::{Markup, html};

/// Title of the part.
pub(crate) const TITLE: &str = "Pairs";

/// What is meant by what is shown of them.
pub(crate) const MEANT: &str = "Responses on the axis at one place, second less first, levels matched over 250 Hz to 4 kHz: the loudspeaker falls out. The deviation's interval is that of the one frequency where it is largest; beside it one that holds at all frequencies at once, since the largest of many is more often large by chance.";

/// Largest deviation and where, range, and the second's level against the first's.
pub(crate) struct PairWords {
    pub names: String,
    pub deviation: String,
    /// What holds at all points at once, and whether the deviation may be chance; "unknown" where intervals are.
    pub for_all: String,
    pub range: String,
    pub level: String,
    /// How many settings-up of each it rests on, in the order of the names.
    pub settings_up: String,
}

/// A pair in words.
pub(crate) fn words(pair: &MatchedPair) -> PairWords {
    let m = &pair.matched;
    let level = match &pair.at_equal_gain_db {
        Some(db) => format!("{} at equal gain", signed(db, "dB")),
        None => format!("{} in the files; a gain is not logged", signed(&m.level_db, "dB")),
    };
    PairWords {
        names: format!("{} against {}", pair.names[1], pair.names[0]),
        deviation: format!("{} at {}", signed(&m.largest.deviation_db, "dB"), hertz(m.largest.hz)),
        for_all: for_all(m),
        settings_up: settings_up(pair.n_repeats),
        range: format!("{} to {}", hertz(m.range_hz.0), hertz(m.range_hz.1)),
        level,
    }
}

impl PairWords {
    /// All that is known of the pair, where there is no table.
    pub(crate) fn whole(&self) -> String {
        let PairWords { deviation, for_all, range, level, settings_up, .. } = self;
        format!(
            "largest deviation {deviation} (at all points at once: {for_all}), over {range}; {level}; settings-up: {settings_up}"
        )
    }
}

/// Settings-up of the second and of the first, and whose spread is not measured but assumed.
fn settings_up([first, second]: [usize; 2]) -> String {
    let assumed = match [first, second].iter().filter(|n| **n < REPEATED_OFTEN).count() {
        0 => "",
        1 => ", the spread of the fewer assumed",
        _ => ", spread assumed",
    };
    format!("{second} and {first}{assumed}")
}

/// What all points at once leave of the largest of them.
fn for_all(m: &PairMatch) -> String {
    let Some(half) = m.half_for_all_db else { return "unknown".into() };
    let by_chance = m.largest.deviation_db.value.abs() <= half;
    format!("± {} dB{}", upwards(half), if by_chance { ", may be chance" } else { "" })
}

/// All pairs as a section of the page; nothing without any.
pub(super) fn section(pairs: &[MatchedPair]) -> Markup {
    html! {
        @if !pairs.is_empty() {
            section.pair.data-sheet id="pairs" {
                h2 { (TITLE) }
                p.quiet { (MEANT) }
                div.scroll { table {
                    thead { tr { th { "pair" } th { "largest deviation" } th { "at all points at once" } th { "compared over" } th { "level" } th { "settings-up" } } }
                    tbody { @for pair in pairs {
                        @let said = words(pair);
                        tr { th scope="row" { (said.names) } td { (said.deviation) } td { (said.for_all) } td { (said.range) } td { (said.level) } td { (said.settings_up) } }
                    } }
                } }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use fairtake_calibrated::microphone::{Held, PairMatch};
    use fairtake_calibrated::{Contribution, Quantity};

    #[test]
    fn a_pair_is_told_by_where_it_differs_most() {
        let known = |value, half| Quantity::new(value, vec![Contribution::expanded("repeats", half, 1.96)]);
        let largest = Held { hz: 5500.0, deviation_db: known(-1.17, 0.12) };
        let mut pair = MatchedPair {
            first: "heron".into(),
            second: "heron-b".into(),
            names: ["Heron 3".into(), "Heron 3, its twin".into()],
            n_repeats: [3, 3],
            matched: PairMatch {
                level_db: known(-3.42, 0.2),
                largest,
                half_for_all_db: Some(0.41),
                range_hz: (251.2, 19_000.0),
                n_points: 75,
            },
            at_equal_gain_db: Some(known(0.58, 0.31)),
        };
        let said = words(&pair);
        assert_eq!(said.names, "Heron 3, its twin against Heron 3");
        assert_eq!(said.deviation, "−1.17 ± 0.12 dB at 5.5 kHz");
        assert_eq!(said.for_all, "± 0.41 dB");
        assert_eq!(said.settings_up, "3 and 3");
        assert_eq!(settings_up([1, 1]), "1 and 1, spread assumed");
        assert_eq!(settings_up([2, 3]), "3 and 2, the spread of the fewer assumed");
        assert_eq!(
            (said.range.as_str(), said.level.as_str()),
            ("251 Hz to 19 kHz", "+0.58 ± 0.31 dB at equal gain")
        );
        pair.at_equal_gain_db = None;
        pair.matched.largest.deviation_db = known(0.24, 0.12);
        let said = words(&pair);
        assert_eq!(said.level, "−3.42 ± 0.20 dB in the files; a gain is not logged");
        let whole = "+0.24 ± 0.12 dB at 5.5 kHz (at all points at once: ± 0.41 dB, may be chance)";
        assert!(said.whole().contains(whole), "{}", said.whole());
        let page = section(&[pair]).into_string();
        assert!(
            page.contains("± 0.41 dB, may be chance")
                && page.contains("<td>3 and 3</td>")
                && section(&[]).into_string().is_empty()
        );
    }
}
