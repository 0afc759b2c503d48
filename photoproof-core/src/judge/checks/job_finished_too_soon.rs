//! `job-finished-too-soon`: the whole job was photographed in minutes.

use super::capture_time_out_of_order::duration;
use crate::ingest::PhotoId;
use crate::judge::{Check, CheckMeta, Evidence, Finding, Severity, Status};
use crate::phase::Phase;

static META: CheckMeta = CheckMeta {
    id: "job-finished-too-soon",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Review,
    summary: "All photos of the job, or those of a phase in several areas, were taken in less time than the work or the walk takes.",
    why: "The work of a day was not done in the time between first and last photo.",
    how_measured: "Time from the first before to the last after photo, where at least two views have both; and, for each phase and camera, time from its first to its last photo divided by the changes of area, where it shows at least three areas. Device clocks corrected.",
    limit: "min_job_work_s (1800 seconds) and min_area_walk_s (5 seconds); common practice, no source. 0 switches either off.",
    remedy: "Say when the work was done and send the original photos of each phase.",
    innocent: &[
        "it was a very small job",
        "the photos were copied in a way that gave them new times",
        "before photos were taken on an earlier visit with another camera and are missing here",
    ],
    blind_spots: "A job that was staged slowly is not seen.",
};

/// The check.
#[derive(Debug)]
pub struct JobFinishedTooSoon;

impl Check for JobFinishedTooSoon {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        if let Some((seconds, first, last)) = span(evidence) {
            let message = format!(
                "the whole job, from the first before to the last after photo, took {}",
                duration(seconds)
            );
            let limit = evidence.limits().min_job_work_s as f64;
            return vec![META.finding(message).photos([last, first]).measured(
                seconds as f64,
                limit,
                "seconds",
            )];
        }
        let devices = evidence.grouped.devices.clocks.len();
        Phase::ALL
            .into_iter()
            .flat_map(|phase| (0..devices).map(move |device| (phase, device)))
            .filter_map(|(phase, device)| hurried(evidence, phase, device))
            .collect()
    }
}

fn timed(evidence: &Evidence<'_>, phase: Phase) -> Vec<(chrono::NaiveDateTime, PhotoId)> {
    let ids = evidence.photo_ids();
    ids.filter(|&id| evidence.label(id).phase == Some(phase) && !evidence.is_copied(id))
        .filter_map(|id| Some((evidence.moment(id)?.civil, id)))
        .collect()
}

/// Seconds from the first before to the last after photo, if there are fewer than the limit asks for.
pub(super) fn span(evidence: &Evidence<'_>) -> Option<(i64, PhotoId, PhotoId)> {
    let sets = evidence.grouped.view_sets.iter();
    let whole = sets.filter(|set| !set.before.is_empty() && !set.after.is_empty());
    if whole.count() < 2 {
        return None;
    }
    let (_, first) = timed(evidence, Phase::Before).into_iter().min()?;
    let (_, last) = timed(evidence, Phase::After).into_iter().max()?;
    let seconds = evidence
        .moment(first)?
        .seconds_until(evidence.moment(last)?);
    (0..evidence.limits().min_job_work_s)
        .contains(&seconds)
        .then_some((seconds, first, last))
}

/// A phase whose areas one camera went through faster than a person walks.
fn hurried(evidence: &Evidence<'_>, phase: Phase, device: usize) -> Option<Finding> {
    let mut photos = timed(evidence, phase);
    photos.retain(|(_, id)| evidence.grouped.devices.of(id.0) == Some(device));
    photos.sort();
    let mut areas: Vec<&str> = photos
        .iter()
        .filter_map(|(_, id)| evidence.area(*id))
        .collect();
    areas.sort_unstable();
    areas.dedup();
    let changes = i64::try_from(areas.len()).ok()?.checked_sub(1)?;
    let (start, end) = (photos.first()?, photos.last()?);
    let seconds = (end.0 - start.0).num_seconds();
    let limit = evidence.limits().min_area_walk_s;
    (changes >= 2 && seconds < changes * limit).then(|| {
        META.finding(format!(
            "the {} photos of {} areas were taken within {} by one camera",
            phase.name(),
            areas.len(),
            duration(seconds)
        ))
        .photos(photos.iter().map(|(_, id)| *id))
        .subject(phase.name())
        .measured(seconds as f64, (changes * limit) as f64, "seconds")
    })
}
