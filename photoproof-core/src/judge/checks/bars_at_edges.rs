//! `bars-at-edges`: a photo lies between two bars of one colour.

use crate::judge::together::each_with_share;
use crate::judge::{Check, CheckMeta, Evidence, Finding, Severity, Status};
use crate::measure::Quality;

/// Smallest share of the height or width that both bars take together.
const MIN_SHARE: f64 = 0.02;

static META: CheckMeta = CheckMeta {
    id: "bars-at-edges",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Note,
    summary: "A photo lies between two bars of one colour, as on the screen of a phone.",
    why: "Few cameras draw bars: the file may be a picture of a picture, and then what the camera recorded with it is lost.",
    how_measured: "Lines of exactly one colour (3 levels) from two opposite sides inwards, of the same colour on both sides, each bar ending along a straight line. Text and symbols may stand between them: up to half of a line, over up to 8 % of the height or width at once.",
    limit: "Both bars together below 2 % of the height or width.",
    remedy: "Send the camera's own file, not a screenshot or a picture fitted to another shape.",
    innocent: &[
        "the photo was saved from the screen of a phone",
        "a program fitted the photo to another shape",
        "the camera or its app draws a border, or strips with its data",
    ],
    blind_spots: "Bars of two colours, bars full of text or symbols, a bar on one side only, and photos of a screen pass.",
};

/// The check.
#[derive(Debug)]
pub struct BarsAtEdges;

impl Check for BarsAtEdges {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        let share = |quality: &Quality| quality.bar_share;
        each_with_share(&META, evidence, MIN_SHARE, share, |share| {
            format!(
                "bars of one colour on two sides take {share:.0} % of the photo's height or width"
            )
        })
    }
}
