//! Runs the coverage experiment on cells whose name holds the first argument, with as many comparisons as the
//! second says, and prints one line per cell.

use fairtake_compare::Settings;
use fairtake_virtual_studio::{cells::all_cells, coverage::run_cell};

fn main() {
    let part = std::env::args().nth(1).unwrap_or_default();
    let n = std::env::args().nth(2).and_then(|n| n.parse().ok()).unwrap_or(100);
    for cell in all_cells().iter().filter(|c| c.name.contains(&part)) {
        let start = std::time::Instant::now();
        let result = run_cell(cell, n, 1, &Settings::standard(), 1.0);
        print!(
            "{:55} {} w {:.2} u {:.2}",
            result.name,
            if result.holds() { "ok  " } else { "FAIL" },
            result.width_ratio.unwrap_or(f64::NAN),
            result.unknown_share
        );
        for h in &result.held {
            if let Some(r) = h.rate {
                let name: String = h.what.chars().filter(|c| !c.is_whitespace()).collect();
                print!(" {}{} {:.3}", if h.holds() { "" } else { "!" }, name.replace("from", ""), r.rate);
            }
        }
        println!("  {:.1} ms", start.elapsed().as_secs_f64() * 1e3 / n as f64);
    }
}
