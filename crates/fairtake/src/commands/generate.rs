//! `generate`: man pages and shell completions from the same definitions as the help.

use crate::cli::{Cli, GenerateArgs};
use crate::failure::Failure;
use crate::{Done, Outcome};
use clap::CommandFactory;
use clap_complete::Shell;

/// Runs the command.
pub(crate) fn run(args: &GenerateArgs) -> Outcome {
    let failed = |e: std::io::Error| {
        Failure::new(format!("{}: {e}", args.folder.display()), "name a folder that exists")
    };
    clap_mangen::generate_to(Cli::command(), &args.folder).map_err(failed)?;
    for shell in [Shell::Bash, Shell::Zsh, Shell::Fish] {
        clap_complete::generate_to(shell, &mut Cli::command(), "fairtake", &args.folder).map_err(failed)?;
    }
    Ok(Done::Clean)
}
