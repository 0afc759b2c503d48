//! `photoproof shots JOB_SHEET`

use std::path::PathBuf;

use photoproof_core::Error;
use photoproof_core::job::JobSheet;
use photoproof_core::shots::ShotList;

use crate::exit::Exit;
use crate::style;

/// Arguments of `shots`.
#[derive(Debug, clap::Args)]
pub(crate) struct ShotsArgs {
    /// Job sheet (job.toml)
    #[arg(value_name = "JOB_SHEET")]
    job_sheet: PathBuf,
    /// How to print
    #[arg(long, value_enum, default_value_t = ShotsFormat::Text)]
    format: ShotsFormat,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum ShotsFormat {
    /// For reading
    Text,
    /// One page to print, with boxes to tick
    Html,
    /// One object
    Json,
}

/// Runs `shots`.
pub(crate) fn run(args: &ShotsArgs) -> Result<Exit, Error> {
    let sheet = JobSheet::read(&args.job_sheet)?;
    let list = ShotList::for_job(&sheet);
    if sheet.areas.is_empty() {
        style::diagnostic(
            "note",
            "the job sheet names no [[area]]; the list holds only what every job needs",
        );
    }
    let text = match args.format {
        ShotsFormat::Text => list.to_text(),
        ShotsFormat::Html => list.to_html()?,
        ShotsFormat::Json => list.to_json()?,
    };
    style::results(&text);
    Ok(Exit::Clean)
}
