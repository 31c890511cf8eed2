//! `measure`: what each microphone of a folder does by itself, from recordings of a loudspeaker, a calibrator and silence.

use super::compare::to_json;
use crate::cli::MeasureArgs;
use crate::failure::Failure;
use crate::{Done, Outcome};
use fairtake_calibrated::{Measurements, measure};
use fairtake_files::wav::Replace;
use fairtake_files::{ShootoutFolder, write_whole};
use fairtake_report::pdf::pdf_of_sheets;
use fairtake_report::sheet;
use std::path::Path;

/// Runs the command.
pub(crate) fn run(args: &MeasureArgs) -> Outcome {
    let measurements = of_folder(&args.folder)?;
    let write = |path: &Path, bytes: &[u8]| {
        let replace = if args.overwrite { Replace::Allowed } else { Replace::Never };
        write_whole(path, bytes, replace).map_err(|e| Failure::new(&e, e.hint()))?;
        eprintln!("wrote {}", path.display());
        Ok::<(), Failure>(())
    };
    if let Some(path) = &args.report {
        write(path, sheet::page(&measurements).as_bytes())?;
    }
    if let Some(path) = &args.pdf {
        let set = pdf_of_sheets(&measurements).map_err(|e| {
            Failure::new(&e, "this is a defect of the program: please report it with the folder's log")
        })?;
        write(path, &set.bytes)?;
    }
    if args.json {
        println!("{}", to_json(&measurements)?);
    } else {
        print!("{}", sheet::text(&measurements));
    }
    Ok(Done::Clean)
}

/// Measures everything that the log of a folder lists.
pub(super) fn of_folder(folder: &Path) -> Result<Measurements, Failure> {
    let opened = ShootoutFolder::open(folder).map_err(|e| Failure::new(&e, e.hint()))?;
    let bench = opened.load_bench().map_err(|e| Failure::new(&e, e.hint()))?;
    if bench.takes.is_empty() {
        let hint =
            "log recordings of a sweep, a calibrator or silence with their roles; see `fairtake sweep`";
        return Err(Failure::new(format!("{}: no take of a measurement is logged", folder.display()), hint));
    }
    Ok(measure(&bench, env!("CARGO_PKG_VERSION")))
}
