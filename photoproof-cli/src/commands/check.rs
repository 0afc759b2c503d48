//! `photoproof check JOB_FOLDER...`

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use photoproof_core::cache::Cache;
use photoproof_core::job::JobSheet;
use photoproof_core::judge::{Outcome, WaiverSet};
use photoproof_core::ledger::{self, Ledger};
use photoproof_core::pipeline::{self, JobResult, Options, Pictures};
use photoproof_core::report::v1::Report;
use photoproof_core::report::{build, csv, html, index, json, junit, sarif, text};
use photoproof_core::{Error, ErrorKind};

use crate::cache::{self, CacheArgs};
use crate::commands::claim;
use crate::exit::{self, Exit};
use crate::progress::Bar;
use crate::settings::{Threads, folder_name, job_sheet};
use crate::{output, style};

/// Arguments of `check`.
#[derive(Debug, clap::Args)]
pub(crate) struct CheckArgs {
    /// Job folders, or .zip archives of them; each is one job
    #[arg(required = true, value_name = "JOB_FOLDER")]
    folders: Vec<PathBuf>,
    /// Job sheet [default: JOB_FOLDER/job.toml if present]
    #[arg(long, value_name = "FILE")]
    job_sheet: Option<PathBuf>,
    /// Register of photos that earlier jobs have used: an SQLite file, or a postgres:// URL
    #[arg(long, value_name = "FILE|URL", env = "PHOTOPROOF_LEDGER")]
    ledger: Option<String>,
    /// Add this job's photos to the ledger once it is judged; a job checked again replaces its entry
    #[arg(long, requires = "ledger")]
    record: bool,
    /// Leave out a job that the ledger holds already or that another worker is checking
    #[arg(long, requires = "record")]
    once: bool,
    /// Findings a reviewer has accepted: who, why, until when
    #[arg(long, value_name = "FILE")]
    waivers: Option<PathBuf>,
    /// Folder for the reports; without it only text is printed
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// What to write to --out; without --out, one format to print
    #[arg(long, value_enum, value_delimiter = ',', value_name = "FORMAT,...")]
    format: Vec<Format>,
    /// Lowest severity that makes the exit code 1
    #[arg(long, value_enum, default_value_t = FailOn::Review)]
    fail_on: FailOn,
    #[command(flatten)]
    cache: CacheArgs,
    #[command(flatten)]
    threads: Threads,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum Format {
    /// What the terminal shows
    Text,
    /// report.json
    Json,
    /// report.html, one self-contained page
    Html,
    /// photos.csv and volume.csv
    Csv,
    /// findings.sarif
    Sarif,
    /// junit.xml
    Junit,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum FailOn {
    /// Anything found
    Note,
    /// A person has to look
    Review,
    /// Proof is missing or contradicted
    Fail,
}

/// Formats written to `--out` when `--format` does not say.
const USUAL: [Format; 3] = [Format::Text, Format::Json, Format::Html];

/// A checked job: how it ends, and its report with the folder it was written to.
struct Checked {
    exit: Exit,
    report: Option<(Report, Option<PathBuf>)>,
}

/// Runs `check`.
pub(crate) fn run(args: &CheckArgs) -> Result<Exit, Error> {
    args.threads.apply()?;
    let formats = formats(args)?;
    let cache = args.cache.open();
    let mut worst = Exit::Clean;
    let mut done = Vec::new();
    for (folder, name) in args.folders.iter().zip(distinct_names(&args.folders)) {
        match job((args, &cache), &formats, folder, &name) {
            Ok(checked) => {
                worst = worst.worse(checked.exit);
                done.extend(checked.report);
            }
            // One bad job of a batch stops nothing.
            Err(error) => worst = worst.worse(exit::failed(&error)),
        }
    }
    cache::close(cache.as_deref());
    if let (Some(dir), true) = (&args.out, args.folders.len() > 1) {
        write_index(dir, &done)?;
    }
    Ok(worst)
}

/// The folders' own names; a name that comes twice gets a number, so that reports do not overwrite each other.
fn distinct_names(folders: &[PathBuf]) -> Vec<String> {
    let mut names: Vec<String> = Vec::new();
    for folder in folders {
        let name = folder_name(folder);
        let mut distinct = name.clone();
        let mut number = 2;
        while names.contains(&distinct) {
            distinct = format!("{name}-{number}");
            number += 1;
        }
        names.push(distinct);
    }
    names
}

/// `index.html` and `index.json` of a batch.
fn write_index(dir: &Path, done: &[(Report, Option<PathBuf>)]) -> Result<(), Error> {
    let reports: Vec<Report> = done.iter().map(|(report, _)| report.clone()).collect();
    let links: BTreeMap<String, String> = done
        .iter()
        .filter_map(|(report, folder)| {
            let name = folder.as_ref()?.file_name()?.to_string_lossy();
            Some((report.job.id.clone(), format!("{name}/report.html")))
        })
        .collect();
    output::folder(dir)?;
    output::write(dir, "index.json", index::json(&reports).as_bytes())?;
    output::write(dir, "index.html", index::html(&reports, &links)?.as_bytes())
}

fn formats(args: &CheckArgs) -> Result<Vec<Format>, Error> {
    match (&args.out, args.format.as_slice()) {
        (Some(_), []) => Ok(USUAL.to_vec()),
        (None, []) => Ok(vec![Format::Text]),
        (None, [Format::Csv | Format::Html]) | (None, [_, _, ..]) => Err(Error::new(
            ErrorKind::Usage,
            "these formats are files; say where to put them with --out DIR",
        )),
        (_, formats) => Ok(formats.to_vec()),
    }
}

/// Checks one job folder and writes what was asked for; with `--once` only if the job is free.
fn job(
    (args, cache): (&CheckArgs, &Option<Arc<Cache>>),
    formats: &[Format],
    folder: &Path,
    name: &str,
) -> Result<Checked, Error> {
    let sheet = job_sheet(folder, args.job_sheet.as_deref())?;
    let id = sheet
        .as_ref()
        .and_then(|sheet| sheet.id.clone())
        .unwrap_or_else(|| name.to_owned());
    let mut ledger = args.ledger.as_deref().map(ledger::open).transpose()?;
    if let (true, Some(ledger)) = (args.once, &mut ledger)
        && let Some(why) = claim::take(&mut **ledger, &id)?
    {
        style::diagnostic("left out", &why);
        return Ok(Checked {
            exit: Exit::Clean,
            report: None,
        });
    }
    let checked =
        checked((args, cache), (folder, sheet), ledger.as_deref(), &id).and_then(|result| {
            let Some(result) = result else {
                return Ok(None);
            };
            let done = output_of(args, formats, name, &result)?;
            if let (true, Some(ledger)) = (args.record, &mut ledger) {
                ledger.record_job(&result.record(&id))?;
            }
            Ok(Some(done))
        });
    let mut released = Ok(());
    if let (true, Some(ledger), Err(_) | Ok(None)) = (args.once, &mut ledger, &checked) {
        released = claim::release(&mut **ledger, &id);
    }
    let checked = checked?.unwrap_or(Checked {
        exit: Exit::NoPhotos,
        report: None,
    });
    released.map(|()| checked)
}

/// Judges one job folder; `None` if there is no photo in it.
fn checked(
    (args, cache): (&CheckArgs, &Option<Arc<Cache>>),
    (folder, sheet): (&Path, Option<JobSheet>),
    ledger: Option<&dyn Ledger>,
    id: &str,
) -> Result<Option<JobResult>, Error> {
    let mut options = Options::default();
    options.now = Some(chrono::Utc::now());
    options.cache.clone_from(cache);
    let page = args.format.is_empty() || args.format.contains(&Format::Html);
    if args.out.is_some() && page {
        options.pictures = Pictures::Keep;
    }
    if let Some(path) = &args.waivers {
        options.waivers = Some((WaiverSet::read(path)?, chrono::Local::now().date_naive()));
    }
    let bar = Bar::new();
    let searched = ledger.map(|ledger| (ledger, id));
    let result = pipeline::run(folder, sheet, &options, searched, &|progress| {
        bar.show(progress)
    });
    bar.clear();
    let result = result?;
    if result.intake.photos.is_empty() && result.intake.rejected.is_empty() {
        style::diagnostic("error", &format!("no photos found in {}", folder.display()));
        return Ok(None);
    }
    Ok(Some(result))
}

/// Writes or prints the report.
fn output_of(
    args: &CheckArgs,
    formats: &[Format],
    name: &str,
    result: &JobResult,
) -> Result<Checked, Error> {
    let report = build::report(result, name);
    let written = match &args.out {
        None => {
            style::results(&rendered(&report, formats[0]));
            None
        }
        Some(dir) => {
            let dir = if args.folders.len() > 1 {
                dir.join(name)
            } else {
                dir.clone()
            };
            write(&dir, formats, &report, result)?;
            style::results(&text::render(&report, &style::text_options()));
            style::diagnostic("written", &dir.display().to_string());
            Some(dir)
        }
    };
    let exit = gate(report.outcome, &report, args.fail_on);
    Ok(Checked {
        exit,
        report: Some((report, written)),
    })
}

fn rendered(report: &Report, format: Format) -> String {
    match format {
        Format::Json => json::render(report),
        Format::Sarif => sarif::render(report),
        Format::Junit => junit::render(report),
        Format::Text | Format::Html | Format::Csv => text::render(report, &style::text_options()),
    }
}

fn write(dir: &Path, formats: &[Format], report: &Report, result: &JobResult) -> Result<(), Error> {
    output::folder(dir)?;
    for format in formats {
        match format {
            Format::Text => {
                let plain = text::render(report, &text::TextOptions::default());
                output::write(dir, "report.txt", plain.as_bytes())?;
            }
            Format::Json => output::write(dir, "report.json", json::render(report).as_bytes())?,
            Format::Html => {
                let page = html::render(report, &result.thumbnails)?;
                output::write(dir, "report.html", page.as_bytes())?;
            }
            Format::Csv => {
                output::write(dir, "photos.csv", csv::photos(report).as_bytes())?;
                output::write(dir, "volume.csv", csv::volume(report).as_bytes())?;
            }
            Format::Sarif => {
                output::write(dir, "findings.sarif", sarif::render(report).as_bytes())?
            }
            Format::Junit => output::write(dir, "junit.xml", junit::render(report).as_bytes())?,
        }
    }
    Ok(())
}

fn gate(outcome: Outcome, report: &Report, fail_on: FailOn) -> Exit {
    let found = match fail_on {
        FailOn::Note => report
            .findings
            .iter()
            .any(|finding| finding.waived.is_none()),
        FailOn::Review => outcome >= Outcome::Review,
        FailOn::Fail => outcome >= Outcome::Fail,
    };
    if found { Exit::Findings } else { Exit::Clean }
}
