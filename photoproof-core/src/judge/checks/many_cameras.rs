//! `many-cameras`: the photos of one job come from many cameras.

use crate::ingest::PhotoId;
use crate::judge::{Check, CheckMeta, Evidence, Finding, Severity, Status};

static META: CheckMeta = CheckMeta {
    id: "many-cameras",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Note,
    summary: "The photos of one job come from more cameras than a crew usually brings.",
    why: "Each camera has its own clock and owner; ask who was on site.",
    how_measured: "Different makes and models that the files name, and phones of one model that their file numbers tell apart.",
    limit: "max_cameras (3; common practice, no source).",
    remedy: "Nothing to do if so many people took photos.",
    innocent: &[
        "a large crew photographed together",
        "photos of the client or of the listing are in the folder",
    ],
    blind_spots: "Two cameras of one model count as one unless their file numbers tell them apart, and photos without make and model as none.",
};

/// The check.
#[derive(Debug)]
pub struct ManyCameras;

impl Check for ManyCameras {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        let limit = evidence.limits().max_cameras;
        let devices = &evidence.grouped.devices;
        let count = devices.clocks.len();
        if count <= limit as usize {
            return Vec::new();
        }
        let each: Vec<String> = devices
            .clocks
            .iter()
            .map(|clock| format!("{} ({})", clock.device, clock.photos))
            .take(12)
            .collect();
        let first = (0..count).filter_map(|device| devices.photos_of(Some(device)).next());
        let message = format!("photos of {count} cameras: {}", each.join(", "));
        vec![META.finding(message).photos(first.map(PhotoId)).measured(
            count as f64,
            f64::from(limit),
            "cameras",
        )]
    }
}
