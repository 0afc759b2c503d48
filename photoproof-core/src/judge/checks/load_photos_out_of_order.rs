//! `load-photos-out-of-order`: a load was full before it was empty, or dumped before it was full.

use crate::ingest::PhotoId;
use crate::judge::{Check, CheckMeta, Evidence, Finding, Severity, Status};
use crate::volume::{LoadLine, LoadState};

static META: CheckMeta = CheckMeta {
    id: "load-photos-out-of-order",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Fail,
    summary: "The photos of a load were not taken in the order empty, full, dumped.",
    why: "A bed that is empty after it was full, or dumped before it was full, is not one load hauled once.",
    how_measured: "Capture times of the load's photos by state, from the job sheet's globs or the file names; the pair that is farthest out of order is named.",
    limit: "clock_tolerance_s (0 seconds).",
    remedy: "Check which photo shows which state and which load, and the phone's clock.",
    innocent: &[
        "a photo was filed under the wrong state or load",
        "the empty bed was photographed after the trip instead of before",
        "two phones with different clocks were used",
    ],
    blind_spots: "Loads that stand for several trips (count above 1) and photos without a state or a time are not looked at.",
};

/// The check.
#[derive(Debug)]
pub struct LoadPhotosOutOfOrder;

impl Check for LoadPhotosOutOfOrder {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        let lines = evidence.grouped.debris.loads.iter();
        lines
            .zip(&evidence.sheet.loads)
            .filter(|(_, load)| load.count == 1)
            .filter_map(|(line, _)| Some(finding(evidence, line, worst(evidence, line)?)))
            .collect()
    }
}

/// Two photos of a load in the wrong order.
struct Clash {
    earlier: (LoadState, PhotoId),
    later: (LoadState, PhotoId),
    seconds: i64,
}

fn worst(evidence: &Evidence<'_>, line: &LoadLine) -> Option<Clash> {
    let shown: Vec<(LoadState, PhotoId)> = evidence
        .photo_ids()
        .filter(|&id| line.photos.contains(&evidence.photo(id).path))
        .filter_map(|id| Some((line.state_of(&evidence.photo(id).path)?, id)))
        .collect();
    let tolerance = evidence.limits().clock_tolerance_s;
    let pairs = shown
        .iter()
        .flat_map(|&x| shown.iter().map(move |&y| (x, y)));
    pairs
        .filter(|(x, y)| x.0 < y.0)
        .filter_map(|(earlier, later)| {
            let first = evidence.moment(earlier.1)?;
            let second = evidence.moment(later.1)?;
            let seconds = first.seconds_until(second);
            (seconds < -tolerance).then_some(Clash {
                earlier,
                later,
                seconds,
            })
        })
        .min_by_key(|clash| (clash.seconds, clash.later.1, clash.earlier.1))
}

fn finding(evidence: &Evidence<'_>, line: &LoadLine, clash: Clash) -> Finding {
    let tolerance = evidence.limits().clock_tolerance_s;
    META.finding(format!(
        "load {} was photographed {} {} before it was photographed {}",
        line.name,
        clash.later.0.name(),
        span(-clash.seconds),
        clash.earlier.0.name()
    ))
    .photos([clash.later.1, clash.earlier.1])
    .subject(&line.name)
    .measured(clash.seconds as f64, -(tolerance as f64), "seconds")
}

fn span(seconds: i64) -> String {
    match seconds {
        s if s < 120 => format!("{s} seconds"),
        s if s < 7_200 => format!("{} minutes", s / 60),
        s if s < 172_800 => format!("{} hours", s / 3_600),
        s => format!("{} days", s / 86_400),
    }
}
