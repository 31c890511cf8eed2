//! The summary for a terminal, at most 100 columns wide.

use fairtake_compare::{
    CheckResult, Claim, ComparisonFindings, Design, Estimate, Findings, LevelMeasure, Outcome, Unit, Verdict,
};
use std::fmt::Write;

/// Greatest width in columns.
const WIDTH: usize = 100;

/// Everything of a run in a few screens: design, checks that are not fair, levels, findings.
pub fn summary(findings: &Findings) -> String {
    let mut out = String::new();
    if let Some(title) = &findings.title {
        let _ = writeln!(out, "{title}\n");
    }
    for c in &findings.comparisons {
        comparison(&mut out, c);
    }
    let standing: Vec<&CheckResult> = findings.checks.iter().filter(|c| c.outcome != Outcome::Fair).collect();
    let n_fair = findings.checks.len() - standing.len();
    let _ = writeln!(out, "Checks: {n_fair} fair, {} to heed", standing.len());
    out.push_str(&checks(&standing.into_iter().cloned().collect::<Vec<_>>()));
    out
}

/// Checks, one paragraph each.
pub fn checks(checks: &[CheckResult]) -> String {
    let mut out = String::new();
    for c in checks {
        let outcome = match c.outcome {
            Outcome::Fair => "fair",
            Outcome::Caution => "caution",
            Outcome::Unfair => "unfair",
        };
        let place = c.take.as_ref().map_or(String::new(), |t| format!("{t}: "));
        let advice = if c.outcome == Outcome::Fair { String::new() } else { format!("; {}", c.advice) };
        wrapped(&mut out, &format!("  {outcome} {}: ", c.code), &format!("{place}{}{advice}", c.text));
    }
    out
}

fn comparison(out: &mut String, c: &ComparisonFindings) {
    wrapped(out, "", &format!("{} against {} on {}", c.against, c.reference, c.source));
    let design = match c.design {
        Design::Together => "together",
        Design::InTurn => "in turn",
        Design::InTurnWithWitness => "in turn with a witness",
        Design::Replayed => "replayed",
    };
    let claim = match c.claim {
        Claim::TheseTakes => "these takes, as placed and as played",
        Claim::Microphones => "the microphones on this source",
    };
    wrapped(out, "  made     ", &format!("{design}: {}", c.design_reason));
    wrapped(out, "  speaks of ", claim);
    wrapped(
        out,
        "  counted  ",
        &format!(
            "{} {} ({:.1} and {:.1} effective); margin {} dB",
            c.counts.reference.events.min(c.counts.against.events),
            match c.unit {
                Unit::Event => "hits each",
                Unit::Block => "blocks of sound each",
                Unit::Performance => "events each, by passes of playing",
                Unit::Placement => "events each, by placements",
            },
            c.n_effective.reference,
            c.n_effective.against,
            c.margin_db
        ),
    );
    let _ =
        writeln!(out, "\n  {:<14}{:>11}{:>11}   difference, 95 % interval", "level", "reference", "against");
    for (name, m) in [
        ("sample peak", &c.levels.sample_peak_dbfs),
        ("true peak", &c.levels.true_peak_dbtp),
        ("RMS", &c.levels.rms_dbfs),
        ("loudness", &c.levels.loudness_lufs),
    ] {
        let _ = writeln!(
            out,
            "  {name:<14}{:>11}{:>11}   {}",
            number(m.reference.event_mean),
            number(stated_against(m)),
            estimate(&m.difference_db)
        );
    }
    let gain = Estimate {
        estimate: c.level_match.gain_db,
        low: c.level_match.low,
        high: c.level_match.high,
        verdict: None,
    };
    let _ = writeln!(out, "  {:<14}{:>22}   {}\n", "match", "gain on against", estimate(&gain));
    for f in &c.findings {
        let mark = match f.verdict {
            Verdict::Different => "≠ ",
            Verdict::Alike => "= ",
            Verdict::Undecided => "? ",
            Verdict::OutOfRange => "· ",
        };
        wrapped(out, &format!("  {mark}"), &f.text);
    }
    out.push('\n');
}

/// One decimal. The one place where this table rounds.
fn rounded(db: f64) -> f64 {
    // Adding zero turns −0 into 0.
    (db * 10.0).round() / 10.0 + 0.0
}

/// The level of *against* as stated: the stated level of the reference plus the stated difference, so that the three
/// numbers of a row always agree; it is off its own rounding by 0.1 dB at most.
fn stated_against(m: &LevelMeasure) -> Option<f64> {
    match (m.reference.event_mean, m.difference_db.estimate) {
        (Some(reference), Some(difference)) => Some(rounded(reference) + rounded(difference)),
        _ => m.against.event_mean,
    }
}

/// One decimal, with a true minus sign.
fn number(db: Option<f64>) -> String {
    db.map_or("unknown".to_string(), |v| format!("{:.1}", rounded(v)).replace('-', "−"))
}

fn estimate(e: &Estimate) -> String {
    let signed = |v: f64| format!("{:+.1}", rounded(v)).replace('-', "−");
    let Some(value) = e.estimate else { return "unknown".to_string() };
    let interval = match (e.low, e.high) {
        (Some(low), Some(high)) => format!("{} to {}", signed(low), signed(high)),
        _ => "interval unknown".to_string(),
    };
    let verdict = match e.verdict {
        Some(Verdict::Alike) => ", alike",
        Some(Verdict::Different) => ", different",
        Some(Verdict::Undecided) => ", undecided",
        Some(Verdict::OutOfRange) | None => "",
    };
    format!("{} dB ({interval}){verdict}", signed(value))
}

/// Writes text after a lead, broken between words, continued under its first word.
fn wrapped(out: &mut String, lead: &str, text: &str) {
    let indent = lead.chars().count();
    let mut line = lead.to_string();
    let mut used = indent;
    for word in text.split_whitespace() {
        let n = word.chars().count();
        if used > indent && used + 1 + n > WIDTH {
            let _ = writeln!(out, "{line}");
            line = " ".repeat(indent);
            used = indent;
        }
        if used > indent {
            line.push(' ');
            used += 1;
        }
        line.push_str(word);
        used += n;
    }
    let _ = writeln!(out, "{line}");
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_stated_difference_is_that_of_the_stated_levels() {
        use fairtake_compare::LevelSummary;
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

    #[test]
    fn no_line_is_wider_than_the_terminal_and_no_word_is_lost() {
        let text = "one two three four five six seven eight nine ten ".repeat(12);
        let mut out = String::new();
        wrapped(&mut out, "  ? ", &text);
        assert!(out.lines().all(|l| l.chars().count() <= WIDTH));
        let words: Vec<&str> = out.trim_start_matches("  ? ").split_whitespace().collect();
        assert_eq!(words, text.split_whitespace().collect::<Vec<_>>());
    }
}
