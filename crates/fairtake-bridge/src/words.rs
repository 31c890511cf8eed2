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

/// Parts in tenths that add up to the whole in tenths: those farthest from a tenth give way. A part that is there and less than a tenth
/// says so.
fn in_tenths(parts: [f64; 3]) -> [String; 3] {
    let tenths = parts.map(|p| 10.0 * p);
    let mut whole = tenths.map(f64::floor);
    let missing = (tenths.iter().sum::<f64>().round() - whole.iter().sum::<f64>()).max(0.0) as usize;
    let mut by_rest = [0, 1, 2];
    by_rest.sort_by(|a, b| (tenths[*b] - whole[*b]).total_cmp(&(tenths[*a] - whole[*a])));
    by_rest.into_iter().take(missing).for_each(|i| whole[i] += 1.0);
    std::array::from_fn(|i| {
        let is_little = whole[i] == 0.0 && parts[i] > 1e-9;
        if is_little { "under 0.1".to_string() } else { plain(whole[i] / 10.0, 1) }
    })
}

fn remains(bridge: &Bridge, after: &str, carried: &Carried, verdicts: &[Verdict]) -> String {
    let upper = plain((10.0 * carried.remaining_upper_db).ceil() / 10.0, 1);
    let whole = format!(
        "{after}, {} dB remain on these takes; with 95 % confidence it is no more than {upper} dB",
        plain(carried.remaining_rms_db, 1)
    );
    let octaves = |wanted: Verdict| {
        let of = bridge.bands.iter().zip(verdicts).filter(|(_, v)| **v == wanted);
        of.map(|(b, _)| (b.to_hz / b.from_hz).log2()).sum::<f64>()
    };
    let [alike, open, different] =
        in_tenths([Verdict::Alike, Verdict::Undecided, Verdict::Different].map(octaves));
    let rest = format!("{alike} octaves are alike, {open} undecided, {different} different");
    match carried.greatest {
        Some(g) => format!(
            "{whole}; {rest}, the greatest from {} to {}, up to {} dB",
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
    use crate::{Equaliser, Remaining, Wanted};

    /// A bridge with these verdicts after the equaliser, in bands of a twelfth of an octave, some of them missing.
    fn made(verdicts: &[Verdict], per_octave: f64, holes: impl Fn(usize) -> bool) -> Bridge {
        let edge = |i: usize| 20.0 * 2f64.powf(i as f64 / per_octave);
        let band = |(i, verdict): (usize, &Verdict)| {
            let (from_hz, to_hz) = (edge(i), edge(i + 1));
            let remaining = Remaining {
                from_hz,
                to_hz,
                remaining_db: 0.2,
                low_db: -0.5,
                high_db: 0.9,
                verdict: *verdict,
            };
            BridgedBand {
                from_hz,
                to_hz,
                wanted_db: 1.0,
                correction_db: 0.8,
                equaliser_db: 0.8,
                remaining,
                after_equaliser: *verdict,
            }
        };
        let carried = Carried {
            remaining_rms_db: 0.3,
            remaining_upper_db: 0.61,
            explained: Some(0.981),
            greatest: None,
        };
        Bridge {
            from: "heron".into(),
            to: "moorhen".into(),
            source: "drum".into(),
            wanted: Wanted { most_boost_db: 12.0, most_bands: 6, rate_hz: 48e3 },
            margin_db: 1.0,
            claim: Claim::TheseTakes,
            bands: verdicts.iter().enumerate().filter(|(i, _)| !holes(*i)).map(band).collect(),
            difference_rms_db: 1.0,
            equaliser: Equaliser::default(),
            steps: Vec::new(),
            after_correction: carried,
            after_equaliser: carried,
            held_out: None,
        }
    }

    /// The three numbers of octaves of a sentence, 0 for less than a tenth.
    fn octaves_of(sentence: &str) -> [f64; 3] {
        let rest = sentence.rsplit("; ").next().expect("a last part");
        let numbers = rest.replace(" octaves are", "").replace("under 0.1", "0.0");
        let words: Vec<&str> = numbers.split([' ', ',']).filter(|w| !w.is_empty()).collect();
        assert_eq!(
            (words.len(), words[1], words[3], words[5]),
            (6, "alike", "undecided", "different"),
            "{sentence}"
        );
        [0, 2, 4].map(|i| words[i].parse().expect("a number"))
    }

    #[test]
    fn octaves_that_are_alike_undecided_and_different_add_up_to_all_that_are_known() {
        let mut state = 11u64;
        let mut draw = move |n: u64| {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (state >> 33) % n
        };
        for run in 0..500 {
            let per_octave = [3.0, 6.0, 12.0, 24.0, 48.0][draw(5) as usize];
            let n = 1 + draw((10.0 * per_octave) as u64) as usize;
            let kinds = [Verdict::Alike, Verdict::Undecided, Verdict::Different];
            // Some kinds are rare, some are not there.
            let shares = [draw(20), draw(20), draw(3)];
            let verdicts: Vec<Verdict> = (0..n)
                .map(|_| {
                    let at = draw(shares.iter().sum::<u64>().max(1));
                    let kind = (0..3).find(|k| at < shares[..=*k].iter().sum()).unwrap_or(0);
                    kinds[kind]
                })
                .collect();
            let hole = draw(7) as usize;
            let bridge = made(&verdicts, per_octave, |i| hole > 0 && i % 7 == hole && n > 7);
            let all: f64 = bridge.bands.iter().map(|b| (b.to_hz / b.from_hz).log2()).sum();
            let said = sentences(&bridge, str::to_string);
            for sentence in said.iter().filter(|s| s.starts_with("after")) {
                let octaves = octaves_of(sentence);
                let sum: f64 = octaves.iter().sum();
                // The whole in tenths; halfway between two, either.
                assert!((sum - all).abs() < 0.05 + 1e-9, "{run}: {all} {sentence}");
                for (kind, octaves) in kinds.iter().zip(octaves) {
                    let of = bridge.bands.iter().filter(|b| b.after_equaliser == *kind);
                    let exact: f64 = of.map(|b| (b.to_hz / b.from_hz).log2()).sum();
                    // Floor or ceiling in tenths: never as much as a tenth away.
                    assert!((octaves - exact).abs() < 0.1, "{run}: {kind:?} {exact} {sentence}");
                }
            }
        }
        assert_eq!(in_tenths([5.94, 0.02, 4.0]), ["6.0", "under 0.1", "4.0"]);
    }

    #[test]
    fn frequencies_are_said_as_finely_as_they_are_set() {
        let said = [53.27, 140.4, 999.7, 1249.0, 9951.0, 18_049.0].map(set_hertz);
        assert_eq!(said, ["53.3 Hz", "140 Hz", "1.00 kHz", "1.25 kHz", "9.95 kHz", "18.0 kHz"]);
    }
}
