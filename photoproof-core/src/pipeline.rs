//! The whole program on a page: ingest, measure, group, judge.

use std::path::Path;

use chrono::NaiveDate;

use crate::error::Error;
use crate::group::{CopyPair, Grouped, Original, group};
use crate::ingest::{self, IngestOptions, Intake, Photo, PhotoId, Pixels};
use crate::job::JobSheet;
use crate::judge::{Evidence, Judgement, WaiverSet, judge};
use crate::measure::{PhotoMeasures, copy, measure_photo, pairs};
use crate::thumbnail::{Thumbnail, Thumbnails};

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
    pub measures: Vec<PhotoMeasures>,
    /// View sets, copies, coverage.
    pub grouped: Grouped,
    /// Findings.
    pub judgement: Judgement,
    /// Small pictures by path, if asked for.
    pub thumbnails: Thumbnails,
}

/// Checks one job folder.
///
/// # Errors
/// If the folder cannot be read or exceeds the bounds. A bad photo is a finding, not an error.
pub fn run(
    folder: &Path,
    sheet: Option<JobSheet>,
    options: &Options,
    progress: &(dyn Fn(Progress) + Sync),
) -> Result<JobResult, Error> {
    let has_sheet = sheet.is_some();
    let sheet = sheet.unwrap_or_default();
    let photos_done = |done, total| progress(Progress::Photos(done, total));
    let observe = |photo: &Photo, pixels: &Pixels| {
        let thumbnail = match options.pictures {
            Pictures::Keep => Thumbnail::new(pixels),
            Pictures::Skip => None,
        };
        (measure_photo(photo, pixels), thumbnail)
    };
    let (intake, observed) =
        ingest::ingest_with_progress(folder, &sheet, &options.ingest, observe, &photos_done)?;
    let mut measures = Vec::with_capacity(observed.len());
    let mut thumbnails = Thumbnails::new();
    for (photo, (measure, thumbnail)) in intake.photos.iter().zip(observed) {
        measures.push(measure);
        thumbnails.extend(thumbnail.map(|thumbnail| (photo.path.clone(), thumbnail)));
    }
    let compared = pairs::compare_pairs(&intake.photos, &measures, &|done, total| {
        progress(Progress::Pairs(done, total));
    });
    let grouped = group(&sheet, &intake, compared, copies(&measures));
    let evidence = Evidence::new(&sheet, &intake, &measures, &grouped);
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

fn copies(measures: &[PhotoMeasures]) -> Vec<CopyPair> {
    copy::find_copies(&measures.iter().collect::<Vec<_>>())
        .into_iter()
        .map(|(original, photo, measure)| CopyPair {
            photo: PhotoId(photo),
            original: Original::InJob(PhotoId(original)),
            measure,
        })
        .collect()
}
