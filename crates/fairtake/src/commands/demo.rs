//! `demo`: a shootout whose answer is known, made by the virtual studio, compared and reported on; then the work page opens on it.

use super::analysis;
use crate::cli::{AnalysisArgs, DemoArgs};
use crate::failure::Failure;
use crate::{Done, Outcome};
use clap::Parser;
use fairtake_compare::Findings;
use fairtake_files::wav::{Replace, StoreAs, WavSpec, WavWriter};
use fairtake_files::{LogFile, ShootoutFolder, TakeEntry, write_whole};
use fairtake_report::page;
use fairtake_virtual_studio::scene::{RATE_HZ, Scene, SceneTake, Truth, scene};
use indicatif::{ProgressBar, ProgressStyle};
use std::path::Path;

/// The settings used when nothing is typed.
#[derive(Debug, Parser)]
struct Nothing {
    #[command(flatten)]
    analysis: AnalysisArgs,
}

/// Runs the command.
pub(crate) fn run(args: &DemoArgs) -> Outcome {
    if args.folder.exists() {
        return Err(Failure::new(
            format!("{} exists already", args.folder.display()),
            "name a folder that does not: `fairtake demo FOLDER`",
        ));
    }
    let bar = ProgressBar::new(3).with_style(
        ProgressStyle::with_template("{msg:<28} {wide_bar} {pos}/{len}")
            .expect("the template is well formed"),
    );
    bar.set_message("playing in the boathouse");
    if args.bench {
        super::demo_bench::write(&args.folder, args.seed, &bar)?;
        bar.finish_and_clear();
        println!("{}", args.folder.display());
        let folder = args.folder.display();
        eprintln!("its data sheets:                 fairtake measure {folder}");
        eprintln!("the same on a page, with fields: fairtake open {folder}");
        return Ok(Done::Clean);
    }
    let scene = scene(args.seed);
    bar.set_length(scene.takes.len() as u64 + 1);
    bar.set_message("writing the takes");
    write(&args.folder, &scene, &bar)?;
    bar.set_message("comparing");
    let input = analysis::open_folder(&args.folder)?;
    let findings = analysis::findings(&input, &Nothing::parse_from(["demo"]).analysis)?;
    let report = args.folder.join("report.html");
    write_whole(&report, page::page(&findings).as_bytes(), Replace::Never)
        .map_err(|e| Failure::new(&e, e.hint()))?;
    bar.finish_and_clear();
    for truth in &scene.truths {
        eprintln!("{}", kept_to_the_truth(&findings, truth));
    }
    eprintln!("the report, to open in a browser at any time:");
    println!("{}", report.display());
    if args.no_page {
        return Ok(Done::Clean);
    }
    super::open::page(&args.folder, None, 0, false)
}

/// Takes and log. The log comes last: without it, what was written is no shootout.
fn write(folder: &Path, scene: &Scene, bar: &ProgressBar) -> Result<(), Failure> {
    let made = ShootoutFolder::create(folder, "demo").map_err(|e| Failure::new(&e, e.hint()))?;
    for take in &scene.takes {
        let spec = WavSpec {
            rate_hz: RATE_HZ,
            n_channels: 1,
            store_as: StoreAs::Int24,
            bext: None,
            cue_markers: Vec::new(),
        };
        let path = folder.join(&take.file);
        WavWriter::create(&path, spec, Replace::Never)
            .and_then(|mut w| w.write(&take.samples).and_then(|()| w.finish()))
            .map_err(|e| Failure::new(&e, e.hint()))?;
        bar.inc(1);
    }
    write_whole(&made.log_path(), scene.log_head.as_bytes(), Replace::Allowed)
        .map_err(|e| Failure::new(&e, e.hint()))?;
    let mut log = LogFile::read(&made.log_path()).map_err(|e| Failure::new(&e, &e.hint))?;
    for take in &scene.takes {
        log.add_take(&entry(take)).map_err(|e| Failure::new(&e, &e.hint))?;
    }
    log.write().map_err(|e| Failure::new(&e, &e.hint))
}

fn entry(take: &SceneTake) -> TakeEntry {
    let mut entry = TakeEntry::new(&take.file, 1, &take.mic, &take.source);
    entry.placement = take.placement;
    entry.performance = take.performance;
    entry.order = Some(take.order);
    entry.position = take.position.clone();
    entry.role = take.role;
    entry.chain.gain_db = Some(take.gain_db);
    entry
}

/// How far the result lies from the known answer, which only a demo can say.
fn kept_to_the_truth(findings: &Findings, truth: &Truth) -> String {
    let Some(c) = findings.comparisons.iter().find(|c| c.source == truth.source) else {
        return format!("{}: was not compared", truth.source);
    };
    let known: Vec<(f64, bool)> = c
        .bands
        .iter()
        .filter_map(|b| {
            let answer = truth.difference_db(b.from_hz, b.to_hz)?;
            Some((
                (b.difference_db? - answer).abs(),
                (b.simultaneous_low_db?..=b.simultaneous_high_db?).contains(&answer),
            ))
        })
        .collect();
    let mut errors: Vec<f64> = known.iter().map(|(e, _)| *e).collect();
    errors.sort_by(f64::total_cmp);
    let held = known.iter().filter(|(_, held)| *held).count();
    format!(
        "{}: {held} of {} bands hold the known answer; median error {:.2} dB, greatest {:.2} dB",
        truth.source,
        known.len(),
        errors.get(errors.len() / 2).copied().unwrap_or(0.0),
        errors.last().copied().unwrap_or(0.0)
    )
}
