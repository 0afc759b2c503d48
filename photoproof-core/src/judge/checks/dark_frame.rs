//! `dark-frame`: a photo shows a picture within a dark frame.

use crate::judge::together::each_with_share;
use crate::judge::{Check, CheckMeta, Evidence, Finding, Severity, Status};
use crate::measure::Quality;

static META: CheckMeta = CheckMeta {
    id: "dark-frame",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Note,
    summary: "A photo shows a picture within a dark frame with straight sides, as a screen has.",
    why: "A photo of a screen shows another photo: what the camera recorded tells of the screen, not of the house.",
    how_measured: "From each side inwards, the first dark run (luma 52 at most) as wide as a rim that a brighter pixel ends, within a quarter of the photo; on three sides four fifths of those ends must lie on one line each, within 3 pixels of 1024.",
    limit: "No such rim on three sides.",
    remedy: "Send the camera's own file, not a photo of a screen.",
    innocent: &[
        "the photo was taken through a dark door or window frame, or out of a dark box or cupboard",
        "the camera or its app draws a dark border",
    ],
    blind_spots: "A screen that fills the photo shows no frame, one with a light rim passes, and so does one that shows a dark picture.",
};

/// The check.
#[derive(Debug)]
pub struct DarkFrame;

impl Check for DarkFrame {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        // Bars of one colour are a finding of their own.
        let share = |quality: &Quality| match quality.bar_share {
            0.0 => quality.frame_share,
            _ => 0.0,
        };
        each_with_share(&META, evidence, 0.0, share, |share| {
            format!(
                "a dark frame with straight sides, and what lies outside it, takes {share:.0} % of the photo"
            )
        })
    }
}
