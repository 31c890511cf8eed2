//! A small run of the coverage of responses and distortion; the whole one is an example.

#[path = "../examples/response_coverage/cells.rs"]
mod cells;

use cells::{CELLS, Held};

fn run(name: &str, trials: u64) -> Held {
    let (_, cell) = CELLS.into_iter().find(|(cell, _)| *cell == name).expect("a cell of this name");
    let mut held = Held::default();
    (0..trials).for_each(|seed| cell(seed, &mut held));
    assert!(held.halves > 0.0 && held.squares > 0.0);
    held
}

#[test]
fn the_95_percent_intervals_hold_about_95_of_100_truths_and_half_of_their_width_would_not() {
    for (name, trials) in [("one take, 35 dB above noise", 6), ("THD", 8)] {
        let held = run(name, trials);
        let n = held.ratios.len();
        assert!(n > 120, "{name}: {n}");
        // Noise is independent from point to point: 0.95 ± 0.02 with 120; more than three of that.
        assert!(held.share(1.0) > 0.88, "{name}: {}", held.share(1.0));
        // Exact for a normal law: 67 %, ± 4 %.
        assert!(held.share(0.5) < 0.80, "{name}: {}", held.share(0.5));
    }
}
