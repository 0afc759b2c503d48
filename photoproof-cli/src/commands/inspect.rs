//! `photoproof inspect PHOTO...`

use std::path::{Path, PathBuf};

use photoproof_core::Error;
use photoproof_core::ingest::{IngestOptions, Label, Rejected, ingest, is_archive, read_photo};
use photoproof_core::job::JobSheet;
use photoproof_core::measure::Quality;
use photoproof_core::report::inspect::InspectLine;
use rayon::prelude::*;

use crate::exit::Exit;

/// Arguments of `inspect`.
#[derive(Debug, clap::Args)]
pub(crate) struct InspectArgs {
    /// Photo files, or .zip archives of them
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
            .flat_map_iter(|photo| inspect(photo, &options))
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

/// The line of a photo, or those of the photos in an archive, by path.
fn inspect(path: &Path, options: &IngestOptions) -> Vec<InspectLine> {
    let shown = path.to_string_lossy();
    if is_archive(path) {
        return archived(path, &shown, options);
    }
    vec![match read_photo(path, &shown, options) {
        Ok((photo, pixels)) => {
            InspectLine::of_photo(&photo, &Quality::new(&pixels)).with_earlier_save(pixels.earlier)
        }
        Err(rejected) => InspectLine::of_rejected(&rejected),
    }]
}

fn archived(path: &Path, shown: &str, options: &IngestOptions) -> Vec<InspectLine> {
    let whole = |reason: String| {
        vec![InspectLine::of_rejected(&Rejected {
            path: shown.to_owned(),
            sha256: None,
            reason,
            label: Label::default(),
            facts: None,
        })]
    };
    let read = ingest(path, &JobSheet::default(), options, |_, pixels| {
        (Quality::new(pixels), pixels.earlier.clone())
    });
    let (intake, measured) = match read {
        Ok(read) => read,
        Err(error) => return whole(error.to_string()),
    };
    let photos = intake.photos.iter().zip(measured);
    let mut lines: Vec<InspectLine> = photos
        .map(|(photo, (quality, earlier))| {
            InspectLine::of_photo(photo, &quality).with_earlier_save(earlier)
        })
        .chain(intake.rejected.iter().map(InspectLine::of_rejected))
        .collect();
    lines.sort_by(|a, b| a.path.cmp(&b.path));
    for line in &mut lines {
        line.path = format!("{shown}/{}", line.path);
    }
    if lines.is_empty() {
        return whole("the archive holds no photo".to_owned());
    }
    lines
}
