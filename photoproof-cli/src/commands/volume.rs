//! `photoproof volume JOB_SHEET`

use std::path::{Path, PathBuf};

use photoproof_core::job::JobSheet;
use photoproof_core::{Error, ErrorKind, ingest, volume};

use crate::exit::Exit;
use crate::style;

/// Arguments of `volume`.
#[derive(Debug, clap::Args)]
pub(crate) struct VolumeArgs {
    /// Job sheet (job.toml); the photos are looked for beside it
    #[arg(value_name = "JOB_SHEET")]
    job_sheet: PathBuf,
    /// How to print
    #[arg(long, value_enum, default_value_t = VolumeFormat::Text)]
    format: VolumeFormat,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum VolumeFormat {
    /// For reading, with the working of each line
    Text,
    /// One object
    Json,
}

/// Runs `volume`.
pub(crate) fn run(args: &VolumeArgs) -> Result<Exit, Error> {
    let sheet = JobSheet::read(&args.job_sheet)?;
    let folder = match args.job_sheet.parent() {
        Some(folder) if folder != Path::new("") => folder,
        _ => Path::new("."),
    };
    let photos = ingest::photo_paths(folder)?;
    let paths: Vec<&str> = photos.iter().map(String::as_str).collect();
    for note in &sheet.notes {
        style::diagnostic("note", note);
    }
    for unmatched in sheet.unmatched_patterns(&paths) {
        style::diagnostic("warning", &unmatched.message);
    }
    let tally = volume::tally(&sheet, &photos);
    let text = match args.format {
        VolumeFormat::Text => tally.to_text(),
        VolumeFormat::Json => {
            serde_json::to_string_pretty(&tally.to_json())
                .map_err(|e| Error::new(ErrorKind::Io, format!("cannot write JSON: {e}")))?
                + "\n"
        }
    };
    style::results(&text);
    Ok(Exit::Clean)
}
