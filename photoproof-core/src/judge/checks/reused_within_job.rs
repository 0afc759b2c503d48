//! `reused-within-job`: one picture serves twice.

use crate::group::{CopyPair, Original};
use crate::ingest::PhotoId;
use crate::ingest::order::judged_time;
use crate::judge::own_photo::own_photo;
use crate::judge::{Check, CheckMeta, Evidence, Finding, Severity, Status};
use crate::measure::{CopyKind, CopyMeasure};

static META: CheckMeta = CheckMeta {
    id: "reused-within-job",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Fail,
    summary: "One picture is used for two phases, areas or views of the job.",
    why: "A picture can prove one moment of one view; the second use proves nothing.",
    how_measured: "File digest, digest of the upright pixels, perceptual hash in eight orientations, then keypoint geometry and agreement of the pixels over the whole common region; noise, and between JPEGs of one size the values as coded, tell a copy from a second exposure.",
    limit: "Any confirmed copy. Over phases or areas it fails; inside one area and phase it is a note, since a wide view may be listed under two items. Pictures that agree but have kept no noise that would tell a copy from a second exposure are for a person to look at.",
    remedy: "Replace the second use by its own photo.",
    innocent: &[
        "the photo was uploaded twice by mistake",
        "a file was put into the wrong folder",
        "one wide photo was meant to serve two items",
    ],
    blind_spots: "Where one of two pictures was saved so coarsely that its noise is gone and the two are not JPEGs of one size, a second exposure from the same spot can look like a copy. Heavy crops of plain walls can be missed. Of a picture that serves many times, each use is named with the first four others only, unless the files are equal.",
};

/// The check.
#[derive(Debug)]
pub struct ReusedWithinJob;

impl Check for ReusedWithinJob {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        evidence
            .grouped
            .copies
            .iter()
            .filter_map(|copy| match copy.original {
                Original::InJob(original) => Some(finding(evidence, copy, original)),
                Original::InLedger { .. } => None,
            })
            .collect()
    }
}

/// Puts the photo that does not belong where it lies second: one that repeats no view of its area, else the
/// later one by time, else by path.
fn misplaced_last(evidence: &Evidence<'_>, x: PhotoId, y: PhotoId) -> (PhotoId, PhotoId) {
    let key = |id: PhotoId| {
        let alone = evidence
            .set_of(id)
            .is_none_or(|set| set.photos().count() == 1);
        let time = judged_time(evidence.photo(id)).map(|time| time.civil);
        (alone, evidence.label(id).phase, time, id)
    };
    if key(x) <= key(y) { (x, y) } else { (y, x) }
}

fn finding(evidence: &Evidence<'_>, copy: &CopyPair, original: PhotoId) -> Finding {
    let (original, photo) = misplaced_last(evidence, original, copy.photo);
    let (first, second) = (evidence.label(original), evidence.label(photo));
    let crosses = first.area != second.area || first.phase != second.phase;
    let place = |id: PhotoId| {
        let label = evidence.label(id);
        let area = label.area.as_deref().unwrap_or("an unlabelled area");
        label
            .phase
            .map_or_else(|| area.to_owned(), |phase| format!("{area}, {phase}"))
    };
    let message = if crosses {
        format!(
            "{} of the photo of {} is used for {}",
            what(&copy.measure),
            place(original),
            place(photo)
        )
    } else {
        format!(
            "{} of another photo of {} is in the folder",
            what(&copy.measure),
            place(original)
        )
    };
    let finding = META
        .finding(message)
        .area(evidence.area(photo))
        .photos([photo, original]);
    if !crosses {
        return finding.at_most(Severity::Note);
    }
    if !copy.measure.is_confirmed() {
        return finding.at_most(Severity::Review);
    }
    let served = format!(
        "send the photo that belongs here; this one already serves {}",
        place(original)
    );
    finding.retake(own_photo(evidence, photo, served))
}

/// The copy in words.
pub(super) fn what(measure: &CopyMeasure) -> String {
    match measure.kind {
        CopyKind::SameBytes => "the same file".to_owned(),
        CopyKind::SamePixels => "the same picture in another file".to_owned(),
        CopyKind::Edited => {
            let is_cropped = measure.crop < 0.98;
            let copy = match (measure.transform.as_str(), is_cropped) {
                ("none", false) => "a re-encoded copy".to_owned(),
                ("none", true) => "a copy".to_owned(),
                (turned, _) => format!("a {turned} copy"),
            };
            if is_cropped {
                format!("{copy}, cropped to {:.0} %,", measure.crop * 100.0)
            } else {
                copy
            }
        }
        CopyKind::Unsure => "a copy, or a second exposure from the same spot,".to_owned(),
    }
}
