//! `low-detail`: a photo too blurred, dark, bright or small to prove anything.

use crate::ingest::PhotoId;
use crate::judge::{Check, CheckMeta, Evidence, Finding, Measurement, Retake, Severity, Status};

static META: CheckMeta = CheckMeta {
    id: "low-detail",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Review,
    summary: "A photo is too blurred, too dark, too bright or too small to prove anything.",
    why: "Dirt, debris and damage cannot be seen, so their absence cannot be seen either.",
    how_measured: "Sharpness of the sharpest regions, mean luma, share of clipped highlights, long side in pixels, all on the upright picture.",
    limit: "min_sharpness, min_mean_luma, max_clipped_share, min_long_side_px; defaults set on rendered rooms with graded blur and exposure.",
    remedy: "Hold the phone still, turn on the light, wipe the lens, and shoot again.",
    innocent: &[
        "the power was off and the room dark",
        "the phone focused on something near",
        "the upload form shrank the photo",
    ],
    blind_spots: "A sharp photo of the wrong thing passes.",
};

/// The check.
#[derive(Debug)]
pub struct LowDetail;

/// Why a photo is poor: words, value, limit, unit.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Reason {
    words: &'static str,
    value: f64,
    limit: f64,
    unit: &'static str,
}

/// The first reason why a photo cannot prove anything, if there is one.
pub(crate) fn reason(evidence: &Evidence<'_>, id: PhotoId) -> Option<Reason> {
    let (limits, photo) = (evidence.limits(), evidence.photo(id));
    let quality = evidence.measures[id.0].quality;
    let long_side = f64::from(photo.width.max(photo.height));
    let least = [
        (
            "too dark",
            quality.mean_luma,
            limits.min_mean_luma,
            "mean luma",
        ),
        (
            "too small",
            long_side,
            f64::from(limits.min_long_side_px),
            "pixels",
        ),
        (
            "blurred",
            quality.sharpness,
            limits.min_sharpness,
            "sharpness",
        ),
    ];
    let most = [(
        "too bright",
        quality.clipped_share,
        limits.max_clipped_share,
        "clipped share",
    )];
    let low = least.into_iter().find(|(_, value, limit, _)| value < limit);
    low.or_else(|| most.into_iter().find(|(_, value, limit, _)| value > limit))
        .map(|(words, value, limit, unit)| Reason {
            words,
            value,
            limit,
            unit,
        })
}

impl Check for LowDetail {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        evidence
            .photo_ids()
            .filter_map(|id| reason(evidence, id).map(|reason| finding(evidence, id, &reason)))
            .collect()
    }
}

fn finding(evidence: &Evidence<'_>, id: PhotoId, reason: &Reason) -> Finding {
    let label = evidence.label(id);
    let mut finding = META
        .finding(format!("the photo is {}", reason.words))
        .area(evidence.area(id))
        .photos([id])
        .retake(Retake {
            area: label.area.clone(),
            phase: label.phase,
            view_set: evidence.set_of(id).map(|set| set.id.clone()),
            like: evidence
                .set_of(id)
                .and_then(|set| set.before.first().copied())
                .filter(|&b| b != id),
            replaces: Some(id),
            instruction: format!(
                "the photo is {}: hold still, turn on the light, shoot again",
                reason.words
            ),
        });
    finding.measured = Some(Measurement {
        value: Some(reason.value),
        limit: Some(reason.limit),
        unit: reason.unit.to_owned(),
    });
    finding
}
