//! Everything a check may look at, read only.

use chrono::{DateTime, Utc};

use crate::group::{Grouped, Moment, ViewSet, required_phases};
use crate::ingest::{Intake, Label, Photo, PhotoId};
use crate::job::JobSheet;
use crate::judge::gaps::{Gap, gaps};
use crate::judge::owed_shots::OwedShots;
use crate::limits::Limits;
use crate::measure::PhotoFacts;
use crate::phase::Phase;

/// Borrow of all earlier values and the limits.
#[derive(Debug)]
pub struct Evidence<'a> {
    /// The job sheet, empty if none was given.
    pub sheet: &'a JobSheet,
    /// What was found in the folder.
    pub intake: &'a Intake,
    /// What was measured on each photo, by [`PhotoId`].
    pub measures: &'a [PhotoFacts],
    /// View sets, copies, coverage.
    pub grouped: &'a Grouped,
    /// The shots the job owes, where the sheet asks for each.
    pub owed_shots: Option<OwedShots>,
    /// Views that lack a phase, and why.
    pub gaps: Vec<Gap>,
    /// The time of the run, if known.
    pub now: Option<DateTime<Utc>>,
}

impl<'a> Evidence<'a> {
    /// Collects the evidence of one job.
    #[must_use]
    pub fn new(
        sheet: &'a JobSheet,
        intake: &'a Intake,
        measures: &'a [PhotoFacts],
        grouped: &'a Grouped,
    ) -> Self {
        let mut evidence = Self {
            sheet,
            intake,
            measures,
            grouped,
            owed_shots: OwedShots::of(sheet, intake, grouped),
            gaps: Vec::new(),
            now: None,
        };
        evidence.gaps = gaps(&evidence);
        evidence
    }

    /// The same evidence, judged at the time `now`.
    #[must_use]
    pub fn at(mut self, now: Option<DateTime<Utc>>) -> Self {
        self.now = now;
        self
    }

    /// The limits of this run.
    #[must_use]
    pub fn limits(&self) -> &Limits {
        &self.sheet.limits
    }

    /// A photo.
    #[must_use]
    pub fn photo(&self, id: PhotoId) -> &Photo {
        &self.intake.photos[id.0]
    }

    /// When a photo was taken, corrected by its clock's error.
    #[must_use]
    pub fn moment(&self, id: PhotoId) -> Option<&Moment> {
        self.grouped.moments.get(id.0)?.as_ref()
    }

    /// The resolved label of a photo.
    #[must_use]
    pub fn label(&self, id: PhotoId) -> &Label {
        &self.grouped.labels[id.0]
    }

    /// Area of a photo, if known.
    #[must_use]
    pub fn area(&self, id: PhotoId) -> Option<&str> {
        self.label(id).area.as_deref()
    }

    /// All photos, by path.
    pub fn photo_ids(&self) -> impl Iterator<Item = PhotoId> + use<> {
        (0..self.intake.photos.len()).map(PhotoId)
    }

    /// Photos of an area and phase, by path; `None` stands for the photos without an area.
    pub fn photos_of(
        &self,
        area: Option<&str>,
        phase: Phase,
    ) -> impl Iterator<Item = PhotoId> + '_ {
        let area = area.map(str::to_owned);
        self.photo_ids().filter(move |&id| {
            let label = self.label(id);
            label.area == area && label.phase == Some(phase)
        })
    }

    /// The phases the job asks for.
    #[must_use]
    pub fn required_phases(&self) -> Vec<Phase> {
        required_phases(self.sheet)
    }

    /// The phases in which a view is asked for: those of the shots its photos serve, else the job's.
    #[must_use]
    pub fn phases_of_view(&self, set: &ViewSet) -> Vec<Phase> {
        let owed = self.owed_shots.as_ref().and_then(|owed| owed.phases(set));
        owed.unwrap_or_else(|| self.required_phases())
    }

    /// Whether the area has any usable photo in the phase.
    #[must_use]
    pub fn has(&self, area: Option<&str>, phase: Phase) -> bool {
        self.photos_of(area, phase).next().is_some()
    }

    /// The set a photo belongs to as a member.
    #[must_use]
    pub fn set_of(&self, id: PhotoId) -> Option<&ViewSet> {
        self.grouped
            .view_sets
            .iter()
            .find(|set| set.photos().any(|member| member == id))
    }

    /// Whether a photo is one side of a confirmed copy.
    #[must_use]
    pub fn is_copied(&self, id: PhotoId) -> bool {
        use crate::group::Original;
        self.grouped
            .copies
            .iter()
            .filter(|copy| copy.measure.is_confirmed())
            .any(|copy| copy.photo == id || copy.original == Original::InJob(id))
    }
}
