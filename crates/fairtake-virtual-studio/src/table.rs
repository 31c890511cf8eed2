//! The coverage table as it stands in the documents.

use crate::requirements::{CellResult, Held, OCTAVES, Rate};
use std::fmt::Write;

/// Columns that hold a requirement each.
const COLUMNS: [&str; 11] = [
    "pointwise",
    "simultaneous",
    "match",
    "levels",
    "regions",
    "edges",
    "peaks",
    "settled",
    "false different",
    "wrong sign",
    "wrong alike",
];

/// One row per cell; a failing figure is printed bold.
pub fn table(results: &[CellResult]) -> String {
    let mut out = String::from("| cell | n | width | unknown | pointwise | worst octave |");
    COLUMNS[1..].iter().for_each(|c| out += &format!(" {c} |"));
    out += " power (oracle) |\n|---|";
    out += &"---|".repeat(COLUMNS.len() + 5);
    out += "\n";
    for r in results {
        let width = r.width_ratio.map_or("–".to_string(), |w| format!("{w:.2}"));
        let _ = write!(out, "| {} | {} | {width} | {:.2} |", r.name, r.n, r.unknown_share);
        let _ = write!(out, " {} | {} |", figure(r, "pointwise"), worst_octave(r));
        COLUMNS[1..].iter().for_each(|c| out += &format!(" {} |", figure(r, c)));
        let oracle = r.oracle_power.map_or(String::new(), |o| format!(" ({o:.2})"));
        let _ = writeln!(out, " {}{oracle} |", figure(r, "power"));
    }
    out
}

fn figure(r: &CellResult, what: &str) -> String {
    match r.requirement(what) {
        Some(held) => shown(held),
        None => "–".to_string(),
    }
}

fn shown(held: &Held) -> String {
    match held.rate {
        None => "–".to_string(),
        Some(Rate { rate, .. }) if held.holds() => format!("{rate:.3}"),
        Some(Rate { rate, low, high, .. }) => format!("**{rate:.3}** ({low:.3}–{high:.3})"),
    }
}

/// The octave in which the coverage is furthest outside or nearest to its limits.
fn worst_octave(r: &CellResult) -> String {
    let margin = |h: &&Held| h.rate.map_or(f64::INFINITY, |x| (x.rate - h.least).min(h.most - x.rate));
    OCTAVES
        .iter()
        .filter_map(|o| r.requirement(o))
        .min_by(|a, b| margin(a).total_cmp(&margin(b)))
        .filter(|h| h.rate.is_some())
        .map_or("–".to_string(), |h| format!("{} {}", shown(h), h.what.trim_start_matches("from ")))
}

/// Every failing requirement, and for each kind of requirement the cell that comes nearest to failing.
pub fn worst(results: &[CellResult]) -> String {
    let mut out = String::new();
    for r in results {
        for h in r.held.iter().filter(|h| !h.holds()) {
            let _ = writeln!(out, "FAILS: {}: {} {}", r.name, h.what, shown(h));
        }
    }
    let kinds = COLUMNS.into_iter().chain(OCTAVES).chain(["power"]);
    for what in kinds {
        // How far inside the limit the rate lies, in half-widths of its interval.
        let room = |h: &Held| {
            h.rate.map_or(f64::INFINITY, |r| {
                let below = (r.rate - h.least) / (r.high - r.rate).max(1e-9);
                let above = (h.most - r.rate) / (r.rate - r.low).max(1e-9);
                match (h.least > 0.0, h.most < 1.0) {
                    (true, true) => below.min(above),
                    (true, false) => below,
                    (false, true) => above,
                    (false, false) => f64::INFINITY,
                }
            })
        };
        let nearest = results
            .iter()
            .filter_map(|r| r.requirement(what).map(|h| (r, h)))
            .filter(|(_, h)| room(h).is_finite())
            .min_by(|a, b| room(a.1).total_cmp(&room(b.1)));
        if let Some((r, h)) = nearest {
            let rate = h.rate.map_or(f64::NAN, |r| r.rate);
            let _ = writeln!(out, "{what}: {rate:.3} in {} ({:.2}–{:.2} required)", r.name, h.least, h.most);
        }
    }
    out
}

/// Coverage of the conditional interval by size of the allowance.
pub fn allowance_table(results: &[CellResult]) -> String {
    let mut out = String::from("| cell | half | as it stands | twice |\n|---|---|---|---|\n");
    for r in results.iter().filter(|r| r.conditional.iter().any(Option::is_some)) {
        let shown = r.conditional.map(|c| c.map_or("–".to_string(), |c| format!("{:.3}", c.rate)));
        let _ = writeln!(out, "| {} | {} |", r.name, shown.join(" | "));
    }
    out
}

/// Rendered cells beside their twins of the curve tier, by what both can be held against.
pub fn agreement(pairs: &[(CellResult, CellResult)]) -> String {
    const WHAT: [&str; 4] = ["pointwise", "simultaneous", "match", "regions"];
    let mut out = String::from("| rendered cell | n | n of the curve tier |");
    WHAT.iter().for_each(|w| out += &format!(" {w} |"));
    out += "\n|---|---|---|---|---|---|---|\n";
    for (rendered, curve) in pairs {
        let _ = write!(out, "| {} | {} | {} |", rendered.name, rendered.n, curve.n);
        for what in WHAT {
            let cell = match (rendered.rate(what), curve.rate(what)) {
                (Some(a), Some(b)) => {
                    let agree = if agree(a, b) { "" } else { " **differ**" };
                    format!("{:.3} / {:.3}{agree}", a.rate, b.rate)
                }
                (Some(a), None) => format!("{:.3} / –", a.rate),
                _ => "–".to_string(),
            };
            let _ = write!(out, " {cell} |");
        }
        out += "\n";
    }
    out
}

/// Two rates agree when they differ by no more than both their 99 % errors towards each other, added as errors are.
fn agree(a: Rate, b: Rate) -> bool {
    let (low, high) = if a.rate < b.rate { (a, b) } else { (b, a) };
    high.rate - low.rate <= (low.high - low.rate).hypot(high.rate - high.low)
}
