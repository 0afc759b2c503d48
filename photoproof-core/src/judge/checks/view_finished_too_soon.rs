//! `view-finished-too-soon`: before and after of one view lie minutes apart.

use super::capture_time_out_of_order::duration;
use super::job_finished_too_soon;
use crate::group::ViewSet;
use crate::ingest::PhotoId;
use crate::judge::{Check, CheckMeta, Evidence, Finding, Severity, Status};

static META: CheckMeta = CheckMeta {
    id: "view-finished-too-soon",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Review,
    summary: "Before and after of one view were taken a few minutes apart.",
    why: "The work that the two photos are to show takes longer than the time between them.",
    how_measured: "Time from the last before photo of a view to its first after photo, device clocks corrected.",
    limit: "min_view_work_s (600 seconds; common practice, no source).",
    remedy: "Say what was done between the two photos; if a label is wrong, correct it.",
    innocent: &[
        "there was little to do in this view",
        "the before photo was taken when the work there was under way",
        "before photos were labelled after",
    ],
    blind_spots: "Says nothing about how much was done, and nothing where the whole job is too short, which job-finished-too-soon reports.",
};

/// The check.
#[derive(Debug)]
pub struct ViewFinishedTooSoon;

impl Check for ViewFinishedTooSoon {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        if job_finished_too_soon::span(evidence).is_some() {
            return Vec::new();
        }
        let limit = evidence.limits().min_view_work_s;
        let sets = evidence.grouped.view_sets.iter();
        sets.filter_map(|set| {
            let (seconds, before, after) = pause(evidence, set)?;
            (0..limit).contains(&seconds).then(|| {
                META.finding(format!(
                    "the after photo was taken {} after the before photo of the view",
                    duration(seconds)
                ))
                .area(set.area.as_deref())
                .photos([after, before])
                .measured(seconds as f64, limit as f64, "seconds")
            })
        })
        .collect()
    }
}

/// Seconds from the last before photo to the first after photo.
fn pause(evidence: &Evidence<'_>, set: &ViewSet) -> Option<(i64, PhotoId, PhotoId)> {
    let moment = |id: &PhotoId| evidence.moment(*id).map(|moment| (moment.civil, *id));
    let (_, before) = set.before.iter().filter_map(moment).max()?;
    let (_, after) = set.after.iter().filter_map(moment).min()?;
    let seconds = evidence
        .moment(before)?
        .seconds_until(evidence.moment(after)?);
    Some((seconds, before, after))
}
