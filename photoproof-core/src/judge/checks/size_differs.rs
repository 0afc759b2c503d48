//! `size-differs`: a photo's size is not the one its Exif states, or not the one of its camera's other photos.

use std::collections::BTreeMap;

use crate::ingest::PhotoId;
use crate::judge::together::{Instance, odd_ones, one_per_device};
use crate::judge::{Check, CheckMeta, Evidence, Finding, Severity, Status};

static META: CheckMeta = CheckMeta {
    id: "size-differs",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Note,
    summary: "A photo's width and height differ from those its Exif states, or from nearly all photos of its camera.",
    why: "It was cropped or made smaller after it was taken, so that part of the scene or of the detail may be missing.",
    how_measured: "Width and height, in either order, against PixelXDimension and PixelYDimension of Exif, sixteen pixels allowed; and against the size that at least eight photos and three quarters of those of the camera (make and model) share.",
    limit: "One size for a camera, and the one that Exif states.",
    remedy: "Send the original files from the camera.",
    innocent: &[
        "another shape, lens or resolution was chosen on the camera, or a panorama taken",
        "the photo was cropped or made smaller to send it",
        "two phones of one model were set differently",
    ],
    blind_spots: "Silent where all photos were made smaller alike and Exif was changed with them, and for a camera with few photos. A crop that is enlarged again keeps its size.",
};

/// The check.
#[derive(Debug)]
pub struct SizeDiffers;

/// Exif may state a size that differs by this much, pixels: coded sizes are often rounded to blocks of sixteen.
const SLACK: u32 = 16;

impl Check for SizeDiffers {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        let instances = odd(evidence)
            .into_iter()
            .map(|(photo, message)| Instance {
                photo,
                message,
                measured: None,
            })
            .collect();
        one_per_device(
            &META,
            evidence,
            instances,
            "have another size than the camera wrote",
        )
    }
}

/// Photos of an odd size, and why.
pub(super) fn odd(evidence: &Evidence<'_>) -> BTreeMap<PhotoId, String> {
    let mut odd: BTreeMap<PhotoId, String> = BTreeMap::new();
    for (id, most, all) in odd_ones(evidence, |id| Some(size(evidence, id))) {
        let photo = evidence.photo(id);
        let message = format!(
            "the photo is {} x {} pixels; {most} of {all} photos of its camera have another size",
            photo.width, photo.height
        );
        odd.insert(id, message);
    }
    for id in evidence.photo_ids() {
        let photo = evidence.photo(id);
        if let Some((width, height)) = photo.traces.exif_size {
            let ((a, b), (x, y)) = (size(evidence, id), sorted((width, height)));
            if a.abs_diff(x).max(b.abs_diff(y)) > SLACK {
                let message = format!(
                    "the photo is {} x {} pixels; its Exif states {width} x {height}",
                    photo.width, photo.height
                );
                odd.insert(id, message);
            }
        }
    }
    odd
}

fn size(evidence: &Evidence<'_>, id: PhotoId) -> (u32, u32) {
    let photo = evidence.photo(id);
    sorted((photo.width, photo.height))
}

fn sorted((a, b): (u32, u32)) -> (u32, u32) {
    (a.max(b), a.min(b))
}
