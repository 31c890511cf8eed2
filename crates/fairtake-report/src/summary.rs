//! The summary for a terminal, at most 100 columns wide.

use crate::words::{self, estimate, number, stated_against};
use fairtake_compare::{CheckResult, ComparisonFindings, Estimate, Findings, Outcome};
use std::fmt::Write;

/// Greatest width in columns.
const WIDTH: usize = 100;

/// Everything of a run in a few screens: design, checks that are not fair, levels, findings.
pub fn summary(findings: &Findings) -> String {
    let mut out = String::new();
    if let Some(title) = &findings.title {
        wrapped(&mut out, "", title);
        out.push('\n');
    }
    let standing: Vec<CheckResult> =
        findings.checks.iter().filter(|c| c.outcome != Outcome::Fair).cloned().collect();
    let n_fair = findings.checks.len() - standing.len();
    let _ = writeln!(out, "Checks: {n_fair} fair, {} to heed", standing.len());
    out.push_str(&to_heed(&standing));
    for c in &findings.comparisons {
        out.push('\n');
        comparison(&mut out, c);
    }
    out
}

/// Checks that are not fair: what several takes share is said once.
fn to_heed(standing: &[CheckResult]) -> String {
    let mut out = String::new();
    let alike =
        |a: &CheckResult, b: &CheckResult| (&a.code, a.outcome, &a.advice) == (&b.code, b.outcome, &b.advice);
    for (i, c) in standing.iter().enumerate() {
        if standing[..i].iter().any(|before| alike(before, c)) {
            continue;
        }
        let also: Vec<&str> =
            standing[i + 1..].iter().filter(|d| alike(c, d)).filter_map(|d| d.take.as_deref()).collect();
        let mut text = c.take.as_ref().map_or(String::new(), |t| format!("{t}: "));
        text.push_str(&c.text);
        if !also.is_empty() {
            let _ = write!(text, "; the like in {}", also.join(", "));
        }
        wrapped(
            &mut out,
            &format!("  {} {}: ", words::outcome(c.outcome), c.code),
            &format!("{text}; {}", c.advice),
        );
    }
    out
}

/// Checks, one paragraph each.
pub fn checks(checks: &[CheckResult]) -> String {
    let mut out = String::new();
    for c in checks {
        let outcome = words::outcome(c.outcome);
        let place = c.take.as_ref().map_or(String::new(), |t| format!("{t}: "));
        let advice = if c.outcome == Outcome::Fair { String::new() } else { format!("; {}", c.advice) };
        wrapped(&mut out, &format!("  {outcome} {}: ", c.code), &format!("{place}{}{advice}", c.text));
    }
    out
}

fn comparison(out: &mut String, c: &ComparisonFindings) {
    wrapped(out, "", &format!("{} against {} on {}", c.against, c.reference, c.source));
    wrapped(out, "  made     ", &format!("{}: {}", words::design(c.design), c.design_reason));
    wrapped(out, "  speaks of ", words::claim(c.claim));
    wrapped(
        out,
        "  counted  ",
        &format!(
            "{} {} ({:.1} and {:.1} effective); margin {} dB",
            c.counts.reference.events.min(c.counts.against.events),
            words::counted(c.unit),
            c.n_effective.reference,
            c.n_effective.against,
            c.margin_db
        ),
    );
    if let Some((s, mm)) = c.alignment.as_ref().and_then(|a| a.delay_s.zip(a.apparent_path_mm)) {
        let when = if mm.round() == 0.0 {
            "at the same time".to_string()
        } else {
            let side = if mm > 0.0 { "later" } else { "earlier" };
            format!("{:.3} ms {side}, as by {:.0} mm of path", s.abs() * 1000.0, mm.abs())
        };
        wrapped(out, "  arrives  ", &format!("{when}; phase response is in it"));
    }
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
            estimate(&m.difference_db, "dB")
        );
    }
    let gain = Estimate {
        estimate: c.level_match.gain_db,
        low: c.level_match.low,
        high: c.level_match.high,
        verdict: None,
    };
    let _ = writeln!(out, "  {:<14}{:>22}   {}\n", "match", "gain on against", estimate(&gain, "dB"));
    for f in &c.findings {
        wrapped(out, &format!("  {} ", words::mark(f.verdict)), &f.text);
    }
    out.push('\n');
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
    fn no_line_is_wider_than_the_terminal_and_no_word_is_lost() {
        let text = "one two three four five six seven eight nine ten ".repeat(12);
        let mut out = String::new();
        wrapped(&mut out, "  ? ", &text);
        assert!(out.lines().all(|l| l.chars().count() <= WIDTH));
        let words: Vec<&str> = out.trim_start_matches("  ? ").split_whitespace().collect();
        assert_eq!(words, text.split_whitespace().collect::<Vec<_>>());
    }

    #[test]
    fn what_several_takes_share_is_said_once() {
        let check = |code: &str, take: &str| CheckResult {
            code: code.into(),
            outcome: Outcome::Caution,
            take: Some(take.into()),
            comparison: None,
            measured: Some(1.0),
            limit: Some(0.0),
            unit: String::new(),
            text: format!("found in {take}"),
            advice: format!("mend the {code}"),
        };
        let said = to_heed(&[check("click", "one"), check("hum", "one"), check("click", "two")]);
        assert_eq!(
            said,
            "  caution click: one: found in one; the like in two; mend the click\n  caution hum: one: found in one; mend \
             the hum\n"
        );
    }
}
