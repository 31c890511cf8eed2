//! `write-up`: everything that is said, shown and heard of a shootout, in one folder with a manifest.

use super::analysis::{self, Input};
use crate::cli::WriteUpArgs;
use crate::failure::Failure;
use crate::{Done, Outcome};
use fairtake_bridge::Bridge;
use fairtake_calibrated::Measurements;
use fairtake_compare::{
    Findings, PairDistance, Remembered, Take, TakeMeasure, all_distances, measure_and_check,
};
use fairtake_files::wav::Replace;
use fairtake_files::{Loaded, Shelf, ShootoutFolder};
use fairtake_write_up::{
    Draw, Ffmpeg, Keep, Material, MovingPicture, ReelsWanted, Wanted, moving_plans, recall, write_up,
};
use indicatif::{ProgressBar, ProgressStyle};

/// Runs the command.
pub(crate) fn run(args: &WriteUpArgs) -> Outcome {
    let wanted = wanted(args)?;
    let target = args.into.clone().unwrap_or_else(|| args.folder.join("write-up"));
    let read = read(args)?;
    // Sizes are told without the data sheets, which take seconds.
    let measured = if args.only_say { None } else { measured(args) };
    let material = Material {
        findings: &read.findings,
        takes: &read.takes,
        measures: &read.measures,
        gone: &read.gone,
        heard: &read.heard,
        bridges: &read.bridges,
        distances: &read.distances,
        measured: measured.as_ref(),
    };
    if let Some(moving) = &wanted.moving {
        say_sizes(&material, &wanted.reels, moving);
    }
    if args.only_say {
        return Ok(Done::Clean);
    }
    let bar = ProgressBar::new(0).with_style(
        ProgressStyle::with_template("{bar:20} {pos}/{len} {msg}").unwrap_or(ProgressStyle::default_bar()),
    );
    let replace = if args.overwrite { Replace::Allowed } else { Replace::Never };
    let written = write_up(&material, &wanted, &target, replace, &mut |p| {
        bar.set_length(p.of as u64);
        bar.set_position(p.n as u64);
        bar.set_message(p.what);
    });
    bar.finish_and_clear();
    let written = written.map_err(|e| Failure::new(&e, e.hint()))?;
    written.remarks.iter().for_each(|remark| eprintln!("{remark}"));
    let n_bytes: u64 = written.files.iter().map(|(_, n)| n).sum();
    eprintln!("{} files, {:.1} MB", written.files.len(), n_bytes as f64 / 1e6);
    println!("{}", target.display());
    Ok(Done::Clean)
}

/// What was typed, validated.
fn wanted(args: &WriteUpArgs) -> Result<Wanted, Failure> {
    let blind = match (args.blind, args.draw) {
        (false, _) => None,
        (true, Some(seed)) => Some(Draw { seed }),
        (true, None) => {
            let mut bytes = [0; 8];
            getrandom::fill(&mut bytes).map_err(|e| {
                Failure::new(format!("the system gives no random numbers: {e}"), "give --draw N")
            })?;
            Some(Draw { seed: u64::from_le_bytes(bytes) })
        }
    };
    let (theme, decade) = (args.colours.into(), args.decade.into());
    let reels = ReelsWanted {
        excerpt: args.pieces,
        gap_s: args.gap,
        most_moments: args.moments,
        most_s: args.seconds,
        blind,
    };
    let moving = args.moving.map(|keep| MovingPicture {
        still: args.moving_size.picture(theme, args.transparent, decade).still,
        frames_per_second: args.frame_rate,
        keep: keep.into(),
    });
    Ok(Wanted {
        pictures: args.sizes.iter().map(|s| s.picture(theme, args.transparent, decade)).collect(),
        reels,
        moving,
        licence: args.licence.clone(),
    })
}

/// Said before anything is made.
fn say_sizes(material: &Material<'_>, reels: &ReelsWanted, moving: &MovingPicture) {
    for plan in moving_plans(material, reels, moving) {
        match plan {
            Ok(plan) => eprintln!("{}", plan.words()),
            Err(why) => eprintln!("{why}"),
        }
    }
    if moving.keep != Keep::Frames {
        match Ffmpeg::find() {
            Ok(ffmpeg) => eprintln!("videos are coded with {}", ffmpeg.maker().picture),
            Err(why) => eprintln!("no video: {why}; numbered frames are written in its place"),
        }
    }
}

/// What is written up.
struct Read {
    findings: Findings,
    takes: Vec<Take>,
    measures: Vec<TakeMeasure>,
    gone: Vec<(String, String)>,
    heard: Vec<fairtake_report::Heard>,
    bridges: Vec<Bridge>,
    distances: Vec<PairDistance>,
}

/// Measures what the folder holds; where takes are gone, remembers what was found while they were there.
fn read(args: &WriteUpArgs) -> Result<Read, Failure> {
    let folder = ShootoutFolder::open(&args.folder).map_err(|e| Failure::new(&e, e.hint()))?;
    let loaded = folder.load_onto(&mut Shelf::default()).map_err(|e| Failure::new(&e, e.hint()))?;
    if !loaded.not_opened.is_empty() {
        return remembered(&folder, loaded, args);
    }
    drop(loaded);
    let input: Input = analysis::open_folder(&args.folder)?;
    let mut known = Remembered::default();
    let (measurement, _) = analysis::measure_remembering(&input, &args.analysis, &mut known)?;
    analysis::keep(&input, &args.analysis, &measurement.findings)?;
    let bridges = analysis::bridged(&input, &measurement);
    let mut findings = measurement.findings;
    let distances = all_distances(&input.takes, &input.shootout, &findings, &mut known)
        .map_err(|e| analysis::not_compared(&e))?;
    findings.keep_own_words(&input.shootout);
    let heard = super::listen::heard(&args.folder, &input.shootout)?;
    Ok(Read {
        findings,
        takes: input.takes,
        measures: measurement.measures,
        gone: Vec::new(),
        heard,
        bridges,
        distances,
    })
}

/// Microphones measured by themselves, where the log has takes of that. What stands in their way is said, and the rest is written.
fn measured(args: &WriteUpArgs) -> Option<Measurements> {
    let log = ShootoutFolder::open(&args.folder).and_then(|folder| folder.log()).ok()?;
    if log.bench.takes.is_empty() {
        return None;
    }
    match super::measure::of_folder(&args.folder) {
        Ok(found) => Some(found),
        Err(e) => {
            eprintln!("no data sheets: {e}");
            None
        }
    }
}

fn remembered(folder: &ShootoutFolder, loaded: Loaded, args: &WriteUpArgs) -> Result<Read, Failure> {
    let Loaded { log, takes, not_opened } = loaded;
    let settings = args.analysis.settings(log.shootout.margin_db);
    let hash_of = |file: &str| takes.iter().find(|t| t.file == file).map(|t| t.stored_as.sha256.to_string());
    let asked = (&settings, args.analysis.reference.as_ref(), args.analysis.pair.as_ref());
    let gone: Vec<(String, String)> =
        not_opened.iter().map(|(entry, e)| (entry.file.clone(), e.problem.to_string())).collect();
    let Some(mut findings) = recall(folder, &log, asked, hash_of) else {
        let (file, why) = &gone[0];
        let more = if gone.len() > 1 { format!(" (and {} more)", gone.len() - 1) } else { String::new() };
        let what = format!("{file}: {why}{more}, and no findings are kept from when all takes were there");
        return Err(Failure::new(what, "put the takes back, or take them out of the log"));
    };
    findings.keep_own_words(&log.shootout);
    let (measures, _) = measure_and_check(&takes, &log.shootout, &settings, &mut Remembered::default())
        .map_err(|e| {
            let hint = e.hint.clone();
            Failure::new(&e, hint)
        })?;
    let heard = super::listen::heard(&args.folder, &log.shootout)?;
    Ok(Read { findings, takes, measures, gone, heard, bridges: Vec::new(), distances: Vec::new() })
}
