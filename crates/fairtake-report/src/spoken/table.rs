//! The regions of one comparison as plain text in columns.

use super::names::{Pair, source};
use super::phrase::Form;
use crate::words::{hertz, interval, signed, verdict};
use fairtake_compare::{ComparisonFindings, Findings};

const HEAD: [&str; 5] = ["from", "to", "verdict", "difference, dB", "interval, dB"];

/// A heading, then one line for each region from low to high.
pub fn table(findings: &Findings, c: &ComparisonFindings) -> String {
    let pair = Pair::of(findings, c);
    let mut out = format!("{} against {}", pair.full_against, pair.full_reference);
    if findings.title.is_some() || findings.sources.len() > 1 {
        out.push_str(&format!("; the source: {}", source(findings, &c.source)));
    }
    let rows: Vec<[String; 5]> = c
        .regions
        .iter()
        .map(|r| {
            let unknown = || "unknown".to_string();
            [
                hertz(r.from_hz),
                hertz(r.to_hz),
                verdict(r.verdict).to_string(),
                r.difference_db.map_or_else(unknown, signed),
                r.low_db.zip(r.high_db).map_or_else(unknown, |(l, h)| interval(l, h)),
            ]
        })
        .collect();
    out.push_str(&format!(
        "\nmargin {}; intervals of {} over all regions\n\n",
        Form::Written.set_db(c.margin_db),
        Form::Written.percent(findings.settings.confidence)
    ));
    let width =
        |i: usize| rows.iter().map(|r| r[i].chars().count()).chain([HEAD[i].len()]).max().unwrap_or(0);
    let widths: Vec<usize> = (0..5).map(width).collect();
    let line = |cells: [&str; 5]| {
        let padded: Vec<String> =
            cells.iter().zip(&widths).enumerate().map(|(i, (cell, w))| aligned(i, cell, *w)).collect();
        format!("{}\n", padded.join("  ").trim_end())
    };
    out.push_str(&line(HEAD));
    for r in &rows {
        out.push_str(&line([&r[0], &r[1], &r[2], &r[3], &r[4]]));
    }
    out
}

/// Words to the left, numbers to the right.
fn aligned(column: usize, cell: &str, width: usize) -> String {
    if column == 2 { format!("{cell:<width$}") } else { format!("{cell:>width$}") }
}
