//! `load-counted-twice`: the photos of a load show one that counts already.

use crate::judge::{Check, CheckMeta, Evidence, Finding, Severity, Status};
use crate::volume::{LoadLine, Repeat, Sameness};

static META: CheckMeta = CheckMeta {
    id: "load-counted-twice",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Fail,
    summary: "The photos of a load show the load of an earlier line of the job sheet.",
    why: "Two lines backed by one load make the documented cubic yards too many.",
    how_measured: "Photos of the full bed: the same file, a confirmed copy, or the same view within a short time. Every photo of the full bed must repeat one of the other load; the line then counts for nothing.",
    limit: "Any confirmed copy; for the same view min_load_turnaround_s (900 seconds).",
    remedy: "Send a photo of this load of its own, or take its line off the job sheet.",
    innocent: &[
        "a photo was filed under the wrong load",
        "the job sheet's pattern catches photos of both loads",
        "two beds stood side by side in one photo",
        "two identical trailers were photographed from one spot one after the other",
    ],
    blind_spots: "The same load photographed again from another standpoint, or later than the limit, is not noticed.",
};

/// The check.
#[derive(Debug)]
pub struct LoadCountedTwice;

impl Check for LoadCountedTwice {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        let lines = evidence.grouped.debris.loads.iter();
        lines
            .filter_map(|line| Some((line, line.same_as.as_ref()?)))
            .map(|(line, repeat)| finding(evidence, line, repeat))
            .collect()
    }
}

fn finding(evidence: &Evidence<'_>, line: &LoadLine, repeat: &Repeat) -> Finding {
    let how = match repeat.how {
        Sameness::SamePhoto => "rests on the same photos as",
        Sameness::Copy => "rests on copies of the photos of",
        Sameness::SameView => "is shown in the same view, soon after,",
    };
    let other = evidence.grouped.debris.name(repeat.of);
    let joint = match repeat.how {
        Sameness::SameView => " as",
        Sameness::SamePhoto | Sameness::Copy => "",
    };
    let photos = evidence
        .photo_ids()
        .filter(|&id| repeat.photos.contains(&evidence.photo(id).path));
    META.finding(format!(
        "load {} {how}{joint} load {other} and is not counted again",
        line.name
    ))
    .photos(photos)
    .subject(&line.name)
    .at_most(match repeat.how {
        Sameness::Copy => Severity::Fail,
        Sameness::SamePhoto | Sameness::SameView => Severity::Review,
    })
}
