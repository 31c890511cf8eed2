//! The bridge in words: every number from it.

use crate::{Bridge, Carried, EqualiserBand, Shape};
use fairtake_compare::Claim;
use fairtake_compare::wording::{hertz, plain, signed};

/// A band as it is set on a console.
pub fn in_words(band: &EqualiserBand) -> String {
    match band.shape {
        Shape::LowShelf => format!("low shelf at {}, {} dB", hertz(band.hz), signed(band.gain_db)),
        Shape::HighShelf => format!("high shelf at {}, {} dB", hertz(band.hz), signed(band.gain_db)),
        Shape::Peak => {
            format!("peak at {}, {} dB, Q {}", hertz(band.hz), signed(band.gain_db), plain(band.q, 1))
        }
    }
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
    out.push(match bridge.after_equaliser.explained {
        Some(share) => format!(
            "{bands} on {from} carries {} % of that, by the squares, on takes that were not used to set it",
            plain((100.0 * share).floor(), 0)
        ),
        None => format!(
            "how much of that {bands} on {from} carries cannot be told: the difference is not larger than what playing and \
             placing do by themselves, or too few takes are there to hold some back"
        ),
    });
    out.push(remains("after it", &bridge.after_equaliser));
    out.push(remains("after the smoothest correction", &bridge.after_correction));
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

fn remains(after: &str, carried: &Carried) -> String {
    let upper = plain((10.0 * carried.remaining_upper_db).ceil() / 10.0, 1);
    let whole = format!("{after}, {} dB remain, at most {upper} dB", plain(carried.remaining_rms_db, 1));
    match carried.greatest {
        Some(g) => format!(
            "{whole}; most from {} to {}, up to {} dB",
            hertz(g.from_hz),
            hertz(g.to_hz),
            signed(g.remaining_db)
        ),
        None => format!("{whole}; nowhere is a difference of the margin or more shown"),
    }
}
