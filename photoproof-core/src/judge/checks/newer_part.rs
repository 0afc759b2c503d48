//! `newer-part`: a part of a picture lacks the traces of an earlier saving that the rest shows.

use crate::judge::{Check, CheckMeta, Evidence, Finding, Severity, Status};

static META: CheckMeta = CheckMeta {
    id: "newer-part",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Note,
    summary: "A part of a picture lacks the traces of an earlier saving that the rest shows.",
    why: "Something was put into the picture after it was first saved: a date stamp, a logo, or anything else.",
    how_measured: "In a picture that was saved before at a lower quality (see saved-again), cells of a 48-cell grid whose coefficients are likelier without the earlier steps than with them (the likelihood ratio of Lin, He, Tang and Tang 2009); three or more that touch. Blocks near black or white are left out.",
    limit: "No such cell; a cell counts from 0.6 of the way between what is expected with and without the earlier steps.",
    remedy: "Send the file as it was before anything was added to it.",
    innocent: &[
        "an app added the date, the place or a logo to a picture that was already saved",
        "a face or a number plate was hidden for privacy",
    ],
    blind_spots: "Says nothing of pictures without traces of an earlier saving, of plain areas, of what is nearly black, white or of a full colour, as the letters of most date stamps are, and of parts smaller than three cells. What was put in before the first saving, or taken from a picture saved alike, passes.",
};

/// The check.
#[derive(Debug)]
pub struct NewerPart;

impl Check for NewerPart {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        let parts = evidence.photo_ids().flat_map(|photo| {
            let measures = evidence.measures.get(photo.0);
            let earlier = measures.and_then(|measures| measures.earlier.as_ref());
            let parts = earlier.map_or(&[][..], |earlier| &earlier.newer_parts);
            parts.iter().map(move |part| (photo, part))
        });
        parts
            .map(|(photo, part)| {
                let [left, top, right, bottom] = part.frame;
                let (width, height) = (right - left, bottom - top);
                META.finding(format!(
                    "a part {}, {:.0} % of the width by {:.0} % of the height, lacks the traces of an earlier saving that the rest of the picture shows",
                    place(left + right, top + bottom),
                    width * 100.0,
                    height * 100.0
                ))
                .area(evidence.area(photo))
                .photos([photo])
                .regions(&part.cells)
                .measured(width * height, 0.0, "share")
            })
            .collect()
    }
}

/// Where a part lies, by the sums of its sides: twice its middle.
fn place(x: f64, y: f64) -> String {
    let third = |at: f64, names: [&'static str; 3]| match at {
        ..0.667 => names[0],
        ..1.333 => names[1],
        _ => names[2],
    };
    let across = third(x, ["left", "middle", "right"]);
    match third(y, ["top", "", "bottom"]) {
        "" if across == "middle" => "in the middle".to_owned(),
        "" => format!("at the {across}"),
        down if across == "middle" => format!("at the {down}"),
        down => format!("at the {down} {across}"),
    }
}
