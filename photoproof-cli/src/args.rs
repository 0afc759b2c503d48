//! The command line as close to the flags as possible; no input or output here.

use clap::{Parser, Subcommand};

use crate::commands;

/// Do the photos prove the work? Checks before, during and after photos of vacant-house services.
#[derive(Debug, Parser)]
#[command(name = "photoproof", version, after_help = crate::exit::HELP, max_term_width = 100)]
pub(crate) struct Args {
    /// What to do.
    #[command(subcommand)]
    pub(crate) command: Command,
}

/// The commands.
#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    /// Check a job folder and report what the photos prove
    Check(commands::check::CheckArgs),
    /// Compare the viewpoints of two photos, or of every pair of a list
    Compare(commands::compare::CompareArgs),
    /// Print what photo files say: time, place, camera, quality
    Inspect(commands::inspect::InspectArgs),
    /// Print the shots a crew owes, area by area, before it starts
    Shots(commands::shots::ShotsArgs),
    /// Add up the debris of a job sheet, with the working of each load
    Volume(commands::volume::VolumeArgs),
    /// Copy a job folder into a bag with SHA-256 of every file (BagIt, RFC 8493)
    Seal(commands::seal::SealArgs),
    /// Say what changed, is missing or was added since a job folder was sealed
    Verify(commands::seal::VerifyArgs),
    /// Record, find, list and forget the photos that jobs have used
    Ledger(commands::ledger::LedgerArgs),
    /// Explain a check: what it measures, its limit, its blind spots
    Explain(commands::explain::ExplainArgs),
}
