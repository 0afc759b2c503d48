//! `photoproof ledger add|find|list|remove|stats`

use std::path::{Path, PathBuf};

use photoproof_core::ingest::{IngestOptions, read_photo};
use photoproof_core::ledger::{self, Lead, Ledger};
use photoproof_core::measure::{CopyMeasure, PhotoMeasures, measure_photo};
use photoproof_core::{Error, ErrorKind, pipeline};
use rayon::prelude::*;
use serde_json::json;

use crate::exit::Exit;
use crate::progress::Bar;
use crate::settings::{folder_name, job_sheet};

/// Arguments of `ledger`.
#[derive(Debug, clap::Args)]
pub(crate) struct LedgerArgs {
    /// What to do with the ledger.
    #[command(subcommand)]
    action: Action,
}

/// The ledger's own commands.
#[derive(Debug, clap::Subcommand)]
enum Action {
    /// Record the photos of a job folder; a job recorded before is replaced
    Add {
        /// Job folder
        folder: PathBuf,
        /// Job id [default: id of the job sheet, else the folder's name]
        #[arg(long)]
        job: Option<String>,
        /// Vendor [default: vendor of the job sheet]
        #[arg(long)]
        vendor: Option<String>,
        /// Job sheet [default: job.toml in the folder, if present]
        #[arg(long, value_name = "FILE")]
        job_sheet: Option<PathBuf>,
        #[command(flatten)]
        store: Store,
    },
    /// Find out whether photos were used by an earlier job
    Find {
        /// Photo files
        #[arg(required = true, value_name = "PHOTO")]
        photos: Vec<PathBuf>,
        /// Leave this job out
        #[arg(long, value_name = "JOB")]
        except_job: Option<String>,
        #[command(flatten)]
        store: Store,
    },
    /// List the recorded jobs
    List {
        #[command(flatten)]
        store: Store,
    },
    /// Forget a job: everything the ledger holds about it is deleted
    Remove {
        /// Job id
        job: String,
        #[command(flatten)]
        store: Store,
    },
    /// Print how much the ledger holds
    Stats {
        #[command(flatten)]
        store: Store,
    },
}

/// Which ledger, and how to print.
#[derive(Debug, clap::Args)]
struct Store {
    /// Ledger: an SQLite file, or a postgres:// URL
    #[arg(long, value_name = "FILE|URL", env = "PHOTOPROOF_LEDGER")]
    ledger: String,
    /// How to print: text, or json with one line an entry
    #[arg(long, value_enum, default_value_t = Format::Text)]
    format: Format,
}

/// Output of `ledger`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum Format {
    /// Lines for people.
    Text,
    /// One JSON object a line.
    Json,
}

impl Store {
    fn open(&self) -> Result<Box<dyn Ledger>, Error> {
        ledger::open(&self.ledger)
    }

    /// Opens a ledger that must exist already: a question must not make an empty file.
    fn open_existing(&self) -> Result<Box<dyn Ledger>, Error> {
        let path = self
            .ledger
            .strip_prefix("sqlite://")
            .unwrap_or(&self.ledger);
        if !path.contains("://") && !Path::new(path).exists() {
            return Err(Error::new(
                ErrorKind::Ledger,
                format!("ledger {path} does not exist; record a job first or check the path"),
            ));
        }
        self.open()
    }

    fn print(&self, text: &str, json: &serde_json::Value) {
        match self.format {
            Format::Text => crate::style::results(&format!("{text}\n")),
            Format::Json => crate::style::results(&format!("{json}\n")),
        }
    }
}

/// Runs `ledger`.
pub(crate) fn run(args: &LedgerArgs) -> Result<Exit, Error> {
    match &args.action {
        Action::Add {
            folder,
            job,
            vendor,
            job_sheet,
            store,
        } => {
            let given = (job.as_deref(), vendor.as_deref(), job_sheet.as_deref());
            add(folder, given, store)
        }
        Action::Find {
            photos,
            except_job,
            store,
        } => find(photos, except_job.as_deref(), store),
        Action::List { store } => list(store),
        Action::Remove { job, store } => remove(job, store),
        Action::Stats { store } => stats(store),
    }
}

fn add(
    folder: &Path,
    given: (Option<&str>, Option<&str>, Option<&Path>),
    store: &Store,
) -> Result<Exit, Error> {
    let (job, vendor, sheet) = given;
    let sheet = job_sheet(folder, sheet)?;
    let of_sheet = sheet.as_ref().and_then(|sheet| sheet.id.clone());
    let job = job.map(str::to_owned).or(of_sheet);
    let job = job.unwrap_or_else(|| folder_name(folder));
    let bar = Bar::new(1, 0);
    let options = pipeline::Options::default();
    let result = pipeline::run(folder, sheet, &options, None, &|progress| {
        bar.show(progress)
    });
    bar.clear();
    let result = result?;
    if result.intake.photos.is_empty() {
        crate::style::diagnostic("error", &format!("no photos in {}", folder.display()));
        return Ok(Exit::NoPhotos);
    }
    for rejected in &result.intake.rejected {
        let message = format!("{} is left out: {}", rejected.path, rejected.reason);
        crate::style::diagnostic("note", &message);
    }
    // The same record that `check --record` makes.
    let mut record = result.record(&job)?;
    record.vendor = vendor.map(str::to_owned).or(record.vendor);
    store.open()?.record_job(&record)?;
    let count = record.photos.len();
    store.print(
        &format!("recorded {job} with {count} photos"),
        &json!({"job": job, "photos": count}),
    );
    Ok(Exit::Clean)
}

fn find(photos: &[PathBuf], except: Option<&str>, store: &Store) -> Result<Exit, Error> {
    let ledger = store.open_existing()?;
    let options = IngestOptions::default();
    let (mut paths, mut measured): (Vec<String>, Vec<PhotoMeasures>) = Default::default();
    let read: Vec<_> = photos
        .par_iter()
        .map(|path| {
            let shown = path.to_string_lossy().into_owned();
            let photo = read_photo(path, &shown, &options);
            photo.map(|(photo, pixels)| (shown, measure_photo(&photo, &pixels)))
        })
        .collect();
    for photo in read {
        match photo {
            Ok((path, measures)) => {
                paths.push(path);
                measured.push(measures);
            }
            Err(bad) => crate::style::diagnostic("error", &format!("{}: {}", bad.path, bad.reason)),
        }
    }
    if measured.is_empty() {
        return Ok(Exit::Failed);
    }
    let leads = ledger.find(&measured.into_iter().collect(), except)?;
    for (asked, path) in paths.iter().enumerate() {
        let mut confirmed = leads
            .iter()
            .filter(|l| l.asked == asked && l.measure.is_some())
            .peekable();
        if confirmed.peek().is_none() && store.format == Format::Text {
            crate::style::results(&format!("{path}: not in the ledger\n"));
        }
        for lead in confirmed {
            show(path, lead, store);
        }
    }
    let any = leads.iter().any(|l| l.measure.is_some());
    Ok(if any { Exit::Findings } else { Exit::Clean })
}

fn show(path: &str, lead: &Lead, store: &Store) {
    let Some(measure) = &lead.measure else { return };
    let place = [&lead.photo.area, &lead.photo.phase, &lead.photo.taken];
    let place: Vec<&str> = place.into_iter().flatten().map(String::as_str).collect();
    let text = format!(
        "{path}: {} of {} in job {}{}",
        words(measure),
        lead.photo.path,
        lead.job,
        if place.is_empty() {
            String::new()
        } else {
            format!(" ({})", place.join(", "))
        },
    );
    let json = json!({
        "photo": path, "other_job": lead.job, "other_path": lead.photo.path,
        "kind": measure.kind, "transform": measure.transform, "crop": measure.crop,
        "confidence": measure.confidence, "hash_distance": lead.distance,
        "area": lead.photo.area, "phase": lead.photo.phase, "taken": lead.photo.taken,
        "device": lead.photo.device, "first_seen": lead.photo.first_seen,
    });
    store.print(&text, &json);
}

fn words(measure: &CopyMeasure) -> String {
    use photoproof_core::measure::CopyKind;
    match measure.kind {
        CopyKind::SameBytes => "same file as that".to_owned(),
        CopyKind::SamePixels => "same pixels as those".to_owned(),
        CopyKind::Edited if measure.transform == "none" => "edited copy".to_owned(),
        CopyKind::Edited => format!("edited copy ({})", measure.transform),
        CopyKind::Unsure => "edited copy or second exposure".to_owned(),
    }
}

fn list(store: &Store) -> Result<Exit, Error> {
    for entry in store.open_existing()?.jobs()? {
        let vendor = entry.vendor.as_deref().unwrap_or("-");
        store.print(
            &format!(
                "{}\t{} photos\t{vendor}\t{}",
                entry.job, entry.photos, entry.recorded
            ),
            &json!({"job": entry.job, "vendor": entry.vendor, "photos": entry.photos,
                    "recorded": entry.recorded}),
        );
    }
    Ok(Exit::Clean)
}

fn remove(job: &str, store: &Store) -> Result<Exit, Error> {
    if !store.open_existing()?.remove_job(job)? {
        return Err(Error::new(
            ErrorKind::Ledger,
            format!("job {job} is not in the ledger; see the list command"),
        ));
    }
    store.print(&format!("removed {job}"), &json!({"removed": job}));
    Ok(Exit::Clean)
}

fn stats(store: &Store) -> Result<Exit, Error> {
    let stats = store.open_existing()?.stats()?;
    store.print(
        &format!(
            "{} jobs, {} photos, {} bytes",
            stats.jobs, stats.photos, stats.bytes
        ),
        &json!({"jobs": stats.jobs, "photos": stats.photos, "bytes": stats.bytes}),
    );
    Ok(Exit::Clean)
}
