//! `compare`: findings as a summary, as JSON, and as a table of events.

use super::analysis;
use crate::cli::CompareArgs;
use crate::failure::Failure;
use crate::{Done, Outcome};
use fairtake_compare::Outcome as CheckOutcome;
use fairtake_files::wav::Replace;
use fairtake_files::write_whole;
use fairtake_report::{events, page, summary};

/// Runs the command.
pub(crate) fn run(args: &CompareArgs) -> Outcome {
    let input = analysis::open(&args.input)?;
    let replace = if args.overwrite { Replace::Allowed } else { Replace::Never };
    let findings = match &args.events {
        // Events are not kept with the findings: they want the audio.
        Some(path) => {
            let (measurement, settings) = analysis::measure(&input, &args.input.analysis)?;
            let table = events::table(&measurement.measures, settings.bands_per_octave);
            write_whole(path, table.as_bytes(), replace).map_err(|e| Failure::new(&e, e.hint()))?;
            measurement.findings
        }
        None => analysis::findings(&input, &args.input.analysis)?,
    };
    if let Some(path) = &args.report {
        write_whole(path, page::page(&findings).as_bytes(), replace)
            .map_err(|e| Failure::new(&e, e.hint()))?;
        eprintln!("wrote {}", path.display());
    }
    if args.json {
        println!("{}", to_json(&findings)?);
    } else {
        print!("{}", summary::summary(&findings));
    }
    let stands = findings
        .checks
        .iter()
        .any(|c| c.outcome != CheckOutcome::Fair && args.strict.iter().any(|s| s == "all" || *s == c.code));
    Ok(if stands { Done::CautionStands } else { Done::Clean })
}

/// JSON of anything, for stdout.
pub(crate) fn to_json<T: serde::Serialize>(value: &T) -> Result<String, Failure> {
    serde_json::to_string_pretty(value)
        .map_err(|e| Failure::new(format!("cannot be written as JSON: {e}"), ""))
}
