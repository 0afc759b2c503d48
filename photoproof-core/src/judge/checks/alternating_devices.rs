//! `alternating-devices`: cameras take turns in the middle of the job.

use chrono::NaiveDateTime;

use crate::ingest::PhotoId;
use crate::judge::{Check, CheckMeta, Evidence, Finding, Severity, Status};

static META: CheckMeta = CheckMeta {
    id: "alternating-devices",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Note,
    summary: "Several cameras took turns during the job.",
    why: "Photos of several cameras have several clocks and several owners; ask who was on site.",
    how_measured: "Changes from one camera (make and model, and file numbers where they tell two of one model apart) to another in the order of corrected capture times.",
    limit: "More than three changes.",
    remedy: "Nothing to do if several people took photos.",
    innocent: &[
        "two people photographed the job together",
        "one person used a phone and a camera",
    ],
    blind_spots: "Photos without make and model are left out, and two cameras of one model count as one unless their file numbers tell them apart.",
};

/// The check.
#[derive(Debug)]
pub struct AlternatingDevices;

/// Changes that an ordinary hand-over of the camera makes at most.
const HANDOVERS: usize = 3;

impl Check for AlternatingDevices {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        let devices = &evidence.grouped.devices;
        let mut shots: Vec<(NaiveDateTime, PhotoId, usize)> = evidence
            .photo_ids()
            .filter_map(|id| {
                let device = devices.of(id.0)?;
                Some((evidence.moment(id)?.civil, id, device))
            })
            .collect();
        shots.sort_unstable();
        let changed: Vec<PhotoId> = shots
            .windows(2)
            .filter_map(|pair| match pair {
                [a, b] if a.2 != b.2 => Some(b.1),
                _ => None,
            })
            .collect();
        if changed.len() <= HANDOVERS {
            return Vec::new();
        }
        let count = changed.len();
        let mut used: Vec<usize> = shots.iter().map(|shot| shot.2).collect();
        used.sort_unstable();
        used.dedup();
        let message = format!(
            "{} cameras took turns {count} times during the job",
            used.len()
        );
        vec![META.finding(message).photos(changed).measured(
            count as f64,
            HANDOVERS as f64,
            "changes",
        )]
    }
}
