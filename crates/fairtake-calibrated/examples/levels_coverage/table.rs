//! Rows of the coverage table.

use fairtake_calibrated::Quantity;
use std::fmt::Write;

/// One row: a figure, many made measurements of it.
pub struct Row {
    name: String,
    held: u64,
    n: u64,
    unknown: u64,
    away: Vec<f64>,
    halves: Vec<f64>,
}

impl Row {
    /// An empty row.
    pub fn new(name: impl Into<String>) -> Row {
        Row { name: name.into(), held: 0, n: 0, unknown: 0, away: Vec::new(), halves: Vec::new() }
    }

    /// Whether there was anything to count.
    pub fn is_filled(&self) -> bool {
        self.n + self.unknown > 0
    }

    /// What the row is of.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// How many measurements gave a value and an interval.
    pub fn n(&self) -> u64 {
        self.n
    }

    /// Share of intervals that hold.
    pub fn share(&self) -> f64 {
        self.held as f64 / self.n as f64
    }

    /// Takes in a measurement; what is unknown is counted apart.
    pub fn add(&mut self, found: Option<&Quantity>, truth: f64) {
        let Some((value, half)) = found.and_then(|q| Some((q.value, q.half?))) else {
            self.unknown += 1;
            return;
        };
        self.n += 1;
        self.held += u64::from((value - truth).abs() <= half);
        self.away.push(value - truth);
        self.halves.push(half);
    }
}

/// Rows as they stand in the documents: share of intervals that hold, how wide they are, how far off values lie.
pub fn table(rows: &[Row]) -> String {
    let mut out = String::from(
        "| figure | n | unknown | intervals that hold | median half width | mean error | spread |\n|---|---|---|---|---|---|---|\n",
    );
    for row in rows {
        if row.n() == 0 {
            let _ = writeln!(out, "| {} | 0 | {} | – | – | – | – |", row.name(), row.unknown);
            continue;
        }
        let n = row.n as f64;
        let mean = row.away.iter().sum::<f64>() / n;
        let spread = (row.away.iter().map(|a| (a - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt();
        let mut halves = row.halves.clone();
        halves.sort_by(f64::total_cmp);
        let half = halves.get(halves.len() / 2).copied().unwrap_or(f64::NAN);
        let _ = writeln!(
            out,
            "| {} | {} | {} | {:.3} | {half:.3} | {mean:+.3} | {spread:.3} |",
            row.name,
            row.n,
            row.unknown,
            row.share()
        );
    }
    out
}
