//! How often the intervals of responses, drift and distortion hold the truth, on drawn devices.
//!
//! usage: `response_coverage [TRIALS] [SEED] [CELL]`. Prints a table; only cells whose name begins so. Minutes.

mod cells;

use cells::{CELLS, Held};

fn main() {
    let number = |i: usize, other: u64| std::env::args().nth(i).and_then(|a| a.parse().ok()).unwrap_or(other);
    let (trials, seed) = (number(1, 100), number(2, 1));
    println!(
        "| what is measured | trials | intervals | hold the truth | mean half width | root mean square error |"
    );
    println!("|---|---|---|---|---|---|");
    let only = std::env::args().nth(3).unwrap_or_default();
    for (name, cell) in CELLS.into_iter().filter(|(name, _)| name.starts_with(&only)) {
        let mut held = Held::default();
        (0..trials).for_each(|i| cell(seed * 1_000_000 + i, &mut held));
        let n = held.ratios.len();
        println!(
            "| {name} | {trials} | {} | {:.1} % | {:.4} | {:.4} |",
            n,
            100.0 * held.share(1.0),
            held.halves / n as f64,
            (held.squares / n as f64).sqrt()
        );
    }
}
