//! The bridge in words: every number from it.

use crate::{Bridge, BridgedBand, Carried, EqualiserBand, Shape};
use fairtake_compare::wording::{hertz, plain, signed};
use fairtake_compare::{Claim, Verdict};

/// A band as it is set on a console, in three figures.
pub fn in_words(band: &EqualiserBand) -> String {
    let set = format!("at {}, {} dB", set_hertz(band.hz), signed(band.gain_db));
    match band.shape {
        Shape::LowShelf => format!("low shelf {set}"),
        Shape::HighShelf => format!("high shelf {set}"),
        Shape::Peak => format!("peak {set}, Q {}", plain(band.q, 2)),
    }
}

/// A frequency in three figures, as fine as it can be set.
pub fn set_hertz(hz: f64) -> String {
    let (value, unit) = if hz >= 999.5 { (hz / 1000.0, "kHz") } else { (hz, "Hz") };
    let decimals = [100.0, 10.0].iter().filter(|from| value < **from).count();
    format!("{value:.decimals$} {unit}")
}

/// What can be said, the most important first. `name` gives the name of a microphone for people.
pub fn sentences(bridge: &Bridge, name: impl Fn(&str) -> String) -> Vec<String> {
    let (from, to) = (name(&bridge.from), name(&bridge.to));
    let n = bridge.equaliser.bands.len();
    let bands = match n {
        0 => "a fader alone".to_string(),
        1 => "an equaliser of one band".to_string(),
        n => format!("an equaliser of {n} bands"),
    };
    let placed = if bridge.claim == Claim::TheseTakes { ", as placed" } else { "" };
    let mut out = vec![format!(
        "{from} and {to} differ by {} dB after the level match{placed} (root mean square over octaves)",
        plain(bridge.difference_rms_db, 1)
    )];
    let tried = match bridge.held_out {
        Some(h) if h.by_placement => "on placements that were not used to set it",
        _ => "on events that were not used to set it, of the same takes (another placement may differ more)",
    };
    out.push(match bridge.after_equaliser.explained {
        Some(share) => format!(
            "{tried}, {bands} on {from} carries about {} % of the difference (of its square, less \
             what the takes differ by themselves)",
            plain((100.0 * share).floor(), 0)
        ),
        None => format!(
            "how much of that {bands} on {from} carries cannot be told: the difference is not larger than what playing and \
             placing do by themselves, or too few takes are there to hold some back"
        ),
    });
    let after =
        |what: &str, carried: &Carried, verdicts: &[Verdict]| remains(bridge, what, carried, verdicts);
    let of =
        |correction: fn(&BridgedBand) -> Verdict| bridge.bands.iter().map(correction).collect::<Vec<_>>();
    out.push(after("after it", &bridge.after_equaliser, &of(|b| b.after_equaliser)));
    out.push(after("after the smoothest correction", &bridge.after_correction, &of(|b| b.remaining.verdict)));
    if let Some(h) = bridge.held_out {
        let what = if h.by_placement { "placements" } else { "events" };
        out.push(format!(
            "on {what} that were not used to fit, {} dB remain with the equaliser and {} dB with the smoothest correction, of \
             {} dB without; these {what} differ from the others by {} dB by themselves",
            plain(h.equaliser_db, 1),
            plain(h.correction_db, 1),
            plain(h.without_db, 1),
            plain(h.by_itself_db, 1)
        ));
    }
    out.push(
        "no equaliser carries noise, distortion, what happens in time, or what the microphones do with sound from other \
         directions"
            .to_string(),
    );
    out
}

fn remains(bridge: &Bridge, after: &str, carried: &Carried, verdicts: &[Verdict]) -> String {
    let upper = plain((10.0 * carried.remaining_upper_db).ceil() / 10.0, 1);
    let whole = format!(
        "{after}, {} dB remain on these takes; with 95 % confidence it is no more than {upper} dB",
        plain(carried.remaining_rms_db, 1)
    );
    let octaves = |wanted: Verdict| {
        let of = bridge.bands.iter().zip(verdicts).filter(|(_, v)| **v == wanted);
        plain(of.map(|(b, _)| (b.to_hz / b.from_hz).log2()).sum::<f64>(), 1)
    };
    let [alike, open, different] = [Verdict::Alike, Verdict::Undecided, Verdict::Different].map(octaves);
    let rest = format!("{alike} octaves are alike, {open} undecided, {different} different");
    match carried.greatest {
        Some(g) => format!(
            "{whole}; {rest}, most from {} to {}, up to {} dB",
            hertz(g.from_hz),
            hertz(g.to_hz),
            signed(g.remaining_db)
        ),
        None => format!("{whole}; {rest}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn frequencies_are_said_as_finely_as_they_are_set() {
        let said = [53.27, 140.4, 999.7, 1249.0, 9951.0, 18_049.0].map(set_hertz);
        assert_eq!(said, ["53.3 Hz", "140 Hz", "1.00 kHz", "1.25 kHz", "9.95 kHz", "18.0 kHz"]);
    }
}
