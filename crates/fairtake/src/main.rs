//! The program: `cli` says what can be typed, one file per command does it, `main` only dispatches.
//!
//! Stdout is data, stderr is talk. Exit 0 done, 1 done but a caution that `--strict` names stands, 2 not done.

mod choices;
mod cli;
mod cli_bridge;
mod cli_sweep;
mod cli_write_up;
mod commands;
mod failure;

use clap::Parser;
use cli::{Cli, Command};
use failure::Failure;
use std::process::ExitCode;

fn main() -> ExitCode {
    let outcome = match Cli::parse().command {
        Command::Compare(args) => commands::compare::run(&args),
        Command::New(args) => commands::new::run(&args),
        Command::Add(args) => commands::add::run(&args),
        Command::Check(args) => commands::check::run(&args),
        Command::Report(args) => commands::report::run(&args),
        Command::WriteUp(args) => commands::write_up::run(&args),
        Command::Bridge(args) => commands::bridge::run(&args),
        Command::Sweep(args) => commands::sweep::run(&args),
        Command::Measure(args) => commands::measure::run(&args),
        Command::Watch(args) => commands::watch::run(&args),
        Command::Open(args) => commands::open::run(&args),
        Command::Listen(args) => commands::listen::run(&args),
        Command::Demo(args) => commands::demo::run(&args),
        Command::Generate(args) => commands::generate::run(&args),
    };
    match outcome {
        Ok(Done::Clean) => ExitCode::SUCCESS,
        Ok(Done::CautionStands) => ExitCode::from(1),
        Err(failure) => {
            eprintln!("{failure}");
            ExitCode::from(2)
        }
    }
}

/// How a command ended that did its work.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Done {
    /// Nothing stands in the way.
    Clean,
    /// Done, but a caution that `--strict` names stands.
    CautionStands,
}

/// What every command returns.
pub(crate) type Outcome = Result<Done, Failure>;
