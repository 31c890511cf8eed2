//! How outcomes are written: in one place, so that summary, figure and report cannot disagree. Numbers are written as
//! the sentences have them.

pub use fairtake_compare::wording::{hertz, interval, number_of, rounded, signed};

use fairtake_compare::{
    Claim, Design, Estimate, FeatureKind, LevelMeasure, MatchBy, Outcome, Role, SetBy, Unit, Verdict,
};

/// One decimal with a true minus sign, or `unknown`.
pub fn number(value: Option<f64>) -> String {
    value.map_or("unknown".to_string(), |v| format!("{:.1}", rounded(v)).replace('-', "−"))
}

/// An estimate with its interval and verdict.
pub fn estimate(e: &Estimate, unit: &str) -> String {
    let Some(value) = e.estimate else { return "unknown".to_string() };
    let bounds = match (e.low, e.high) {
        (Some(low), Some(high)) => interval(low, high),
        _ => "interval unknown".to_string(),
    };
    let word = e.verdict.map_or(String::new(), |v| format!(", {}", verdict(v)));
    format!("{} {unit} ({bounds}){word}", signed(value))
}

/// The level of *against* as stated: the stated level of the reference plus the stated difference, so that the three
/// numbers of a row always agree; it is off its own rounding by 0.1 dB at most.
pub fn stated_against(m: &LevelMeasure) -> Option<f64> {
    agreeing(m.reference.event_mean, m.against.event_mean, m.difference_db.estimate)
}

/// The second value of a row as stated: the stated first one plus the stated difference, where both are known. Where that
/// is not what was recorded, as when a witness evens the playing out, the recorded value stands and [`evened_out`] says so.
pub fn agreeing(reference: Option<f64>, against: Option<f64>, difference: Option<f64>) -> Option<f64> {
    let stated = reference.zip(difference).map(|(r, d)| rounded(r) + rounded(d));
    match (stated, against) {
        (Some(stated), Some(recorded)) if (stated - recorded).abs() > OWN_ROUNDING_DB => Some(recorded),
        (Some(stated), _) => Some(stated),
        (None, recorded) => recorded,
    }
}

/// True where the difference of a row is not that of its two levels.
pub fn evened_out(m: &LevelMeasure) -> bool {
    let whole = m.reference.event_mean.zip(m.against.event_mean).zip(m.difference_db.estimate);
    whole.is_some_and(|((r, a), d)| (rounded(r) + rounded(d) - a).abs() > OWN_ROUNDING_DB)
}

/// Two roundings to a tenth can be off by a tenth together.
const OWN_ROUNDING_DB: f64 = 0.1 + 1e-9;

/// The word for a verdict.
pub fn verdict(v: Verdict) -> &'static str {
    match v {
        Verdict::Alike => "alike",
        Verdict::Different => "different",
        Verdict::Undecided => "undecided",
        Verdict::OutOfRange => "out of range",
    }
}

/// The mark that goes with a verdict.
pub fn mark(v: Verdict) -> &'static str {
    match v {
        Verdict::Different => "≠",
        Verdict::Alike => "=",
        Verdict::Undecided => "?",
        Verdict::OutOfRange => "·",
    }
}

/// The word for a check's outcome.
pub fn outcome(o: Outcome) -> &'static str {
    match o {
        Outcome::Fair => "fair",
        Outcome::Caution => "caution",
        Outcome::Unfair => "unfair",
    }
}

/// How takes were made.
pub fn design(d: Design) -> &'static str {
    match d {
        Design::Together => "together",
        Design::InTurn => "in turn",
        Design::InTurnWithWitness => "in turn with a witness",
        Design::Replayed => "replayed",
    }
}

/// What intervals speak about.
pub fn claim(c: Claim) -> &'static str {
    match c {
        Claim::TheseTakes => "these takes, as placed and as played",
        Claim::Microphones => "the microphones on this source",
    }
}

/// What was counted, as the object of a number of events.
pub fn counted(u: Unit) -> &'static str {
    match u {
        Unit::Event => "hits each",
        Unit::Block => "blocks of sound each",
        Unit::Performance => "events each, by passes of playing",
        Unit::Placement => "events each, by placements",
    }
}

/// By what levels were matched.
pub fn match_by(m: MatchBy) -> &'static str {
    match m {
        MatchBy::Loudness => "event loudness",
        MatchBy::Midrange => "energy from 300 Hz to 3 kHz",
        MatchBy::Peak => "event peak",
        MatchBy::None => "nothing",
    }
}

/// Kind of feature.
pub fn feature(k: FeatureKind) -> &'static str {
    match k {
        FeatureKind::LowEdge => "lowest captured",
        FeatureKind::HighEdge => "highest captured",
        FeatureKind::Peak => "peak",
        FeatureKind::Notch => "notch",
    }
}

/// What sets an edge.
pub fn set_by(s: SetBy) -> &'static str {
    match s {
        SetBy::Source => "the source",
        SetBy::Microphone => "a microphone",
        SetBy::Noise => "noise",
    }
}

/// What a take is for.
pub fn role(r: Role) -> &'static str {
    match r {
        Role::Compared => "compared",
        Role::Witness => "witness",
        Role::RoomTone => "room tone",
        Role::Bleed => "bleed",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use fairtake_compare::LevelSummary;

    #[test]
    fn the_stated_difference_is_that_of_the_stated_levels() {
        let level = |v: f64| LevelSummary { max: Some(v), event_mean: Some(v) };
        for (a, b) in [(-20.04, -18.96), (-20.05, -19.95), (-3.0, -3.04), (-10.0, -12.25)] {
            let difference = Estimate { estimate: Some(b - a), low: None, high: None, verdict: None };
            let m = LevelMeasure { reference: level(a), against: level(b), difference_db: difference };
            let stated: f64 = stated_against(&m).expect("both are known");
            // Exact but for binary fractions of a tenth.
            assert!((stated - rounded(a) - rounded(b - a)).abs() < 1e-9);
            assert!((stated - b).abs() <= 0.1 + 1e-9);
        }
        assert_eq!(number(Some(-0.04)), "0.0");
    }
}
