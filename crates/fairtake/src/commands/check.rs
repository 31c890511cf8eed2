//! `check`: are these takes fit to be compared?

use super::analysis;
use super::compare::to_json;
use crate::cli::CheckArgs;
use crate::{Done, Outcome};
use fairtake_compare::Outcome as CheckOutcome;
use fairtake_report::summary;

/// Runs the command.
pub(crate) fn run(args: &CheckArgs) -> Outcome {
    let input = analysis::open(&args.input)?;
    let findings = analysis::findings(&input, &args.input.analysis)?;
    let mut checks = findings.checks;
    if !args.all {
        checks.retain(|c| c.outcome != CheckOutcome::Fair);
    }
    if args.json {
        println!("{}", to_json(&checks)?);
    } else if checks.is_empty() {
        println!("every check is fair");
    } else {
        print!("{}", summary::checks(&checks));
    }
    Ok(Done::Clean)
}
