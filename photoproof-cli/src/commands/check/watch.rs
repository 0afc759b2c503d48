//! One job on the progress bar and among the events.

use std::sync::atomic::AtomicUsize;
use std::sync::{Mutex, PoisonError};

use photoproof_core::pipeline::Progress;
use photoproof_core::report::shape::standing;

use super::job::{End, Job};
use crate::events::{Event, Events};
use crate::progress::Bar;

/// Tells where the check of one job stands.
pub(super) struct JobWatch<'a> {
    job: &'a Job<'a>,
    bar: &'a Bar,
    events: &'a Events,
    steps: AtomicUsize,
    /// The stage and the hundredth that were told last.
    told: Mutex<(u8, usize)>,
}

impl<'a> JobWatch<'a> {
    /// Tells that the job is begun.
    pub(super) fn start(job: &'a Job<'a>, bar: &'a Bar, events: &'a Events) -> Self {
        events.tell(&Event::JobStarted {
            job: &job.name,
            folder: job.folder.display().to_string(),
            photos: job.photos(),
        });
        Self {
            job,
            bar,
            events,
            steps: AtomicUsize::new(0),
            told: Mutex::default(),
        }
    }

    /// Tells how far it is: each hundredth once, in order.
    pub(super) fn show(&self, progress: Progress) {
        self.bar.show_of(progress, self.job.photos(), &self.steps);
        let job = &self.job.name;
        let (stage, done, of) = match progress {
            Progress::Photos(done, of) => (1, done, of),
            Progress::Pairs(done, of) => (2, done, of),
        };
        let now = (stage, done * 100 / of.max(1));
        let mut told = self.told.lock().unwrap_or_else(PoisonError::into_inner);
        if now > *told {
            *told = now;
            self.events.tell(&match progress {
                Progress::Photos(..) => Event::Photos { job, done, of },
                Progress::Pairs(..) => Event::Pairs { job, done, of },
            });
        }
    }

    /// Tells how it ended.
    pub(super) fn end(&self, end: &Result<End, photoproof_core::Error>) {
        let (result, reason) = match end {
            Ok(End::Judged(_)) => ("judged", None),
            Ok(End::Unchanged(_)) => ("unchanged", None),
            Ok(End::LeftOut(why)) => ("left-out", Some(why.clone())),
            Ok(End::NoPhotos) => ("no-photos", Some("no photos found".to_owned())),
            Err(error) => ("error", Some(error.to_string())),
        };
        let report = match end {
            Ok(End::Judged(report) | End::Unchanged(report)) => Some(report),
            _ => None,
        };
        self.bar
            .ended(self.job.photos(), &self.steps, result != "judged");
        self.events.tell(&Event::JobFinished {
            job: &self.job.name,
            result,
            outcome: report.map(|report| report.outcome),
            findings: report.map(|report| standing(report).count()),
            reason,
        });
    }
}
