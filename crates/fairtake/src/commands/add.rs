//! `add`: a recording into the shootout folder and its log. Nothing is copied before it is confirmed where the file is
//! to be cut or its channels are to be shared out; nothing is ever overwritten.

use crate::cli::{AddArgs, CutArg};
use crate::failure::Failure;
use crate::{Done, Outcome};
use fairtake_compare::Role;
use fairtake_files::{
    AudioFile, CutAt, FolderError, GapSettings, LogFile, PlanError, Planned, ShootoutFolder, Wanted,
    by_channels, by_parts, take_in,
};
use std::fmt::Write;

/// Runs the command.
pub(crate) fn run(args: &AddArgs) -> Outcome {
    let folder = ShootoutFolder::open(&args.folder).map_err(of_folder)?;
    let log = folder.log().map_err(of_folder)?;
    let audio = AudioFile::open(&args.file).map_err(|e| Failure::new(&e, e.hint()))?;
    let wanted = wanted(args);
    let name =
        |part: Option<&std::ffi::OsStr>| part.map(|f| f.to_string_lossy().into_owned()).unwrap_or_default();
    let planned = match args.cut {
        Some(cut) => by_parts(&wanted, &name(args.file.file_stem()), &cut_at(args, cut)?, &audio, &log),
        None => by_channels(&wanted, &name(args.file.file_name()), &audio, &log),
    };
    let planned = planned.map_err(|e| of_plan(args, &e))?;
    let needs_word = args.cut.is_some() || planned.len() > 1;
    if needs_word && !args.yes {
        print!("{}", shown(&planned, audio.rate_hz()));
        eprintln!(
            "nothing is written yet; say --yes when this is right, or name the microphones with --mics"
        );
        return Ok(Done::Clean);
    }
    let mut file = LogFile::read(&folder.log_path()).map_err(|e| Failure::new(&e, &e.hint))?;
    take_in(&args.folder, &args.file, &audio, &planned, &mut file).map_err(|e| of_plan(args, &e))?;
    print!("{}", shown(&planned, audio.rate_hz()));
    Ok(Done::Clean)
}

fn wanted(args: &AddArgs) -> Wanted {
    Wanted {
        source: args.source.clone(),
        mics: args.mics.clone(),
        role: Role::from(args.role),
        position: args.position.clone(),
        gain_db: args.gain,
        placement: args.placement,
        performance: args.performance,
    }
}

fn cut_at(args: &AddArgs, cut: CutArg) -> Result<CutAt, Failure> {
    Ok(match (cut, &args.list) {
        (CutArg::Gaps, _) => {
            let quiet_peak = 10f64.powf(args.quiet / 20.0) as f32;
            CutAt::Gaps(GapSettings { quiet_peak, gap_s: args.gap })
        }
        (CutArg::Markers, _) => CutAt::Markers,
        (CutArg::List, Some(path)) => CutAt::List(
            std::fs::read_to_string(path)
                .map_err(|e| Failure::new(format!("{}: {e}", path.display()), "check the path"))?,
        ),
        (CutArg::List, None) => {
            return Err(Failure::new("no list is named", "name a text file with --list FILE"));
        }
    })
}

fn of_plan(args: &AddArgs, e: &PlanError) -> Failure {
    match e {
        PlanError::Channels { .. } | PlanError::NoCuts => {
            Failure::new(format!("{}: {e}", args.file.display()), e.hint())
        }
        _ => Failure::new(e, e.hint()),
    }
}

fn shown(planned: &[Planned], rate_hz: u32) -> String {
    let mut out = format!(
        "{:<36} {:>9} {:>9}  {:<16} {:<16} {:>9} {:>11}\n",
        "take", "from, s", "to, s", "microphone", "source", "placement", "performance"
    );
    for p in planned {
        let at = |frame: u64| format!("{:.2}", frame as f64 / f64::from(rate_hz));
        let (from, to) = p.part.map_or(("start".into(), "end".into()), |(a, b)| (at(a), at(b)));
        let name = if p.part.is_none() && p.entry.channel > 1 {
            format!("{} channel {}", p.entry.file, p.entry.channel)
        } else {
            p.entry.file.clone()
        };
        let e = &p.entry;
        let _ = writeln!(
            out,
            "{name:<36} {from:>9} {to:>9}  {:<16} {:<16} {:>9} {:>11}",
            e.mic, e.source, e.placement, e.performance
        );
    }
    out
}

fn of_folder(e: FolderError) -> Failure {
    Failure::new(&e, e.hint())
}
