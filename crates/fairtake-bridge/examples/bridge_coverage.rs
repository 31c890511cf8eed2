//! How often the upper limit of what remains lies below the truth: `bridge_coverage [N] [SEED]`. Prints a table.
//!
//! Draws N comparisons (200 unless said otherwise) of cells of the curve tier, fits each bridge, and holds what remains against
//! the true difference less the correction.

use fairtake_bridge::{Bridge, Wanted, bridge};
use fairtake_compare::{Claim, Settings};
use fairtake_virtual_studio::cells::{Cell, all_cells};
use fairtake_virtual_studio::coverage::on_all_cores;
use fairtake_virtual_studio::curve::draw_case;

/// Cells by their names: each design, one and more placements.
const CELLS: [&str; 7] = [
    "together percussive 1 placement 24 hits drawn",
    "in turn percussive 1 placement 24 hits drawn",
    "in turn percussive 2 placements 24 hits drawn",
    "in turn percussive 3 placements 24 hits drawn",
    "witness percussive 3 placements 24 hits drawn",
    "in turn percussive 5 placements 24 hits drawn",
    "in turn percussive 3 placements 24 hits identical",
];
const WANTED: Wanted = Wanted { most_boost_db: 12.0, most_bands: 6, rate_hz: 48_000.0 };

/// One band: width in octaves, true difference, correction, equaliser.
type Row = (f64, f64, f64, f64);

/// What one made comparison shows.
struct Shown {
    below: [bool; 2],
    upper_db: f64,
    true_db: [f64; 2],
    whole_db: f64,
    bands: usize,
    explained: Option<f64>,
    truly: f64,
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut args = std::env::args().skip(1);
    let n: usize = args.next().map_or(Ok(200), |a| a.parse())?;
    let seed: u64 = args.next().map_or(Ok(1), |a| a.parse())?;
    println!(
        "| cell | n | limit below the truth: correction | equaliser | median limit, dB | true rest: correction, dB | equaliser, dB \
         | difference, dB | bands | carried, said | carried, truly |"
    );
    println!("|---|---|---|---|---|---|---|---|---|---|---|");
    let cells = all_cells();
    for name in CELLS {
        let cell = cells.iter().find(|c| c.name == name).ok_or_else(|| format!("there is no cell {name}"))?;
        let shown: Vec<Shown> =
            on_all_cores(n, |i| one(cell, seed * 1_000_003 + i as u64)).into_iter().flatten().collect();
        let share = |k: usize| shown.iter().filter(|s| s.below[k]).count() as f64 / shown.len().max(1) as f64;
        let mid = |of: &dyn Fn(&Shown) -> f64| median(shown.iter().map(of).collect());
        let said: Vec<f64> = shown.iter().filter_map(|s| s.explained).collect();
        let truly = shown.iter().filter(|s| s.explained.is_some()).map(|s| s.truly).collect();
        println!(
            "| {name} | {} | {:.3} | {:.3} | {:.2} | {:.2} | {:.2} | {:.2} | {:.0} | {:.2} ({}) | {:.2} |",
            shown.len(),
            share(0),
            share(1),
            mid(&|s| s.upper_db),
            mid(&|s| s.true_db[0]),
            mid(&|s| s.true_db[1]),
            mid(&|s| s.whole_db),
            mid(&|s| s.bands as f64),
            median(said.clone()),
            said.len(),
            median(truly),
        );
    }
    Ok(())
}

fn one(cell: &Cell, seed: u64) -> Option<Shown> {
    let case = draw_case(cell, seed);
    let settings = Settings { seed, ..Settings::standard() };
    let made: Bridge = bridge(&case.tables, ["source", "a", "b"], &settings, &WANTED).ok()?;
    let truth = if made.claim == Claim::Microphones { &case.microphones } else { &case.these_takes };
    let place = |from_hz: f64| case.tables.bands.iter().position(|b| (b.from_hz - from_hz).abs() < 1e-9);
    let rows: Vec<Row> = made
        .bands
        .iter()
        .filter_map(|b| {
            Some((
                (b.to_hz / b.from_hz).log2(),
                truth.difference_db[place(b.from_hz)?],
                b.correction_db,
                b.equaliser_db,
            ))
        })
        .collect();
    let octaves: f64 = rows.iter().map(|r| r.0).sum();
    let rms =
        |of: &dyn Fn(&Row) -> f64| (rows.iter().map(|r| r.0 * of(r).powi(2)).sum::<f64>() / octaves).sqrt();
    let true_db = [rms(&|r| r.1 - r.2), rms(&|r| r.1 - r.3)];
    let limits = [made.after_correction.remaining_upper_db, made.after_equaliser.remaining_upper_db];
    let whole_db = rms(&|r| r.1);
    Some(Shown {
        below: [limits[0] < true_db[0], limits[1] < true_db[1]],
        upper_db: limits[1],
        true_db,
        whole_db,
        bands: made.equaliser.bands.len(),
        explained: made.after_equaliser.explained,
        truly: 1.0 - (true_db[1] / whole_db).powi(2),
    })
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(f64::NAN)
}
