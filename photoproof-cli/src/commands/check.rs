//! `photoproof check JOB_FOLDER...`

mod batch;
mod job;
mod reports;
mod state;
mod watch;

use std::path::{Path, PathBuf};

use photoproof_core::ingest;
use photoproof_core::judge::Outcome;
use photoproof_core::report::shape::standing;
use photoproof_core::report::text;
use photoproof_core::report::v1::Report;
use photoproof_core::{Error, ErrorKind};

use self::job::{End, Job, Run};
use self::reports::Format;
use self::watch::JobWatch;
use crate::cache::{self, CacheArgs};
use crate::events::{Event, Events};
use crate::exit::{self, Exit};
use crate::progress::Bar;
use crate::settings::{Threads, folder_name};
use crate::{interrupt, style};

/// Arguments of `check`.
#[derive(Debug, clap::Args)]
pub(crate) struct CheckArgs {
    /// Job folders, or .zip archives of them; each is one job. Built with object storage also s3://BUCKET/PREFIX, gs://
    /// or az://; with /* at its end, every name below is one job
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
    /// Folder for the reports; without it only text is printed. Several jobs get a folder each and an index, and a
    /// job that was finished here from the same inputs is not checked again
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Check finished jobs again
    #[arg(long, requires = "out")]
    again: bool,
    /// What to write to --out; without --out, one format to print
    #[arg(long, value_enum, value_delimiter = ',', value_name = "FORMAT,...")]
    format: Vec<Format>,
    /// Lowest severity that makes the exit code 1
    #[arg(long, value_enum, default_value_t = FailOn::Review)]
    fail_on: FailOn,
    /// Write what happens as JSON lines to a file, or with - to stdout instead of the results: jobs started, photos
    /// and pairs done, jobs finished
    #[arg(long, value_name = "FILE|-")]
    events: Option<PathBuf>,
    /// Jobs checked at the same time [default: one a thread, at most 4; always 1 with --record, since each job is
    /// searched for photos of those before it]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=256))]
    jobs: Option<u16>,
    /// Memory in MiB that jobs checked at the same time may be expected to take together; a larger job runs alone
    #[arg(long, value_name = "MIB", default_value_t = 1024)]
    max_memory: u64,
    #[command(flatten)]
    cache: CacheArgs,
    #[command(flatten)]
    threads: Threads,
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

/// Most jobs at the same time unless --jobs says more: each has parts that one thread does.
const MOST_AT_ONCE: usize = 4;

/// What has come of the jobs so far.
struct Sum {
    worst: Exit,
    done: Vec<(Report, String)>,
    unchanged: usize,
    errors: usize,
}

/// Runs `check`.
pub(crate) fn run(args: &CheckArgs) -> Result<Exit, Error> {
    args.threads.apply()?;
    let folders = job_folders(&args.folders)?;
    let run = Run {
        args,
        formats: reports::formats(args)?,
        cache: args.cache.open(),
        // Whether one job or none is there now, a batch keeps its places.
        is_batch: folders.len() > 1 || folders != args.folders,
    };
    if args.prints_events() && args.out.is_none() {
        return Err(Error::new(
            ErrorKind::Usage,
            "events on stdout leave no room for the results; say where to put them with --out DIR",
        ));
    }
    let events = Events::open(args.events.as_deref())?;
    let names = distinct_names(&folders);
    let jobs: Vec<Job<'_>> = folders
        .iter()
        .zip(names)
        .map(|(folder, name)| Job::new(folder, name))
        .collect();
    let bar = Bar::new(jobs.len(), jobs.iter().map(Job::photos).sum());
    interrupt::install(bar.inner());
    let check = |job| {
        let watch = JobWatch::start(job, &bar, &events);
        let ended = run.check(job, &|progress| watch.show(progress));
        watch.end(&ended);
        ended
    };
    let mut sum = Sum {
        worst: Exit::Clean,
        done: Vec::new(),
        unchanged: 0,
        errors: 0,
    };
    let bounds = (args.at_once(), args.max_memory);
    batch::run(&jobs, bounds, &check, &mut |job, ended| {
        bar.aside(|| sum.add(&run, job, ended));
    });
    bar.clear();
    cache::close(run.cache.as_deref());
    let ended = Event::BatchFinished {
        jobs: jobs.len(),
        judged: sum.done.len(),
        unchanged: sum.unchanged,
        errors: sum.errors,
        exit: sum.worst as u8,
    };
    if let (Some(dir), true) = (&args.out, run.is_batch) {
        reports::write_index(dir, sum.done)?;
    }
    events.tell(&ended);
    Ok(sum.worst)
}

impl CheckArgs {
    fn prints_events(&self) -> bool {
        self.events.as_deref() == Some(Path::new("-"))
    }

    fn at_once(&self) -> usize {
        let usual = rayon::current_num_threads().min(MOST_AT_ONCE);
        match self.jobs {
            _ if self.record => 1,
            Some(jobs) => usize::from(jobs),
            None => usual,
        }
    }
}

impl Sum {
    /// Prints how a job ended and adds it up. One bad job of a batch stops nothing.
    fn add(&mut self, run: &Run<'_>, job: &Job<'_>, ended: Result<End, Error>) {
        let report = match ended {
            Err(error) => {
                self.errors += 1;
                self.worst = self.worst.worse(exit::failed(&error));
                return;
            }
            Ok(End::LeftOut(why)) => {
                style::diagnostic("left out", &why);
                return;
            }
            Ok(End::NoPhotos) => {
                let folder = job.folder.display();
                style::diagnostic("error", &format!("no photos found in {folder}"));
                self.worst = self.worst.worse(Exit::NoPhotos);
                return;
            }
            Ok(End::Judged(report)) => {
                self.print(run, job, &report, "written");
                report
            }
            Ok(End::Unchanged(report)) => {
                self.unchanged += 1;
                self.print(run, job, &report, "unchanged");
                report
            }
        };
        self.worst = self.worst.worse(gate(&report, run.args.fail_on));
        // Only the index of a batch needs them.
        self.done.push((report, job.name.clone()));
    }

    fn print(&self, run: &Run<'_>, job: &Job<'_>, report: &Report, what: &str) {
        let Some(out) = &run.args.out else {
            style::results(&reports::rendered(report, &run.formats));
            return;
        };
        if !run.args.prints_events() {
            style::results(&text::render(report, &style::text_options()));
        }
        style::diagnostic(what, &run.place(out, job).display().to_string());
    }
}

/// The job folders that the arguments stand for.
fn job_folders(places: &[PathBuf]) -> Result<Vec<PathBuf>, Error> {
    let mut folders = Vec::new();
    for place in places {
        folders.extend(ingest::job_folders(place)?);
    }
    Ok(folders)
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

fn gate(report: &Report, fail_on: FailOn) -> Exit {
    let found = match fail_on {
        FailOn::Note => standing(report).next().is_some(),
        FailOn::Review => report.outcome >= Outcome::Review,
        FailOn::Fail => report.outcome >= Outcome::Fail,
    };
    if found { Exit::Findings } else { Exit::Clean }
}
