//! photoproof: do the photos prove the work?

mod args;
mod cache;
mod commands;
mod events;
mod exit;
mod interrupt;
mod output;
mod progress;
mod settings;
mod style;

use clap::Parser;

use crate::args::{Args, Command};

fn main() -> std::process::ExitCode {
    let args = match Args::try_parse() {
        Ok(args) => args,
        Err(error) => return exit::usage(&error),
    };
    let outcome = match &args.command {
        Command::Check(args) => commands::check::run(args),
        Command::Compare(args) => commands::compare::run(args),
        Command::Inspect(args) => commands::inspect::run(args),
        Command::Shots(args) => commands::shots::run(args),
        Command::Volume(args) => commands::volume::run(args),
        Command::Seal(args) => commands::seal::run(args),
        Command::Verify(args) => commands::seal::run_verify(args),
        Command::Ledger(args) => commands::ledger::run(args),
        Command::Explain(args) => commands::explain::run(args),
    };
    outcome.unwrap_or_else(|error| exit::failed(&error)).into()
}
