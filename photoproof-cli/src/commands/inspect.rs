//! `photoproof inspect PHOTO...`

use std::path::{Path, PathBuf};

use photoproof_core::Error;
use photoproof_core::ingest::{IngestOptions, read_photo};
use photoproof_core::measure::Quality;
use photoproof_core::report::inspect::InspectLine;
use rayon::prelude::*;

use crate::exit::Exit;

/// Arguments of `inspect`.
#[derive(Debug, clap::Args)]
pub(crate) struct InspectArgs {
    /// Photo files
    #[arg(required = true, value_name = "PHOTO")]
    photos: Vec<PathBuf>,

    /// How to print: text, or json with one line a photo
    #[arg(long, value_enum, default_value_t = InspectFormat::Text)]
    format: InspectFormat,
}

/// Output of `inspect`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub(crate) enum InspectFormat {
    /// One short block a photo.
    Text,
    /// One JSON object a line.
    Json,
}

/// Files that are read before their lines are printed.
const BATCH: usize = 32;

/// Runs `inspect`.
pub(crate) fn run(args: &InspectArgs) -> Result<Exit, Error> {
    let mut options = IngestOptions::default();
    options.file_system_time = true;
    let mut any_readable = false;
    for batch in args.photos.chunks(BATCH) {
        let lines: Vec<InspectLine> = batch
            .par_iter()
            .map(|photo| inspect(photo, &options))
            .collect();
        for line in lines {
            any_readable |= line.readable;
            let text = match args.format {
                InspectFormat::Text => line.to_text(),
                InspectFormat::Json => line.to_json(),
            };
            crate::style::results(&text);
        }
    }
    if any_readable {
        return Ok(Exit::Clean);
    }
    crate::style::diagnostic("error", "none of the files is a readable photo");
    Ok(Exit::Failed)
}

fn inspect(path: &Path, options: &IngestOptions) -> InspectLine {
    match read_photo(path, &path.to_string_lossy(), options) {
        Ok((photo, pixels)) => InspectLine::of_photo(&photo, &Quality::new(&pixels)),
        Err(rejected) => InspectLine::of_rejected(&rejected),
    }
}
