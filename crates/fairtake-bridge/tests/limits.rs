//! The upper limit of what remains, against comparisons whose truth is known. The long table: docs/methods/bridge.md.

use fairtake_bridge::{Wanted, bridge};
use fairtake_compare::{Claim, Settings};
use fairtake_virtual_studio::cells::all_cells;
use fairtake_virtual_studio::coverage::on_all_cores;
use fairtake_virtual_studio::curve::draw_case;

/// Comparisons of each cell.
const N: usize = 16;
/// Of 32 with 5 % each, more than 5 lie below in 1 of 100 (binomial: 1 − F(5; 32, 0.05) = 0.005).
const MOST: usize = 5;

#[test]
fn the_limit_lies_below_the_truth_no_oftener_than_it_says() {
    let wanted = Wanted { most_boost_db: 12.0, most_bands: 2, rate_hz: 48_000.0 };
    let (mut below, mut estimate_below, mut n) = (0, 0, 0);
    for name in
        ["together percussive 1 placement 24 hits drawn", "in turn percussive 3 placements 24 hits drawn"]
    {
        let cells = all_cells();
        let cell = cells.iter().find(|c| c.name == name).expect("the cell is there");
        let all = on_all_cores(N, |i| {
            let case = draw_case(cell, 900 + i as u64);
            let settings = Settings { seed: i as u64, resamples: 500, ..Settings::standard() };
            let made = bridge(&case.tables, ["s", "a", "b"], &settings, &wanted).expect("enough was drawn");
            let truth = if made.claim == Claim::Microphones { &case.microphones } else { &case.these_takes };
            let (mut sum, mut octaves) = (0.0, 0.0);
            for b in &made.bands {
                let place = case.tables.bands.iter().position(|t| t.from_hz == b.from_hz).expect("is there");
                let wide = (b.to_hz / b.from_hz).log2();
                sum += wide * (truth.difference_db[place] - b.correction_db).powi(2);
                octaves += wide;
            }
            let true_db = (sum / octaves).sqrt();
            let c = made.after_correction;
            (c.remaining_upper_db < true_db, c.remaining_rms_db < true_db)
        });
        n += all.len();
        below += all.iter().filter(|(limit, _)| *limit).count();
        estimate_below += all.iter().filter(|(_, estimate)| *estimate).count();
    }
    assert!(n == 2 * N && below <= MOST, "{below} of {n}");
    // The estimate itself, which knows nothing of how uncertain the difference is, would fail this.
    assert!(estimate_below > MOST, "{estimate_below} of {n}");
}
