//! `compression-differs`: a photo is coded with other tables than nearly all photos of its camera.

use super::{editing_software, size_differs};
use crate::ingest::PhotoId;
use crate::judge::together::{Instance, odd_ones, one_per_device};
use crate::judge::{Check, CheckMeta, Evidence, Finding, Severity, Status};

static META: CheckMeta = CheckMeta {
    id: "compression-differs",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Note,
    summary: "A photo is coded with other quantisation tables than nearly all photos of its camera.",
    why: "A program has probably written it anew; what else it changed is not known.",
    how_measured: "Quantisation tables of the JPEG file (ITU-T T.81, B.2.4.1) against those that at least eight photos and three quarters of those of the camera (make and model) share. Photos that editing-software or size-differs name, and copies, are left out.",
    limit: "One set of tables for a camera.",
    remedy: "Send the original files from the camera.",
    innocent: &[
        "the camera chooses the coding by the scene, or another quality was set",
        "the photo was turned, or sent through a program that makes files smaller",
        "two phones of one model have different software",
    ],
    blind_spots: "Silent where all photos were written anew alike, and for a camera with few photos.",
};

/// The check.
#[derive(Debug)]
pub struct CompressionDiffers;

impl Check for CompressionDiffers {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        let resized = size_differs::odd(evidence);
        let is_known = |id: &PhotoId| {
            let programs = &evidence.photo(*id).traces.programs;
            resized.contains_key(id)
                || evidence.is_copied(*id)
                || programs.iter().any(editing_software::edits)
        };
        let tables = |id: PhotoId| evidence.photo(id).traces.quantisation.as_ref();
        let found = odd_ones(evidence, tables)
            .into_iter()
            .filter(|(id, ..)| !is_known(id))
            .map(|(photo, most, all)| {
                let quality = tables(photo).and_then(|tables| tables.quality());
                let quality = quality.map_or(String::new(), |quality| {
                    format!(", those of the usual scale at quality {quality}")
                });
                Instance {
                    photo,
                    message: format!(
                        "the photo is coded with other tables than {most} of {all} photos of its camera{quality}"
                    ),
                    measured: None,
                }
            })
            .collect();
        one_per_device(
            &META,
            evidence,
            found,
            "are coded with other tables than nearly all others",
        )
    }
}
