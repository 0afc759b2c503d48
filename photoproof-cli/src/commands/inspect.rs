//! `photoproof inspect PHOTO...`

use std::path::PathBuf;

use photoproof_core::Error;

use crate::exit::Exit;

/// Arguments of `inspect`.
#[derive(Debug, clap::Args)]
pub(crate) struct InspectArgs {
    /// Photo files
    #[arg(required = true, value_name = "PHOTO")]
    photos: Vec<PathBuf>,
}

/// Runs `inspect`.
pub(crate) fn run(args: &InspectArgs) -> Result<Exit, Error> {
    for photo in &args.photos {
        crate::style::results(&format!("{}\n", photo.display()));
    }
    Ok(Exit::Clean)
}
