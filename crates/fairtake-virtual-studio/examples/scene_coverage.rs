//! How often the findings on rendered takes hold the known answer: `scene_coverage N [FIRST_SEED]`, N scenes of four
//! comparisons each. About four seconds a scene.

use fairtake_compare::{Comparison, Settings, Verdict, compare};
use fairtake_virtual_studio::scene::scene;
use std::collections::BTreeMap;

/// Counts over scenes for one source.
#[derive(Default)]
struct Row {
    comparisons: u32,
    all_held: u32,
    bands: u32,
    held: u32,
    wrong_sign: u32,
    match_held: u32,
    half_widths_db: Vec<f64>,
}

fn main() {
    let mut args = std::env::args().skip(1).filter_map(|a| a.parse::<u64>().ok());
    let (n, first) = (args.next().unwrap_or(5), args.next().unwrap_or(1000));
    let asked = Comparison {
        reference: None,
        pair: None,
        source: None,
        recognised: None,
        version: "coverage".into(),
    };
    let mut rows: BTreeMap<String, Row> = BTreeMap::new();
    for seed in first..first + n {
        let scene = scene(seed);
        let made = compare(&scene.in_memory(), &scene.shootout(), &Settings::standard(), &asked);
        let findings = made.expect("the scene compares").findings;
        for truth in &scene.truths {
            let Some(c) = findings.comparisons.iter().find(|c| c.source == truth.source) else { continue };
            let row = rows.entry(truth.source.clone()).or_default();
            row.comparisons += 1;
            let mut missed = false;
            let mut wrong = false;
            for b in &c.bands {
                let Some(answer) = truth.difference_db(b.from_hz, b.to_hz) else { continue };
                let (Some(low), Some(high)) = (b.low_db, b.high_db) else { continue };
                row.bands += 1;
                row.held += u32::from(low <= answer && answer <= high);
                row.half_widths_db.push((high - low) / 2.0);
                let joint = b.simultaneous_low_db.zip(b.simultaneous_high_db);
                missed |= joint.is_some_and(|(l, h)| answer < l || answer > h);
                wrong |= b.verdict == Verdict::Different && b.difference_db.is_some_and(|d| d * answer < 0.0);
            }
            row.all_held += u32::from(!missed);
            row.wrong_sign += u32::from(wrong);
            let gain = truth.match_gain_db();
            let held = c.level_match.low.zip(c.level_match.high).is_some_and(|(l, h)| l <= gain && gain <= h);
            row.match_held += u32::from(held);
        }
        eprintln!("seed {seed}");
    }
    println!(
        "| source | comparisons | all bands held at once | bands held | match held | wrong sign | median half-width |"
    );
    println!("|---|---|---|---|---|---|---|");
    for (source, mut r) in rows {
        r.half_widths_db.sort_by(f64::total_cmp);
        println!(
            "| {source} | {} | {} | {:.3} | {} | {} | {:.2} dB |",
            r.comparisons,
            r.all_held,
            f64::from(r.held) / f64::from(r.bands.max(1)),
            r.match_held,
            r.wrong_sign,
            r.half_widths_db.get(r.half_widths_db.len() / 2).copied().unwrap_or(f64::NAN)
        );
    }
}
