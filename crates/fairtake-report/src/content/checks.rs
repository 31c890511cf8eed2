//! Is it fair? The checks that do not pass, the worst first.

use super::{Cell, Kind, Table, columns, heading};
use fairtake_compare::{CheckResult, Findings, Outcome};

/// Checks of one kind that do not pass.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Heeded {
    /// Their outcome.
    pub outcome: Outcome,
    /// Name of the check.
    pub name: String,
    /// What was found, one for each place.
    pub found: Vec<String>,
    /// What to do.
    pub advice: String,
}

/// How many checks are fair, as the first sentence of the section.
pub(crate) fn standing(findings: &Findings) -> String {
    let n_fair = findings.checks.iter().filter(|c| c.outcome == Outcome::Fair).count();
    if n_fair == findings.checks.len() {
        format!("All {n_fair} checks are fair.")
    } else {
        format!("{n_fair} of {} checks are fair. To heed:", findings.checks.len())
    }
}

/// Checks that do not pass, the worst first, those of one kind together.
pub(crate) fn heeded(findings: &Findings) -> Vec<Heeded> {
    let mut groups: Vec<Vec<&CheckResult>> = Vec::new();
    for c in findings.checks.iter().filter(|c| c.outcome != Outcome::Fair) {
        match groups.iter_mut().find(|g| g[0].code == c.code && g[0].outcome == c.outcome) {
            Some(group) => group.push(c),
            None => groups.push(vec![c]),
        }
    }
    groups.sort_by_key(|g| std::cmp::Reverse(g[0].outcome));
    let of = |group: Vec<&CheckResult>| Heeded {
        outcome: group[0].outcome,
        name: name(group[0]),
        found: group.iter().map(|c| format!("{}: {}.", place(findings, c), c.text)).collect(),
        advice: format!("What to do: {}.", group[0].advice),
    };
    groups.into_iter().map(of).collect()
}

/// Every check, or those that `which` lets through.
pub(crate) fn every_check(findings: &Findings, which: impl Fn(&CheckResult) -> bool) -> Table {
    let row = |c: &CheckResult| {
        vec![
            Cell::Outcome(c.outcome),
            name(c).into(),
            place(findings, c).into(),
            figure(c.measured).into(),
            figure(c.limit).into(),
            c.unit.as_str().into(),
            c.text.as_str().into(),
        ]
    };
    Table {
        caption: None,
        columns: columns([
            ("outcome", Kind::Keep),
            ("check", Kind::Keep),
            ("on", Kind::Keep),
            ("measured", Kind::Number),
            ("limit", Kind::Number),
            ("unit", Kind::Keep),
            ("found", Kind::Words),
        ]),
        rows: findings.checks.iter().filter(|c| which(c)).map(row).collect(),
    }
}

/// Checks that pass, each with how often.
pub(crate) fn fair(findings: &Findings) -> Vec<(String, usize)> {
    let mut out: Vec<(String, usize)> = Vec::new();
    for c in findings.checks.iter().filter(|c| c.outcome == Outcome::Fair) {
        match out.iter_mut().find(|(n, _)| *n == name(c)) {
            Some((_, n)) => *n += 1,
            None => out.push((name(c), 1)),
        }
    }
    out
}

fn name(c: &CheckResult) -> String {
    c.code.replace('_', " ")
}

/// What a check was made on.
fn place(findings: &Findings, c: &CheckResult) -> String {
    match (&c.take, c.comparison.and_then(|i| findings.comparisons.get(i))) {
        (Some(take), _) => take.clone(),
        (None, Some(pair)) => heading(findings, &pair.reference, &pair.against, &pair.source),
        (None, None) => "the whole".to_string(),
    }
}

/// The mark that goes with an outcome.
pub(crate) fn outcome_mark(o: Outcome) -> &'static str {
    match o {
        Outcome::Fair => "✓",
        Outcome::Caution => "!",
        Outcome::Unfair => "✕",
    }
}

/// A measured figure or limit.
pub(crate) fn figure(value: Option<f64>) -> String {
    value.map_or("unknown".to_string(), |v| {
        // Three figures say all that a check rests on.
        let decimals = [100.0, 10.0, 1.0, 0.1, 0.01].iter().filter(|from| v.abs() < **from).count();
        let text = format!("{v:.decimals$}");
        let short = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
        short.replace('-', "−")
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_are_short_and_have_a_true_minus() {
        let written = [Some(-3.5), Some(250.25), Some(0.012_345), Some(-17.46), Some(2.0), None].map(figure);
        assert_eq!(written, ["−3.5", "250", "0.0123", "−17.5", "2", "unknown"]);
    }
}
