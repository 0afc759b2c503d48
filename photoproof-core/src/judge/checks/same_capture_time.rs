//! `same-capture-time`: one camera photographed two views in the same second.

use std::collections::BTreeMap;

use chrono::{NaiveDateTime, Timelike};

use crate::ingest::order::judged_time;
use crate::ingest::{PhotoId, TimeSource};
use crate::judge::{Check, CheckMeta, Evidence, Finding, Severity, Status};
use crate::relation::Relation;

static META: CheckMeta = CheckMeta {
    id: "same-capture-time",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Review,
    summary: "Two different views carry the same second from one camera.",
    why: "One camera cannot stand in two places at once; at least one of the times was not written when the picture was taken.",
    how_measured: "Exif or GPS times of one camera (make and model) to the second, of photos in different areas or in different views of one area. Copies are left out; reused-within-job reports them. Clocks whose seconds are always zero are left out.",
    limit: "One view for each second of a camera.",
    remedy: "Send the original files as the camera wrote them.",
    innocent: &[
        "two phones of one model were used at the same time",
        "a program gave all files one time when it exported them",
        "one photo is a crop or a burst picture of the other",
    ],
    blind_spots: "Two cameras of the same make and model cannot be told apart. Photos without make and model are not compared.",
};

/// The check.
#[derive(Debug)]
pub struct SameCaptureTime;

impl Check for SameCaptureTime {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        let mut by_second: BTreeMap<(usize, NaiveDateTime), Vec<PhotoId>> = BTreeMap::new();
        let mut seconds_shown = vec![false; evidence.grouped.devices.clocks.len()];
        for id in evidence.photo_ids().filter(|&id| !evidence.is_copied(id)) {
            let Some((device, second)) = second(evidence, id) else {
                continue;
            };
            if let Some(shown) = seconds_shown.get_mut(device) {
                *shown |= second.second() != 0;
            }
            by_second.entry((device, second)).or_default().push(id);
        }
        by_second
            .into_iter()
            .filter(|((device, _), _)| seconds_shown.get(*device) == Some(&true))
            .filter_map(|((_, second), photos)| finding(evidence, second, &photos))
            .collect()
    }
}

fn second(evidence: &Evidence<'_>, id: PhotoId) -> Option<(usize, NaiveDateTime)> {
    let device = evidence.grouped.devices.of(id.0)?;
    let time = judged_time(evidence.photo(id))?;
    let exact = matches!(
        time.source,
        TimeSource::ExifOriginal | TimeSource::ExifDigitized | TimeSource::Gps
    );
    let civil = evidence.moment(id)?.civil;
    exact.then_some((device, civil.with_nanosecond(0)?))
}

fn finding(evidence: &Evidence<'_>, second: NaiveDateTime, photos: &[PhotoId]) -> Option<Finding> {
    let first = *photos.first()?;
    let others = photos.iter().skip(1);
    let mut apart: Vec<PhotoId> = others
        .copied()
        .filter(|&id| are_apart(evidence, first, id))
        .collect();
    if apart.is_empty() {
        return None;
    }
    apart.insert(0, first);
    let count = apart.len();
    let message = format!(
        "{count} photos of different views carry the same second, {}, from one camera",
        second.format("%Y-%m-%d %H:%M:%S")
    );
    Some(
        META.finding(message)
            .area(evidence.area(first))
            .photos(apart)
            .measured(count as f64, 1.0, "photos"),
    )
}

/// Whether two photos show different areas, or different views of one area.
fn are_apart(evidence: &Evidence<'_>, a: PhotoId, b: PhotoId) -> bool {
    let (x, y) = (evidence.area(a), evidence.area(b));
    if x.is_some() && y.is_some() && x != y {
        return true;
    }
    let pair = evidence.grouped.pair(a, b);
    pair.is_some_and(|pair| pair.relation == Relation::Different)
}
