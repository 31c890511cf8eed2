//! What speaks against a comparison: takes that were left out and why, and cautions that stand.

use super::fit::{Need, Pieces};
use super::names::{mic, one_line, source, takes_of};
use super::phrase::{Form, list, readable, start};
use super::{About, Length};
use crate::words::number_of;
use fairtake_compare::{CheckResult, Findings, Outcome, TakeEntry};

/// Takes of one group are named up to here, then counted.
const MOST_NAMED: usize = 6;
/// Checks of one kind are spelt out up to here.
const SPELT_OUT: usize = 2;

/// A short name for what a check found, and whether it is about takes.
pub(super) fn short_name(code: &str) -> String {
    match code {
        "clipped" => "clipping",
        "level_low" => "a low recording level",
        "wrong_channel" => "perhaps a wrong channel",
        "dc" => "an offset from zero",
        "snr_unknown" => "noise that could not be measured",
        "lossy" => "lossy coding",
        "too_few_events" => "few events",
        "dropout" => "dropouts",
        "repeated_buffer" => "repeated buffers",
        "click" => "clicks",
        "hum" => "hum",
        "rates_differ" => "sampling rates that differ",
        "word_length_differs" => "word lengths that differ",
        "same_file_twice" => "one file for both",
        "dual_mono" => "the same samples twice",
        "few_placements" => "few placements",
        "chain_differs" => "a recording chain that differs",
        "snr_low" => "a low signal-to-noise ratio",
        "polarity" => "polarity",
        "limiting" => "limiting",
        "strength_differs" => "playing of differing strength",
        "order_drift" => "a drift over the order of takes",
        "distance" => "a distance that may differ",
        "design_uncertain" => "a design that could not be told",
        other => return other.replace('_', " "),
    }
    .to_string()
}

/// Takes and checks that a text is about.
struct Scope<'a> {
    findings: &'a Findings,
    about: About,
}

impl<'a> Scope<'a> {
    fn takes(&self) -> Vec<&'a TakeEntry> {
        match self.about {
            About::Whole => self.findings.takes.iter().collect(),
            About::Pair(i) => match self.findings.comparisons.get(i) {
                Some(c) => takes_of(self.findings, c).collect(),
                None => Vec::new(),
            },
        }
    }

    /// Checks that are not fair: those on the takes, and those on the pair.
    fn standing(&self) -> Vec<&'a CheckResult> {
        let takes = self.takes();
        let concerns = |c: &&CheckResult| match (&c.take, c.comparison, self.about) {
            (.., About::Whole) => true,
            (Some(id), ..) => takes.iter().any(|t| t.id == *id),
            (None, Some(i), About::Pair(pair)) => i == pair,
            (None, None, _) => true,
        };
        self.findings.checks.iter().filter(|c| c.outcome != Outcome::Fair).filter(concerns).collect()
    }
}

/// Everything to heed.
pub(super) fn heed(out: &mut Pieces, form: Form, findings: &Findings, about: About, length: Length) {
    let scope = Scope { findings, about };
    let standing = scope.standing();
    for sentence in left_out(&scope, &standing) {
        out.must(sentence);
    }
    // What is unfair in a take has been told with the take.
    let told = |c: &CheckResult| c.outcome == Outcome::Unfair && c.take.is_some();
    let groups = grouped(standing.into_iter().filter(|c| !told(c)).collect());
    if groups.is_empty() {
        out.must("No caution stands.");
        return;
    }
    let said: Vec<String> = groups.iter().map(|g| counted(g)).collect();
    let verb =
        if groups.len() == 1 && groups[0].len() == 1 { "One caution stands" } else { "Cautions stand" };
    out.must(format!("{verb}: {}.", list(&said)));
    if length == Length::ThreeMinutes {
        for (i, g) in groups.iter().enumerate() {
            let text: Vec<String> = g.iter().take(SPELT_OUT).map(|c| spelt(form, &scope, c)).collect();
            out.say(Need::May(10 + i), text.join(" "));
        }
    }
}

/// Takes that were left out, and takes that were kept although they are unfair, together by microphone and reason.
fn left_out(scope: &Scope, standing: &[&CheckResult]) -> Vec<String> {
    let mut groups: Vec<(Group, Vec<&TakeEntry>)> = Vec::new();
    for take in scope.takes() {
        let mut why: Vec<String> = standing
            .iter()
            .filter(|c| c.outcome == Outcome::Unfair && c.take.as_ref() == Some(&take.id))
            .map(|c| short_name(&c.code))
            .collect();
        why.dedup();
        if !take.left_out && why.is_empty() {
            continue;
        }
        let key = Group { left_out: take.left_out, mic: take.mic.clone(), source: take.source.clone(), why };
        match groups.iter_mut().find(|(k, _)| *k == key) {
            Some((_, takes)) => takes.push(take),
            None => groups.push((key, vec![take])),
        }
    }
    let several = scope.findings.sources.len() > 1 && scope.about == About::Whole;
    let sentence = |(group, takes): &(Group, Vec<&TakeEntry>)| {
        let named: Vec<String> = takes.iter().take(MOST_NAMED).map(|t| place(t)).collect();
        let more = takes.len().saturating_sub(MOST_NAMED);
        let named = if more > 0 { format!("{}, and {more} more", named.join(", ")) } else { list(&named) };
        let on = if several {
            format!(" on “{}”", source(scope.findings, &group.source))
        } else {
            String::new()
        };
        let what = if group.left_out { "Left out as unfair" } else { "Unfair, and kept on request" };
        let why = match group.why.as_slice() {
            [] => "a reason that is not stated".to_string(),
            why => list(why),
        };
        format!("{what}, for {why}: {}{on}, {named}.", mic(scope.findings, &group.mic))
    };
    groups.iter().map(sentence).collect()
}

/// Takes that share a fate.
#[derive(PartialEq)]
struct Group {
    left_out: bool,
    mic: String,
    source: String,
    why: Vec<String>,
}

/// Which take of its microphone and source.
fn place(take: &TakeEntry) -> String {
    format!("pass {} at placement {}", take.performance, take.placement)
}

/// Checks of one kind together, the worst first.
fn grouped(checks: Vec<&CheckResult>) -> Vec<Vec<&CheckResult>> {
    let mut out: Vec<Vec<&CheckResult>> = Vec::new();
    for c in checks {
        match out.iter_mut().find(|g| g[0].code == c.code && g[0].outcome == c.outcome) {
            Some(group) => group.push(c),
            None => out.push(vec![c]),
        }
    }
    out.sort_by_key(|g| std::cmp::Reverse(g[0].outcome));
    out
}

/// `hum in 2 takes`, `few placements`.
fn counted(group: &[&CheckResult]) -> String {
    let n_takes = group.iter().filter(|c| c.take.is_some()).count();
    let n_pairs = group.len() - n_takes;
    let name = short_name(&group[0].code);
    match (n_takes, n_pairs) {
        (0, 1) => name,
        (0, n) => format!("{name} in {n} comparisons"),
        (n, _) => format!("{name} in {}", number_of(n, "take")),
    }
}

/// One check in its own words.
fn spelt(form: Form, scope: &Scope, c: &CheckResult) -> String {
    let take = c.take.as_ref().and_then(|id| scope.findings.takes.iter().find(|t| t.id == *id));
    let on = take.map_or(String::new(), |t| format!(", {}, {}", mic(scope.findings, &t.mic), place(t)));
    format!("{}{on}: {}.", start(&short_name(&c.code)), readable(form, &one_line(&c.text)))
}
