//! `saved-again`: a picture was saved at a lower quality before it was saved as it came.

use crate::judge::together::{Instance, one_per_device};
use crate::judge::{Check, CheckMeta, Evidence, Finding, Severity, Status};

static META: CheckMeta = CheckMeta {
    id: "saved-again",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Note,
    summary: "A picture was saved as a JPEG at a lower quality before it was saved as it came.",
    why: "The file is not the camera's own: a program opened the picture and wrote it anew.",
    how_measured: "Histograms of the nine lowest luma coefficients of the JPEG. An earlier, coarser quantisation leaves gaps and peaks at its multiples (Lukas and Fridrich 2003; Popescu and Farid 2004): at least three coefficients must be far from smooth and be explained by one coarser step each. The quality is that of the usual tables whose steps come nearest. Photos that newer-part names are left out.",
    limit: "Fewer than three coefficients with such steps.",
    remedy: "Send the original files from the camera.",
    innocent: &[
        "an app added the date stamp to a picture that was already saved",
        "the photo was turned, sharpened or brightened on the phone and saved again",
        "the camera's app itself saves twice",
    ],
    blind_spots: "An earlier saving at the same or a higher quality, a picture that was resized, cropped or turned a little in between, progressive JPEG and other formats, and pictures with hardly any detail pass.",
};

/// The check.
#[derive(Debug)]
pub struct SavedAgain;

impl Check for SavedAgain {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        let found = evidence.photo_ids().filter_map(|photo| {
            let earlier = evidence.measures.get(photo.0)?.earlier.as_ref()?;
            if !earlier.newer_parts.is_empty() {
                return None;
            }
            Some(Instance {
                photo,
                message: format!(
                    "the picture was saved before at a lower quality, about {} on the usual scale, and then saved again",
                    earlier.quality
                ),
                measured: None,
            })
        });
        let words = "were saved before at a lower quality and then saved again";
        one_per_device(&META, evidence, found.collect(), words)
    }
}
