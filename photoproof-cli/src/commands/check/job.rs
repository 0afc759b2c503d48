//! One job: is it free, is it finished, else check it, write its reports, record it.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use photoproof_core::Error;
use photoproof_core::cache::Cache;
use photoproof_core::ingest::{FolderState, IngestOptions};
use photoproof_core::job::JobSheet;
use photoproof_core::judge::WaiverSet;
use photoproof_core::ledger::{self, Ledger};
use photoproof_core::pipeline::{self, JobResult, Options, Pictures, Progress};
use photoproof_core::report::build;
use photoproof_core::report::v1::Report;

use super::reports::{self, Format};
use super::{CheckArgs, state};
use crate::commands::claim;
use crate::settings::job_sheet;

/// A job of the batch.
pub(super) struct Job<'a> {
    pub(super) folder: &'a Path,
    /// The folder's name, distinct in the batch.
    pub(super) name: String,
    /// How the folder looks; `None` if it cannot be listed.
    state: Option<FolderState>,
}

impl<'a> Job<'a> {
    pub(super) fn new(folder: &'a Path, name: String) -> Self {
        Self {
            folder,
            name,
            state: FolderState::read(folder, &IngestOptions::default()).ok(),
        }
    }

    /// Files whose names say that they are photos.
    pub(super) fn photos(&self) -> usize {
        self.state.as_ref().map_or(0, |state| state.photos)
    }
}

/// How a job ended that could be looked at.
pub(super) enum End {
    /// Checked; its reports are written.
    Judged(Report),
    /// Checked by an earlier run from the same inputs.
    Unchanged(Report),
    /// Taken by another worker, for this reason.
    LeftOut(String),
    /// Nothing to judge.
    NoPhotos,
}

/// What all jobs of a run share.
pub(super) struct Run<'a> {
    pub(super) args: &'a CheckArgs,
    pub(super) formats: Vec<Format>,
    pub(super) cache: Option<Arc<Cache>>,
    /// Whether each job has a folder of its own among the reports.
    pub(super) is_batch: bool,
}

/// A job with what was read for it.
struct Opened<'a> {
    job: &'a Job<'a>,
    id: String,
    sheet: Option<JobSheet>,
    options: Options,
    ledger: Option<Box<dyn Ledger>>,
    /// Where its reports go.
    dir: Option<PathBuf>,
    /// Digest of its inputs; only for the jobs of a batch that writes reports.
    inputs: Option<String>,
}

impl Run<'_> {
    /// Checks one job. With `--once` only if the job is free.
    pub(super) fn check(
        &self,
        job: &Job<'_>,
        progress: &(dyn Fn(Progress) + Sync),
    ) -> Result<End, Error> {
        let mut opened = self.open(job)?;
        if let Some(report) = self.finished(&opened)? {
            return Ok(End::Unchanged(report));
        }
        if let (true, Some(ledger)) = (self.args.once, &mut opened.ledger)
            && let Some(why) = claim::take(&mut **ledger, &opened.id)?
        {
            return Ok(End::LeftOut(why));
        }
        let ended = self.judged(&mut opened, progress);
        let mut released = Ok(());
        if let (true, Some(ledger), Err(_) | Ok(End::NoPhotos)) =
            (self.args.once, &mut opened.ledger, &ended)
        {
            released = claim::release(&mut **ledger, &opened.id);
        }
        let ended = ended?;
        released.map(|()| ended)
    }

    fn open<'a>(&self, job: &'a Job<'a>) -> Result<Opened<'a>, Error> {
        let args = self.args;
        let sheet = job_sheet(job.folder, args.job_sheet.as_deref())?;
        let id = sheet.as_ref().and_then(|sheet| sheet.id.clone());
        let mut opened = Opened {
            job,
            id: id.unwrap_or_else(|| job.name.clone()),
            sheet,
            options: self.options()?,
            ledger: args.ledger.as_deref().map(ledger::open).transpose()?,
            dir: None,
            inputs: None,
        };
        if let Some(out) = &args.out {
            opened.dir = Some(self.place(out, job));
            if self.is_batch {
                opened.inputs = self.inputs(&opened)?;
            }
        }
        Ok(opened)
    }

    /// Where the reports of a job go.
    pub(super) fn place(&self, out: &Path, job: &Job<'_>) -> PathBuf {
        if self.is_batch {
            out.join(&job.name)
        } else {
            out.to_path_buf()
        }
    }

    fn options(&self) -> Result<Options, Error> {
        let mut options = Options::default();
        options.now = Some(chrono::Utc::now());
        options.cache.clone_from(&self.cache);
        if self.args.out.is_some() && self.formats.contains(&Format::Html) {
            options.pictures = Pictures::Keep;
        }
        if let Some(path) = &self.args.waivers {
            options.waivers = Some((WaiverSet::read(path)?, chrono::Local::now().date_naive()));
        }
        Ok(options)
    }

    /// Everything the job's reports depend on.
    fn inputs(&self, opened: &Opened<'_>) -> Result<Option<String>, Error> {
        let Some(folder) = &opened.job.state else {
            return Ok(None);
        };
        let ledger = match (&self.args.ledger, &opened.ledger) {
            // What comes into the ledger later is held against the later job.
            (Some(place), Some(_)) if self.args.record => format!("recorded in {place}"),
            (Some(_), Some(ledger)) => state::ledger_state(&**ledger, &opened.id)?,
            _ => "no ledger".to_owned(),
        };
        Ok(Some(state::inputs(&[
            folder.digest.clone(),
            opened.job.name.clone(),
            format!("{:?}", opened.sheet),
            format!("{:?}", opened.options.waivers),
            format!("{:?}", self.formats),
            ledger,
        ])))
    }

    /// The report of an earlier run from the same inputs, unless it is to be made again.
    fn finished(&self, opened: &Opened<'_>) -> Result<Option<Report>, Error> {
        let (Some(dir), Some(inputs), false) = (&opened.dir, &opened.inputs, self.args.again)
        else {
            return Ok(None);
        };
        let Some(report) = state::finished(dir, inputs) else {
            return Ok(None);
        };
        let recorded = match &opened.ledger {
            Some(ledger) if self.args.record => {
                let kept = ledger.photos(&opened.id)?;
                let kept = kept.iter().map(|photo| (&photo.file_sha256, &photo.area));
                kept.eq(report
                    .photos
                    .iter()
                    .map(|photo| (&photo.sha256, &photo.area)))
            }
            _ => true,
        };
        Ok(recorded.then_some(report))
    }

    /// Judges the job, writes its reports, remembers that they are written, and records it: in this order, so that a run
    /// that is killed in between does the job again, and one that is killed afterwards does not.
    fn judged(
        &self,
        opened: &mut Opened<'_>,
        progress: &(dyn Fn(Progress) + Sync),
    ) -> Result<End, Error> {
        let searched = opened.ledger.as_deref();
        let result = pipeline::run(
            opened.job.folder,
            opened.sheet.take(),
            &opened.options,
            searched.map(|ledger| (ledger, opened.id.as_str())),
            progress,
        )?;
        if result.intake.photos.is_empty() && result.intake.rejected.is_empty() {
            return Ok(End::NoPhotos);
        }
        let report = build::report(&result, &opened.job.name);
        let mut written = state::Written::new();
        if let Some(dir) = &opened.dir {
            written = reports::write(dir, &self.formats, &report, &result)?;
        }
        if let (Some(dir), Some(inputs)) = (&opened.dir, opened.inputs.take()) {
            state::keep(dir, inputs, written, &report)?;
        }
        self.record(opened, &result)?;
        Ok(End::Judged(report))
    }

    fn record(&self, opened: &mut Opened<'_>, result: &JobResult) -> Result<(), Error> {
        match &mut opened.ledger {
            Some(ledger) if self.args.record => ledger.record_job(&result.record(&opened.id)?),
            _ => Ok(()),
        }
    }
}
