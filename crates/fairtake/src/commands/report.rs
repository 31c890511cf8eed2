//! `report`: compare a shootout folder, or files, and write the report.

use super::analysis;
use crate::cli::ReportArgs;
use crate::failure::Failure;
use crate::{Done, Outcome};
use fairtake_files::wav::Replace;
use fairtake_files::write_whole;
use fairtake_report::page;

/// Runs the command.
pub(crate) fn run(args: &ReportArgs) -> Outcome {
    let path = match (&args.output, args.input.paths.as_slice()) {
        (Some(path), _) => path.clone(),
        (None, [folder]) if folder.is_dir() => folder.join("report.html"),
        (None, _) => {
            return Err(Failure::new("nowhere to write the report", "name a file with --output FILE"));
        }
    };
    let input = analysis::open(&args.input)?;
    let (findings, bridges) = analysis::findings_and_bridges(&input, &args.input.analysis)?;
    let heard = match args.input.paths.as_slice() {
        [folder] if folder.is_dir() => super::listen::heard(folder, &input.shootout)?,
        _ => Vec::new(),
    };
    let replace = if args.overwrite { Replace::Allowed } else { Replace::Never };
    write_whole(&path, page::page_with(&findings, &heard, &bridges).as_bytes(), replace)
        .map_err(|e| Failure::new(&e, e.hint()))?;
    println!("{}", path.display());
    Ok(Done::Clean)
}
