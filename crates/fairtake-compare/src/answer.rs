//! The answer to one recording as soon as it is there: keep it, or play again; in so few words that it can be read
//! across the room.

use crate::checks;
use crate::measure::measure_performance;
use crate::{CheckResult, LeftOut, Outcome, Playing, ReadError, Role, Settings, Shootout, Take, TakeMeasure};
use fairtake_signal::defects::Places;
use fairtake_signal::units::amplitude_db;

/// Fewer used events than this give no interval at all: play again. Reason: docs/methods/difference-curve.md.
const FEWEST_EVENTS: usize = 4;
/// No more hits than this are listed by their number.
const MOST_LISTED: usize = 3;

/// What is said of one take.
#[derive(Debug, Clone, PartialEq)]
pub struct TakeAnswer {
    /// True: keep it; false: play again.
    pub keep: bool,
    /// Why not, or what is worth knowing although it is kept; empty where there is nothing to say.
    pub words: String,
    /// The events that the words are about, counted from 1 in order of time; empty where it is not about single ones.
    pub events: Vec<u32>,
    /// Events used.
    pub n_used: u32,
    /// Every check made on the take.
    pub checks: Vec<CheckResult>,
}

/// Checks takes of one performance, one answer each.
///
/// A take is refused where a hit clipped, a sample is missing, repeated or jumps, nothing is heard, or too little was
/// played for any interval; whatever else a check finds is said and the take is kept.
///
/// # Errors
/// When a take cannot be read to its end.
pub fn answer(
    takes: &[&Take],
    shootout: &Shootout,
    settings: &Settings,
) -> Result<Vec<TakeAnswer>, ReadError> {
    let source = takes.first().map_or("", |t| t.source.as_str());
    let playing = shootout.playing(source, settings.playing);
    let measures = measure_performance(takes, &Settings { playing, ..settings.clone() })?;
    let measured: Vec<(&Take, &TakeMeasure)> = takes.iter().copied().zip(&measures).collect();
    let checks = checks::of_takes(&measured, settings.bands_per_octave);
    Ok(measured.iter().map(|(t, m)| of_take(t, m, &checks)).collect())
}

fn of_take(take: &Take, m: &TakeMeasure, all: &[CheckResult]) -> TakeAnswer {
    let checks: Vec<CheckResult> =
        all.iter().filter(|c| c.take.as_ref() == Some(&take.id)).cloned().collect();
    let n_used = m.events.iter().filter(|e| e.left_out.is_none()).count() as u32;
    let made = |keep, (words, events): (String, Vec<u32>)| TakeAnswer {
        keep,
        words,
        events,
        n_used,
        checks: checks.clone(),
    };
    if let Some(why) = refused(take, m, &checks) {
        return made(false, why);
    }
    let worth_knowing = checks.iter().find(|c| c.outcome != Outcome::Fair && concerns(take, c));
    made(true, (worth_knowing.map_or(String::new(), |c| remark(c, m)), Vec::new()))
}

/// Room tone has no events, and nobody plays on it.
fn is_played(take: &Take) -> bool {
    matches!(take.role, Role::Compared | Role::Witness)
}

fn concerns(take: &Take, check: &CheckResult) -> bool {
    is_played(take) || !matches!(check.code.as_str(), "too_few_events" | "level_low" | "snr_unknown" | "hum")
}

/// Why it has to be played again, and which events that concerns.
fn refused(take: &Take, m: &TakeMeasure, checks: &[CheckResult]) -> Option<(String, Vec<u32>)> {
    let Some(peak_db) = amplitude_db(m.file.sample_peak) else { return Some(("silence".into(), Vec::new())) };
    let clipped = numbers(m, |e| e.left_out == Some(LeftOut::Clipped));
    if !clipped.is_empty() {
        return Some((format!("clipped {}", on_events(&clipped, m)), clipped));
    }
    let found = &m.defects.in_samples;
    let defects = [(found.dropouts, "dropout"), (found.repeats, "repeated buffer"), (found.clicks, "click")];
    for (places, what) in defects {
        if let Some((where_words, events)) = first_place(places, m) {
            return Some((format!("{what} {where_words}"), events));
        }
    }
    if is_played(take) {
        let caution = |code: &str| checks.iter().any(|c| c.code == code && c.outcome != Outcome::Fair);
        if caution("level_low") {
            return Some((format!("too quiet, peak {peak_db:.0} dBFS").replace('-', "−"), Vec::new()));
        }
        let n_used = m.events.iter().filter(|e| e.left_out.is_none()).count();
        if n_used < FEWEST_EVENTS {
            let words = match n_used {
                0 => format!("no {} found", events_word(m, 2)),
                n => format!("only {n} {}", events_word(m, n)),
            };
            return Some((words, Vec::new()));
        }
    }
    let unfair = checks.iter().find(|c| c.outcome == Outcome::Unfair)?;
    Some((remark(unfair, m), Vec::new()))
}

/// Numbers, from 1, of the events for which something holds.
fn numbers(m: &TakeMeasure, holds: impl Fn(&crate::EventMeasure) -> bool) -> Vec<u32> {
    (1u32..).zip(&m.events).filter(|(_, e)| holds(e)).map(|(n, _)| n).collect()
}

fn events_word(m: &TakeMeasure, n: usize) -> &'static str {
    match (m.playing, n) {
        (Playing::Sustained, 1) => "second of sound",
        (Playing::Sustained, _) => "seconds of sound",
        (_, 1) => "hit",
        (_, _) => "hits",
    }
}

/// `on hit 7`, `on hits 3, 7 and 9`, `on 9 of 12 hits, first on hit 2`; sustained sound: at which time.
fn on_events(events: &[u32], m: &TakeMeasure) -> String {
    if m.playing == Playing::Sustained {
        let first = events.first().and_then(|n| m.events.get(*n as usize - 1)).map_or(0.0, |e| e.onset_s);
        let more =
            if events.len() > 1 { format!(", and {} more s", events.len() - 1) } else { String::new() };
        return format!("at {}{more}", time(first));
    }
    match events {
        [one] => format!("on hit {one}"),
        [some @ .., last] if events.len() <= MOST_LISTED => {
            let some: Vec<String> = some.iter().map(u32::to_string).collect();
            format!("on hits {} and {last}", some.join(", "))
        }
        [first, ..] => format!("on {} of {} hits, first on hit {first}", events.len(), m.events.len()),
        [] => String::new(),
    }
}

/// On which hit the first of some defects lies, else at which time; `None` where there are none.
fn first_place(places: Places, m: &TakeMeasure) -> Option<(String, Vec<u32>)> {
    let at_s = places.first_frame.filter(|_| places.count > 0)? as f64 / f64::from(m.rate_hz);
    let hit = numbers(m, |e| e.start_s <= at_s && at_s < e.end_s);
    Some(match (m.playing, hit.first()) {
        (Playing::Percussive, Some(n)) => (format!("on hit {n}"), vec![*n]),
        _ => (format!("at {}", time(at_s)), Vec::new()),
    })
}

/// Minutes and seconds.
fn time(seconds: f64) -> String {
    let whole = seconds.max(0.0).floor() as u64;
    format!("{}:{:02}", whole / 60, whole % 60)
}

/// A check in few words; one that has none here is called by its name.
fn remark(check: &CheckResult, m: &TakeMeasure) -> String {
    match check.code.as_str() {
        "hum" => m.defects.hum.map_or("hum".into(), |h| format!("hum of {} Hz mains", h.mains_hz)),
        "dc" => "not centred on zero".into(),
        "lossy" => "lossy file".into(),
        "snr_unknown" => "no quiet gap to measure noise".into(),
        "too_few_events" => {
            let n = m.events.iter().filter(|e| e.left_out.is_none()).count();
            format!("only {n} {}, 8 are better", events_word(m, n))
        }
        "limiting" => "a limiter worked".into(),
        code => code.replace('_', " "),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{hits, take};

    /// Frames from one made hit to the next.
    const SECOND: usize = 16_000;

    fn said(samples: Vec<f32>) -> TakeAnswer {
        let made = take("moorhen", 1, samples);
        let answers = answer(&[&made], &Shootout::default(), &Settings::standard()).expect("reads");
        answers.into_iter().next().expect("one take, one answer")
    }

    #[test]
    fn a_good_take_is_kept_without_a_word() {
        let good = said(hits(3, 1.0));
        assert_eq!((good.keep, good.words.as_str(), good.n_used), (true, "", 12), "{:?}", good.checks);
    }

    #[test]
    fn clipped_hits_are_named_by_their_number() {
        let clip = |which: &[usize]| {
            let mut x = hits(3, 1.0);
            which.iter().for_each(|hit| x[hit * SECOND + 20..hit * SECOND + 26].fill(1.0));
            said(x)
        };
        assert_eq!(clip(&[7]).words, "clipped on hit 7");
        assert_eq!(clip(&[7]).events, [7]);
        assert!(!clip(&[7]).keep);
        assert_eq!(clip(&[2, 7, 11]).words, "clipped on hits 2, 7 and 11");
        assert_eq!(clip(&[2, 4, 7, 11]).words, "clipped on 4 of 12 hits, first on hit 2");
    }

    #[test]
    fn silence_and_a_few_hits_are_refused_and_seven_are_kept_with_a_word() {
        let silent = said(vec![0.0; 4 * SECOND]);
        assert_eq!((silent.keep, silent.words.as_str()), (false, "silence"));
        // The first hit comes after a second, the next ones a second apart.
        let first = |n: usize| said(hits(3, 1.0)[..(n + 1) * SECOND].to_vec());
        assert_eq!((first(3).keep, first(3).words.as_str()), (false, "only 3 hits"));
        assert_eq!((first(7).keep, first(7).words.as_str()), (true, "only 7 hits, 8 are better"));
        let quiet = said(hits(3, 1.0).iter().map(|x| x * 0.005).collect());
        assert!(!quiet.keep && quiet.words.starts_with("too quiet, peak −5"), "{}", quiet.words);
    }

    #[test]
    fn a_hole_in_a_hit_is_found_on_that_hit() {
        let mut x = hits(3, 1.0);
        x[5 * SECOND + 300..5 * SECOND + 700].fill(0.0);
        let holed = said(x);
        assert_eq!((holed.keep, holed.words.as_str()), (false, "dropout on hit 5"));
    }

    #[test]
    fn room_tone_is_not_asked_for_hits() {
        let mut tone = take("moorhen", 1, hits(3, 0.0));
        tone.role = Role::RoomTone;
        let answers = answer(&[&tone], &Shootout::default(), &Settings::standard()).expect("reads");
        assert!(answers[0].keep, "{:?}", answers[0]);
    }
}
