//! The whole program on a page: ingest, measure, group, judge.

use std::path::Path;
use std::sync::Arc;

use chrono::{DateTime, NaiveDate, Utc};
use rayon::prelude::*;

use crate::cache::{Cache, Onlooker, Remembered};
use crate::error::Error;
use crate::group::loads::{self, LoadEvidence};
use crate::group::{
    ChangedPair, Compared, CopyPair, Grouped, Original, group, rival_pairs, visible,
};
use crate::ingest::{self, IngestOptions, Intake, PhotoId};
use crate::job::JobSheet;
use crate::judge::{Evidence, Judgement, WaiverSet, judge};
use crate::ledger::{JobRecord, Ledger, PhotoRecord};
use crate::measure::{Comparison, Shelf, Spool, Viewpoint, copy, pairs};
use crate::thumbnail::Thumbnails;

/// Where a run stands, for a progress display.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Progress {
    /// Photos read and measured, of how many.
    Photos(usize, usize),
    /// Pairs compared, of how many.
    Pairs(usize, usize),
}

/// Options of one run.
#[derive(Debug, Clone, Default)]
#[non_exhaustive]
pub struct Options {
    /// Bounds and choices of ingest.
    pub ingest: IngestOptions,
    /// Whether to keep small pictures for a report.
    pub pictures: Pictures,
    /// Waivers and the day on which they are read.
    pub waivers: Option<(WaiverSet, NaiveDate)>,
    /// The time of the run: later capture times are in the future. Without it none is.
    pub now: Option<DateTime<Utc>>,
    /// Measures of earlier runs; the result is the same without.
    pub cache: Option<Arc<Cache>>,
}

/// Whether a run keeps small pictures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Pictures {
    /// None are made.
    #[default]
    Skip,
    /// One for each photo.
    Keep,
}

/// Everything known about one job.
#[derive(Debug)]
#[non_exhaustive]
pub struct JobResult {
    /// The job sheet, empty if none was given.
    pub sheet: JobSheet,
    /// Whether a job sheet was given.
    pub has_sheet: bool,
    /// What was found in the folder.
    pub intake: Intake,
    /// Measures of each photo.
    pub measures: Shelf,
    /// View sets, copies, coverage.
    pub grouped: Grouped,
    /// Findings.
    pub judgement: Judgement,
    /// Small pictures by path, if asked for.
    pub thumbnails: Thumbnails,
}

impl JobResult {
    /// What the ledger keeps of this job, with the labels that were inferred.
    ///
    /// # Errors
    /// If measures cannot be read back.
    pub fn record(&self, job: &str) -> Result<JobRecord, Error> {
        let photos = self.intake.photos.iter().zip(&self.grouped.labels);
        let photos = photos.enumerate().map(|(index, (photo, label))| {
            let mut record = PhotoRecord::new(photo, &*self.measures.get(index)?);
            record.area.clone_from(&label.area);
            record.phase = label.phase.map(|phase| phase.name().to_owned());
            Ok(record)
        });
        Ok(JobRecord {
            job: job.to_owned(),
            vendor: self.sheet.vendor.clone(),
            photos: photos.collect::<Result<_, Error>>()?,
        })
    }
}

/// Checks one job folder. With a ledger, photos of other jobs than the given id are searched for copies.
///
/// # Errors
/// If the folder cannot be read or exceeds the bounds, or the ledger cannot be read. A bad photo is a finding, not an error.
pub fn run(
    folder: &Path,
    sheet: Option<JobSheet>,
    options: &Options,
    ledger: Option<(&dyn Ledger, &str)>,
    progress: &(dyn Fn(Progress) + Sync),
) -> Result<JobResult, Error> {
    let has_sheet = sheet.is_some();
    let sheet = sheet.unwrap_or_default();
    let photos_done = |done, total| progress(Progress::Photos(done, total));
    let cache = options.cache.as_deref();
    let spool = Spool::new(cache.map(Cache::folder));
    let onlooker = Onlooker::new(cache, options.pictures, &spool, &options.ingest);
    let (intake, observed) =
        ingest::ingest_with_progress(folder, &sheet, &options.ingest, &onlooker, &photos_done)?;
    let mut placed = Vec::with_capacity(observed.len());
    let mut thumbnails = Thumbnails::new();
    for (photo, (measures, thumbnail)) in intake.photos.iter().zip(observed) {
        placed.push(measures);
        thumbnails.extend(thumbnail.map(|thumbnail| (photo.path.clone(), thumbnail)));
    }
    let measures = Shelf::new(spool, placed);
    let remembered = Remembered::new(cache);
    let pairs_done = |done, total| progress(Progress::Pairs(done, total));
    let compared = pairs::compare_pairs(&intake.photos, &measures, &remembered, &pairs_done)?;
    let rivals = rival_pairs(&sheet.limits, &intake.photos, &compared);
    let rivals = pairs::compare(&rivals, &measures, &remembered, &|_, _| {})?;
    let copies = copies(&measures, &remembered, ledger)?;
    let mut grouped = group(&sheet, &intake, Compared { compared, rivals }, copies);
    let repeats = loads::repeats(
        &grouped.debris,
        LoadEvidence {
            sheet: &sheet,
            intake: &intake,
            measures: &measures,
            copies: &grouped.copies,
            moments: &grouped.moments,
            comparison: &remembered,
        },
    )?;
    grouped.debris.count_once(repeats);
    if let (Some((ledger, own_job)), Some(vendor)) = (ledger, &sheet.vendor) {
        grouped.vendor_cameras = Some(ledger.cameras(vendor, Some(own_job))?);
    }
    grouped.changes = changes(&sheet, &grouped, &measures, &remembered)?;
    remembered.save();
    let evidence = Evidence::new(&sheet, &intake, measures.facts(), &grouped).at(options.now);
    let mut judgement = judge(&evidence);
    if let Some((waivers, today)) = &options.waivers {
        judgement.waive(&evidence, waivers, *today);
    }
    Ok(JobResult {
        sheet,
        has_sheet,
        intake,
        measures,
        grouped,
        judgement,
        thumbnails,
    })
}

/// Visible change of the pairs whose answer is read.
fn changes(
    sheet: &JobSheet,
    grouped: &Grouped,
    measures: &Shelf,
    comparison: &dyn Comparison,
) -> Result<Vec<ChangedPair>, Error> {
    let changes: Result<Vec<Option<ChangedPair>>, Error> = visible::wanted(sheet, grouped)
        .into_par_iter()
        .map(|pair| {
            let Viewpoint::Shift(shift) = &pair.viewpoint else {
                return Ok(None);
            };
            let (a, b) = (measures.get(pair.a.0)?, measures.get(pair.b.0)?);
            let change = comparison.change(&a, &b, shift);
            Ok(change.map(|change| ChangedPair {
                a: pair.a,
                b: pair.b,
                change,
            }))
        })
        .collect();
    Ok(changes?.into_iter().flatten().collect())
}

fn copies(
    measures: &Shelf,
    comparison: &dyn Comparison,
    ledger: Option<(&dyn Ledger, &str)>,
) -> Result<Vec<CopyPair>, Error> {
    let mut copies: Vec<CopyPair> = copy::find_copies_by(measures, comparison)?
        .into_iter()
        .map(|(original, photo, measure)| CopyPair {
            photo: PhotoId(photo),
            original: Original::InJob(PhotoId(original)),
            measure,
        })
        .collect();
    if let Some((ledger, own_job)) = ledger {
        let leads = ledger.find(measures, Some(own_job))?;
        copies.extend(leads.into_iter().filter_map(|lead| {
            Some(CopyPair {
                photo: PhotoId(lead.asked),
                original: Original::InLedger {
                    job: lead.job,
                    path: lead.photo.path,
                },
                measure: lead.measure?,
            })
        }));
    }
    Ok(copies)
}
