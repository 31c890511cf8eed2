//! What is said of regions: where they differ, where they are alike, and what is not known.

use super::Length;
use super::fit::{Need, Pieces};
use super::names::Pair;
use super::phrase::{Form, MUCH, spans, start};
use crate::words::number_of;
use fairtake_compare::{ComparisonFindings, Region, SettleReason, Unit, Verdict};

/// From twice the margin on a difference is said however little time there is.
const ALWAYS_SAID: f64 = 2.0;

/// Regions of one verdict.
fn with(c: &ComparisonFindings, verdict: Verdict) -> Vec<&Region> {
    c.regions.iter().filter(|r| r.verdict == verdict).collect()
}

/// Different ones, the largest first.
fn different(c: &ComparisonFindings) -> Vec<(&Region, f64)> {
    let mut list: Vec<(&Region, f64)> =
        with(c, Verdict::Different).into_iter().filter_map(|r| Some((r, r.difference_db?))).collect();
    list.sort_by(|a, b| b.1.abs().total_cmp(&a.1.abs()));
    list
}

/// True where not one region could be judged.
pub(super) fn nothing_judged(c: &ComparisonFindings) -> bool {
    c.regions.iter().all(|r| r.verdict == Verdict::OutOfRange)
}

/// Whether each sentence names its subject.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Words {
    /// Every one.
    Full,
    /// The first one.
    Few,
}

/// How many differences there are, and each of them.
pub(super) fn differences(out: &mut Pieces, form: Form, pair: &Pair, c: &ComparisonFindings, words: Words) {
    out.must(format!("{}.", start(&how_many(different(c).len()))));
    each_difference(out, form, pair, c, words);
}

fn how_many(n: usize) -> String {
    match n {
        0 => "no region is shown to differ".to_string(),
        1 => "they differ in one region".to_string(),
        n => format!("they differ in {n} regions"),
    }
}

/// Each difference, the largest first; how many of them are not said.
pub(super) fn each_difference(
    out: &mut Pieces,
    form: Form,
    pair: &Pair,
    c: &ComparisonFindings,
    words: Words,
) {
    for (rank, (r, d)) in different(c).iter().enumerate() {
        let always = d.abs() >= ALWAYS_SAID * c.margin_db;
        let need = if always { Need::Must } else { Need::Difference(rank) };
        out.say(need, difference(form, pair, c, r, *d, rank == 0, words));
    }
    out.say(Need::Unsaid, "");
}

fn difference(
    form: Form,
    pair: &Pair,
    c: &ComparisonFindings,
    r: &Region,
    d: f64,
    first: bool,
    words: Words,
) -> String {
    let subject =
        if first || words == Words::Full { format!("{} has ", pair.against) } else { String::new() };
    let other = if first { format!(" than {}", pair.reference) } else { String::new() };
    let bounds = r.low_db.zip(r.high_db);
    let nearer = bounds.map_or(0.0, |(low, high)| if d > 0.0 { low } else { -high });
    let doubt = if nearer <= c.margin_db { ", perhaps within the margin" } else { "" };
    format!(
        "{}, {subject}{}{other}{}{doubt}.",
        start(&form.span(r.from_hz, r.to_hz)),
        MUCH.amount(form, d, ""),
        MUCH.between(d, bounds)
    )
}

/// Where they are alike; nothing where they nowhere are.
pub(super) fn alike(form: Form, c: &ComparisonFindings, length: Length) -> String {
    let list = with(c, Verdict::Alike);
    if list.is_empty() {
        return String::new();
    }
    format!("Alike within {}{}", form.set_db(c.margin_db), listed(form, &list, length))
}

/// What was judged and stays open.
pub(super) fn undecided(form: Form, c: &ComparisonFindings, length: Length) -> String {
    let list = with(c, Verdict::Undecided);
    if list.is_empty() {
        return String::new();
    }
    format!("Undecided{}", listed(form, &list, length))
}

/// What could not be judged.
pub(super) fn not_judged(form: Form, c: &ComparisonFindings, length: Length) -> String {
    let list = with(c, Verdict::OutOfRange);
    if nothing_judged(c) {
        "Nothing could be judged: all of it is too near the noise, or not resolved.".to_string()
    } else if list.is_empty() {
        String::new()
    } else {
        format!("Too near the noise, or not resolved{}", listed(form, &list, length))
    }
}

/// All of them, or how many and the widest: `: from … to …, and from … to ….`.
fn listed(form: Form, list: &[&Region], length: Length) -> String {
    let most = if length == Length::Minute { 3 } else { 8 };
    if list.len() <= most {
        let all: Vec<String> = list.iter().map(|r| form.span(r.from_hz, r.to_hz)).collect();
        return format!(": {}.", spans(&all));
    }
    let width = |r: &Region| r.to_hz / r.from_hz;
    let widest = list.iter().max_by(|a, b| width(a).total_cmp(&width(b)));
    let widest = widest.map_or(String::new(), |r| form.span(r.from_hz, r.to_hz));
    format!(": {} regions, the widest of them {widest}.", list.len())
}

/// How many regions have which verdict.
pub(super) fn tally(c: &ComparisonFindings) -> String {
    if nothing_judged(c) {
        return "Nothing could be judged: all of it is too near the noise, or not resolved.".to_string();
    }
    let n = |v| with(c, v).len();
    let verb = |n: usize, one: &str, many: &str| format!("{n} {}", if n == 1 { one } else { many });
    let mut said = vec![how_many(n(Verdict::Different))];
    for (v, one, many) in [
        (Verdict::Alike, "is alike", "are alike"),
        (Verdict::Undecided, "is undecided", "are undecided"),
        (Verdict::OutOfRange, "is out of range", "are out of range"),
    ] {
        said.extend(Some(n(v)).filter(|n| *n > 0).map(|n| verb(n, one, many)));
    }
    format!("{}.", start(&spans(&said)))
}

/// What would settle the undecided regions: one sentence for each that can be, one for each reason why not.
pub(super) fn settling(form: Form, c: &ComparisonFindings) -> Vec<String> {
    let mut out = Vec::new();
    let mut stuck =
        [(SettleReason::NearMargin, 0), (SettleReason::OutOfReach, 0), (SettleReason::Allowance, 0)];
    for r in with(c, Verdict::Undecided) {
        let Some(s) = &r.settle else { continue };
        let more = match (s.placements, s.events) {
            (Some(n), _) => number_of(n as usize, "placement"),
            (None, Some(n)) => format!("{n} {}", c.unit.words(n)),
            (None, None) => {
                // Reachable without a number does not occur; it is told as the other open ones.
                let reason =
                    if s.reason == SettleReason::Reachable { SettleReason::NearMargin } else { s.reason };
                stuck.iter_mut().filter(|(of, _)| *of == reason).for_each(|(_, n)| *n += 1);
                continue;
            }
        };
        let what = if r.low_db.is_none() { "it takes" } else { "most of it should be settled by" };
        let end = if r.low_db.is_none() { " to know anything" } else { "" };
        out.push(format!("{}, {what} {more} per microphone{end}.", start(&form.span(r.from_hz, r.to_hz))));
    }
    let enough = if c.unit == Unit::Placement {
        "20 placements".to_string()
    } else {
        format!("500 {}", c.unit.words(500))
    };
    for (reason, n) in stuck.into_iter().filter(|(_, n)| *n > 0) {
        let regions =
            if n == 1 { "One undecided region".to_string() } else { format!("{n} undecided regions") };
        let is = if n == 1 { "is" } else { "are" };
        out.push(match reason {
            SettleReason::OutOfReach => {
                format!("{regions} would take more than {enough} per microphone at this spread.")
            }
            SettleReason::Allowance => {
                format!("{regions} cannot be settled by more {}: placing again, or the noise, may change as much.", c.unit.words(2))
            }
            _ => format!("{regions} {is} too near the margin for more recording to settle."),
        });
    }
    out
}
