//! `low-detail`: a photo too small, dark, bright, empty or blurred to prove anything.

use crate::Limits;
use crate::ingest::PhotoId;
use crate::judge::{Check, CheckMeta, Evidence, Finding, Measurement, Retake, Severity, Status};
use crate::measure::Quality;

static META: CheckMeta = CheckMeta {
    id: "low-detail",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Review,
    summary: "A photo is too small, too dark, too bright, of almost one colour, without an edge or too blurred to prove anything.",
    why: "Dirt, debris and damage cannot be seen, so their absence cannot be seen either.",
    how_measured: "On the upright picture: long side in pixels, mean luma, shares of black and of white pixels, share of pixels near the median colour, sharpness of the sharpest regions. The first that misses its limit is told; a bare wall without an edge is not called blurred.",
    limit: "min_long_side_px, min_mean_luma, max_dark_share, max_clipped_share, max_one_colour_share, min_sharpness; defaults set on rendered rooms with graded blur and exposure.",
    remedy: "Hold the phone still, turn on the light, wipe the lens, step back, and shoot again.",
    innocent: &[
        "the power was off and the room dark",
        "the sun or a lamp shone into the lens",
        "the phone focused on something near",
        "a finger or the inside of a pocket covered the lens",
        "a close photo of a bare wall shows nothing else",
        "the upload form shrank the photo, or a program enlarged a small one",
    ],
    blind_spots: "A sharp photo of the wrong thing passes. Sharp text over a blurred photo can count as its edges. A photo enlarged from 320 pixels or more passes.",
};

/// The check.
#[derive(Debug)]
pub struct LowDetail;

/// Sharpness of a photo that was enlarged, for each pixel of the long side that it had before: 0.93, 0.89 and 0.91 are
/// the medians of 87 rendered rooms enlarged from 200, 320 and 480 pixels.
const SHARPNESS_A_PIXEL: f64 = 0.9;
const BLURRED: &str = "blurred";

/// Why a photo is poor: words, what helps, value, limit, unit.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Reason {
    words: &'static str,
    help: &'static str,
    value: f64,
    limit: f64,
    unit: &'static str,
}

/// The first reason why a photo cannot prove anything, if there is one: what explains the others comes first.
pub(crate) fn reason(evidence: &Evidence<'_>, id: PhotoId) -> Option<Reason> {
    let photo = evidence.photo(id);
    let long_side = photo.width.max(photo.height);
    first_reason(
        evidence.limits(),
        &evidence.measures[id.0].quality,
        long_side,
    )
}

fn first_reason(limits: &Limits, quality: &Quality, long_side: u32) -> Option<Reason> {
    let (long_side, shortest) = (f64::from(long_side), f64::from(limits.min_long_side_px));
    let dark = (quality.dark_share, limits.max_dark_share);
    let clipped = (quality.clipped_share, limits.max_clipped_share);
    let one_colour = (quality.one_colour_share, limits.max_one_colour_share);
    let luma = (quality.mean_luma, limits.min_mean_luma);
    let sharpness = (quality.sharpness, limits.min_sharpness);
    let light = "turn on the light";
    let (words, help, values, unit) = if long_side < shortest {
        let sizes = (long_side, shortest);
        ("too small", "send the full size", sizes, "pixels")
    } else if luma.0 < luma.1 {
        ("too dark", light, luma, "mean luma")
    } else if dark.0 > dark.1 {
        ("mostly black", light, dark, "share of black pixels")
    } else if clipped.0 > clipped.1 {
        let help = "keep lamps and the sun out of the frame";
        ("too bright", help, clipped, "clipped share")
    } else if one_colour.0 > one_colour.1 {
        let help = "wipe and uncover the lens, step back";
        ("almost one colour", help, one_colour, "share of one colour")
    } else if sharpness.0 <= 0.0 && sharpness.1 > 0.0 {
        let help = "wipe and uncover the lens, step back";
        ("without any edge", help, sharpness, "sharpness")
    } else if sharpness.0 < sharpness.1 {
        (BLURRED, "hold still", sharpness, "sharpness")
    } else {
        return None;
    };
    let (value, limit) = values;
    Some(Reason {
        words,
        help,
        value,
        limit,
        unit,
    })
}

impl Reason {
    /// What is wrong with the photo. One that was enlarged looks as one that is blurred does.
    fn message(&self) -> String {
        let words = self.words;
        if words != BLURRED {
            return format!("the photo is {words}");
        }
        let pixels = (self.value / SHARPNESS_A_PIXEL / 10.0).round() * 10.0;
        format!(
            "the photo is {words}, or was enlarged: it shows no more than a sharp one of about {pixels} pixels would"
        )
    }
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
        .finding(reason.message())
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
                "the photo is {}: {}, shoot again",
                reason.words, reason.help
            ),
        });
    finding.measured = Some(Measurement {
        value: Some(reason.value),
        limit: Some(reason.limit),
        unit: reason.unit.to_owned(),
    });
    finding
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_reason_is_told_with_its_own_value_and_limit() {
        let limits = Limits::default();
        let good = Quality {
            sharpness: 700.0,
            mean_luma: 0.5,
            dark_share: 0.0,
            clipped_share: 0.05,
            one_colour_share: 0.3,
            bar_share: 0.0,
            frame_share: 0.0,
            moire_share: 0.0,
        };
        let told = |change: fn(&mut Quality)| {
            let mut quality = good;
            change(&mut quality);
            first_reason(&limits, &quality, 4000).map(|r| (r.words, r.value, r.limit))
        };
        assert_eq!(told(|_| ()), None);
        type Spoil = fn(&mut Quality);
        let cases: [(Spoil, &str, f64, f64); 6] = [
            (|q| q.mean_luma = 0.05, "too dark", 0.05, 0.06),
            (|q| q.dark_share = 0.7, "mostly black", 0.7, 0.6),
            (|q| q.clipped_share = 0.6, "too bright", 0.6, 0.5),
            (
                |q| q.one_colour_share = 0.99,
                "almost one colour",
                0.99,
                0.97,
            ),
            (|q| q.sharpness = 0.0, "without any edge", 0.0, 220.0),
            (|q| q.sharpness = 150.0, "blurred", 150.0, 220.0),
        ];
        for (change, words, value, limit) in cases {
            assert_eq!(told(change), Some((words, value, limit)));
        }
        let small = first_reason(&limits, &good, 600).map(|r| r.words);
        assert_eq!(small, Some("too small"));
    }

    #[test]
    fn a_limit_of_zero_switches_sharpness_off() {
        let limits = Limits {
            min_sharpness: 0.0,
            ..Limits::default()
        };
        let wall = Quality {
            sharpness: 0.0,
            mean_luma: 0.5,
            dark_share: 0.0,
            clipped_share: 0.0,
            one_colour_share: 0.9,
            bar_share: 0.0,
            frame_share: 0.0,
            moire_share: 0.0,
        };
        assert_eq!(first_reason(&limits, &wall, 4000), None);
    }
}
