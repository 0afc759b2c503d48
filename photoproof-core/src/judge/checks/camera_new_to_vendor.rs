//! `camera-new-to-vendor`: a camera that the vendor's other jobs in the ledger never show.

use crate::ingest::PhotoId;
use crate::judge::{Check, CheckMeta, Evidence, Finding, Severity, Status};

static META: CheckMeta = CheckMeta {
    id: "camera-new-to-vendor",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Note,
    summary: "Photos come from a camera that none of the vendor's other jobs in the ledger shows.",
    why: "Photos of another owner's camera may have been taken for another purpose; ask whose it is.",
    how_measured: "Make and model of the job's cameras against those of the vendor's latest fifty other jobs in the ledger that name a camera.",
    limit: "At least five such jobs, and the camera in none of them.",
    remedy: "Say whose camera it is; nothing to do if the crew has a new one.",
    innocent: &[
        "the crew has a new phone, or a new member",
        "a helper, the client or an inspector took these photos",
    ],
    blind_spots: "Silent without a ledger, without a vendor on the job sheet, and for a vendor with fewer jobs. Two cameras of one model count as one.",
};

/// The check.
#[derive(Debug)]
pub struct CameraNewToVendor;

/// Jobs from which one can tell what is usual for a vendor.
const LEAST_JOBS: usize = 5;

impl Check for CameraNewToVendor {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        let Some(known) = &evidence.grouped.vendor_cameras else {
            return Vec::new();
        };
        if known.jobs < LEAST_JOBS {
            return Vec::new();
        }
        let devices = &evidence.grouped.devices;
        let clocks = devices.clocks.iter().enumerate();
        clocks
            .filter(|(_, clock)| !known.used_in.contains_key(&clock.model))
            .map(|(index, clock)| {
                let message = format!(
                    "{} photos come from a {}, which none of {} other jobs of the vendor shows",
                    clock.photos, clock.device, known.jobs
                );
                META.finding(message)
                    .photos(devices.photos_of(Some(index)).map(PhotoId))
                    .subject(&clock.device)
                    .measured(0.0, 1.0, "jobs")
            })
            .collect()
    }
}
