//! photoproof: do the photos prove the work?

mod args;
mod commands;
mod exit;
mod style;

use clap::Parser;

use crate::args::{Args, Command};
use crate::exit::Exit;

fn main() -> std::process::ExitCode {
    let args = match Args::try_parse() {
        Ok(args) => args,
        Err(error) => return exit::usage(&error),
    };
    let outcome = match &args.command {
        Command::Inspect(args) => commands::inspect::run(args),
    };
    outcome.unwrap_or_else(|error| exit::failed(&error)).into()
}
