//! The coverage experiment: `coverage curve|audio FOLDER [N] [SEED] [PART OF A CELL'S NAME]`.
//!
//! Makes N comparisons (1,000 unless said otherwise) in every cell of a tier, on all cores, all cells evenly. What was
//! found is kept in FOLDER, a file per cell, replaced as a whole every few comparisons; started again it goes on from
//! there. Progress goes to stderr; at the end the table stands on stdout. With N = 0 it is the table of what is there.

mod store;

use fairtake_compare::{Comparison, Settings, compare, judge};
use fairtake_virtual_studio::cells::{Cell, all_cells};
use fairtake_virtual_studio::coverage::score_one;
use fairtake_virtual_studio::requirements::{CellResult, collect};
use fairtake_virtual_studio::scene::{AudioCell, audio_case, audio_cells};
use fairtake_virtual_studio::score::{CaseScore, score};
use fairtake_virtual_studio::table::{agreement, allowance_table, table, worst};
use std::path::{Path, PathBuf};
use store::Part;

/// One cell of either tier.
enum Work {
    Curve(Cell),
    Audio(AudioCell, Cell),
}

impl Work {
    fn name(&self) -> &str {
        match self {
            Work::Curve(cell) => &cell.name,
            Work::Audio(cell, _) => &cell.name,
        }
    }

    /// Makes, judges and scores comparison number `i`.
    fn score(&self, i: usize, seed: u64) -> CaseScore {
        match self {
            Work::Curve(cell) => score_one(cell, i, seed, &Settings::standard(), 1.0),
            Work::Audio(cell, _) => score_rendered(cell, i, seed),
        }
    }

    fn collect(&self, scores: &[CaseScore]) -> CellResult {
        match self {
            Work::Curve(cell) => collect(cell, scores),
            Work::Audio(cell, twin) => CellResult { name: cell.name.clone(), ..collect(twin, scores) },
        }
    }
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut args = std::env::args().skip(1);
    let tier = args.next().ok_or("state the tier: curve or audio")?;
    let folder = PathBuf::from(args.next().ok_or("state a folder for what is found")?);
    let n: usize = args.next().map_or(Ok(1000), |a| a.parse())?;
    let seed: u64 = args.next().map_or(Ok(1), |a| a.parse())?;
    let name = args.next().unwrap_or_default();
    let work: Vec<Work> = match tier.as_str() {
        "curve" => all_cells().into_iter().map(Work::Curve).collect(),
        "audio" => rendered(),
        other => return Err(format!("there is no tier {other}: curve or audio").into()),
    };
    let mut parts = Vec::new();
    for work in work.into_iter().filter(|w| w.name().contains(&name)) {
        parts.push(Part::read(&folder, work, seed)?);
    }
    store::fill(&mut parts, n)?;
    let results: Vec<CellResult> = parts.iter().map(|p| p.work.collect(&p.scores)).collect();
    println!("{}\n{}", table(&results), worst(&results));
    match tier.as_str() {
        "curve" => println!("{}", allowance_table(&results)),
        _ => println!("{}", agreement(&with_twins(&folder, &parts, &results, seed)?)),
    }
    Ok(())
}

fn rendered() -> Vec<Work> {
    let twins = all_cells();
    audio_cells()
        .into_iter()
        .filter_map(|cell| {
            let twin = twins.iter().find(|t| t.name == cell.twin)?.clone();
            Some(Work::Audio(cell, twin))
        })
        .collect()
}

/// Every rendered cell beside what the same folder holds of the curve tier's cell of its kind.
fn with_twins(
    folder: &Path,
    parts: &[Part],
    results: &[CellResult],
    seed: u64,
) -> Result<Vec<(CellResult, CellResult)>, String> {
    let mut out = Vec::new();
    for (part, result) in parts.iter().zip(results) {
        if let Work::Audio(_, twin) = &part.work {
            let of_twin = Part::read(folder, Work::Curve(twin.clone()), seed)?;
            out.push((result.clone(), collect(twin, &of_twin.scores)));
        }
    }
    Ok(out)
}

/// A rendered comparison through the whole program; then the tables that it made are judged and scored as those of the
/// curve tier are.
fn score_rendered(cell: &AudioCell, i: usize, seed: u64) -> CaseScore {
    let case = audio_case(cell, seed.wrapping_mul(1_000_003).wrapping_add(i as u64));
    let settings = cell.settings(i as u64);
    let asked = Comparison {
        reference: None,
        pair: None,
        source: None,
        recognised: None,
        version: "coverage".into(),
    };
    let made = compare(&case.in_memory(), &case.shootout(), &settings, &asked);
    let made = made.expect("what was rendered can be compared");
    let tables = made.tables.first().expect("two microphones were rendered");
    score(&case.scored_as(tables), &judge(tables, &settings, None), settings.margin_db, 1.0)
}
