//! `moire-pattern`: coloured bands of two fine grids lie over a photo.

use crate::judge::together::each_with_share;
use crate::judge::{Check, CheckMeta, Evidence, Finding, Severity, Status};
use crate::measure::Quality;

/// Share of the picture that such bands must cover.
const MIN_SHARE: f64 = 0.1;

static META: CheckMeta = CheckMeta {
    id: "moire-pattern",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Note,
    summary: "Coloured bands of two fine grids lie over a photo, as when a screen is photographed.",
    why: "A photo of a screen shows another photo: what the camera recorded tells of the screen, not of the house.",
    how_measured: "Fourier transforms of the ratios of the colours in tiles of 64 pixels at 1024 pixels long side: tiles where one frequency holds nearly a third of the energy, is stronger in the colours than in the brightness, and is about that of two tiles beside it.",
    limit: "Less than a tenth of the picture. Photos of rendered rooms and public photos reach 0.06.",
    remedy: "Send the camera's own file, not a photo of a screen.",
    innocent: &[
        "an insect screen, a blind, siding or cloth with a fine weave stood before the camera",
        "a screen or a lit sign stood in the room",
        "a cloth or rug with fine stripes of two colours fills much of the photo",
    ],
    blind_spots: "About half of the photos of a screen pass: those where the grids are too far apart, and those blurred, far away or made small before. A printed photo shows no bands.",
};

/// The check.
#[derive(Debug)]
pub struct MoirePattern;

impl Check for MoirePattern {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        let share = |quality: &Quality| quality.moire_share;
        each_with_share(&META, evidence, MIN_SHARE, share, |share| {
            format!("coloured bands of two fine grids lie over {share:.0} % of the photo")
        })
    }
}
