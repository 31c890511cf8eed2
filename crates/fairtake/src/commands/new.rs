//! `new`: a shootout folder with an empty log.

use crate::cli::NewArgs;
use crate::failure::Failure;
use crate::{Done, Outcome};
use fairtake_files::ShootoutFolder;

/// Runs the command.
pub(crate) fn run(args: &NewArgs) -> Outcome {
    let stem = args.folder.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
    let title = args.title.clone().unwrap_or(stem);
    let folder = ShootoutFolder::create(&args.folder, &title).map_err(|e| Failure::new(&e, e.hint()))?;
    eprintln!("wrote {}: log microphones, sources and takes there", folder.log_path().display());
    Ok(Done::Clean)
}
