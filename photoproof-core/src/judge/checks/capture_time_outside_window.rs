//! `capture-time-outside-window`: a photo was taken outside the work window.

use super::capture_time_out_of_order::duration;
use crate::ingest::PhotoId;
use crate::judge::{Check, CheckMeta, Evidence, Finding, Retake, Severity, Status};

static META: CheckMeta = CheckMeta {
    id: "capture-time-outside-window",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Fail,
    summary: "A photo was taken before the work window opened or after it closed.",
    why: "A photo from another day may show another state of the house.",
    how_measured: "Capture time against the job sheet's window; a time with a known offset is first turned into the site's zone if the sheet or the coordinates tell it, and corrected by its device's clock error where that was estimated.",
    limit: "job.window of the job sheet, both ends included, widened by clock_tolerance_s (0 seconds).",
    remedy: "Check the phone's date and zone; if they are right, send photos taken inside the window.",
    innocent: &[
        "the phone's clock or zone was wrong",
        "the window was changed and the job sheet was not",
        "an edited file got a new time",
    ],
    blind_spots: "Silent without a window, and for photos without a capture time.",
};

/// The check.
#[derive(Debug)]
pub struct CaptureTimeOutsideWindow;

impl Check for CaptureTimeOutsideWindow {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        let out: Vec<(PhotoId, i64)> = evidence
            .photo_ids()
            .filter_map(|id| outside(evidence, id).map(|seconds| (id, seconds)))
            .collect();
        let timed = evidence
            .photo_ids()
            .filter(|&id| evidence.moment(id).is_some())
            .count();
        if out.len() > 3 && out.len() * 2 > timed {
            // One cause, one finding: a wrong window or a wrong clock.
            let message = format!(
                "{} of {timed} photos were taken outside the work window",
                out.len()
            );
            let value = out.len() as f64;
            return vec![
                META.finding(message)
                    .photos(out.into_iter().map(|(id, _)| id))
                    .measured(value, 0.0, "photos"),
            ];
        }
        out.into_iter()
            .map(|(id, seconds)| finding(evidence, id, seconds))
            .collect()
    }
}

/// Seconds after the end (positive) or before the start (negative) of the window. Where the error of the clock
/// is known within a range only, a photo is outside if it is so for every error of the range.
fn outside(evidence: &Evidence<'_>, id: PhotoId) -> Option<i64> {
    let window = evidence.sheet.window?;
    let moment = evidence.moment(id)?;
    let tolerance = evidence.limits().clock_tolerance_s;
    let (sooner, later) = moment.slack_s;
    let early = (window.start - moment.civil)
        .num_seconds()
        .saturating_sub(later);
    let late = (moment.civil - window.end)
        .num_seconds()
        .saturating_sub(sooner);
    if early > tolerance {
        Some(-early)
    } else if late > tolerance {
        Some(late)
    } else {
        None
    }
}

fn finding(evidence: &Evidence<'_>, id: PhotoId, seconds: i64) -> Finding {
    let words = if seconds < 0 {
        "before the work window opened"
    } else {
        "after the work window closed"
    };
    META.finding(format!("the photo was taken {} {words}", duration(seconds)))
        .area(evidence.area(id))
        .photos([id])
        .measured(seconds as f64, 0.0, "seconds")
        .retake(Retake {
            area: evidence.area(id).map(str::to_owned),
            phase: evidence.label(id).phase,
            view_set: evidence.set_of(id).map(|set| set.id.clone()),
            like: evidence
                .set_of(id)
                .and_then(|set| set.before.first().copied())
                .filter(|&b| b != id),
            replaces: Some(id),
            instruction:
                "check the phone's date; if it is right, take the photo again inside the window"
                    .to_owned(),
        })
}
