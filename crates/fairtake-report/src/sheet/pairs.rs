//! What is said of pairs of microphones, for page and terminal.

use super::lines::{plain, with_half};
use crate::words::hertz;
use fairtake_calibrated::sheet::MatchedPair;
use maud::{Markup, html};

/// Title of the part.
pub(super) const TITLE: &str = "Pairs";

/// Largest deviation and where, range, and the second's level against the first's.
pub(super) struct PairWords {
    pub names: String,
    pub deviation: String,
    pub range: String,
    pub level: String,
}

/// A pair in words.
pub(super) fn words(pair: &MatchedPair) -> PairWords {
    let m = &pair.matched;
    let level = match pair.at_equal_gain_db {
        Some(db) => format!("{} dB at equal gain", signed(db)),
        None => format!("{} dB in the files; a gain is not logged", signed(m.level_db)),
    };
    PairWords {
        names: format!("{} against {}", pair.names[1], pair.names[0]),
        deviation: format!("{} at {}", with_half(&m.largest.deviation_db, "dB"), hertz(m.largest.hz)),
        range: format!("{} to {}", hertz(m.range_hz.0), hertz(m.range_hz.1)),
        level,
    }
}

fn signed(db: f64) -> String {
    let said = plain(db, 1);
    if db > 0.0 && said != "0.0" { format!("+{said}") } else { said }
}

/// All pairs as a section of the page; nothing without any.
pub(super) fn section(pairs: &[MatchedPair]) -> Markup {
    html! {
        @if !pairs.is_empty() {
            section.pair.data-sheet id="pairs" {
                h2 { (TITLE) }
                p.quiet { "Responses on the axis at one place, second less first, levels matched over 250 Hz to 4 kHz: the loudspeaker falls out. The interval is that of the one frequency where the deviation is largest." }
                div.scroll { table {
                    thead { tr { th { "pair" } th { "largest deviation" } th { "compared over" } th { "level" } } }
                    tbody { @for pair in pairs {
                        @let said = words(pair);
                        tr { th scope="row" { (said.names) } td { (said.deviation) } td { (said.range) } td { (said.level) } }
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
        let budget = vec![Contribution::expanded("repeats", 0.12, 1.96)];
        let largest = Held { hz: 5500.0, deviation_db: Quantity::new(-1.17, budget) };
        let mut pair = MatchedPair {
            first: "heron".into(),
            second: "heron-b".into(),
            names: ["Heron 3".into(), "Heron 3, its twin".into()],
            n_repeats: [3, 3],
            matched: PairMatch { level_db: -3.42, largest, range_hz: (251.2, 19_000.0) },
            at_equal_gain_db: Some(0.58),
        };
        let said = words(&pair);
        assert_eq!(said.names, "Heron 3, its twin against Heron 3");
        assert_eq!(said.deviation, "−1.17 ± 0.12 dB at 5.5 kHz");
        assert_eq!((said.range.as_str(), said.level.as_str()), ("251 Hz to 19 kHz", "+0.6 dB at equal gain"));
        pair.at_equal_gain_db = None;
        assert_eq!(words(&pair).level, "−3.4 dB in the files; a gain is not logged");
        let page = section(&[pair]).into_string();
        assert!(page.contains("−1.17 ± 0.12 dB at 5.5 kHz") && section(&[]).into_string().is_empty());
    }
}
