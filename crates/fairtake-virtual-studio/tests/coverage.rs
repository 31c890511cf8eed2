//! The small coverage run: few cells, fixed seeds, limits from the binomial interval; and proof that it can fail.

use fairtake_compare::Settings;
use fairtake_virtual_studio::cells::{Cell, all_cells};
use fairtake_virtual_studio::coverage::run_cell;

fn cell(name: &str) -> Cell {
    all_cells().into_iter().find(|c| c.name == name).expect("the cell exists")
}

#[test]
fn intervals_hold_for_takes_recorded_together_in_turn_and_placed_again() {
    for name in [
        "together percussive 1 placement 24 hits drawn",
        "in turn percussive 1 placement 24 hits drawn",
        "in turn percussive 3 placements 24 hits identical",
    ] {
        let result = run_cell(&cell(name), 60, 11, &Settings::standard(), 1.0);
        assert!(result.holds(), "{result:?}");
        assert!(result.rate("pointwise").is_some_and(|r| r.n == 60), "every comparison counts");
    }
}

#[test]
fn intervals_shrunk_by_a_fifth_are_noticed() {
    let all = cell("together percussive 1 placement 24 hits drawn");
    let result = run_cell(&Cell { also: Vec::new(), ..all }, 100, 11, &Settings::standard(), 0.8);
    let pointwise = result.held.iter().find(|h| h.what == "pointwise").expect("it is required");
    assert!(!pointwise.holds(), "{pointwise:?}");
}

#[test]
fn the_same_seed_makes_the_same_case() {
    let cell = cell("witness percussive 1 placement 8 hits drawn");
    let twice = [1, 1].map(|seed| fairtake_virtual_studio::curve::draw_case(&cell, seed).tables);
    assert_eq!(twice[0], twice[1]);
}
