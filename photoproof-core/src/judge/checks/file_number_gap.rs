//! `file-number-gap`: many file numbers of a camera are missing between two photos of one visit.

use std::collections::BTreeMap;

use super::capture_time_out_of_order::duration;
use super::file_number_out_of_order::{Numbered, numbered};
use crate::judge::{Check, CheckMeta, Evidence, Finding, Severity, Status};

static META: CheckMeta = CheckMeta {
    id: "file-number-gap",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Note,
    summary: "Many file numbers of a camera are missing between two photos taken within an hour.",
    why: "The camera took photos in between that are not in the folder; they may show what these do not.",
    how_measured: "Photos of one camera (make and model) whose names are one prefix and a number of three to five digits, sorted by number; numbers missing between two of them taken at most an hour apart. The largest gap is named.",
    limit: "max_file_number_gap (30; common practice, no source).",
    remedy: "Say what the missing photos show, or send them.",
    innocent: &[
        "blurred or repeated photos were deleted",
        "private photos, or photos of another order, were taken in between",
        "a burst of photos was taken and one of them kept",
    ],
    blind_spots: "Names that a program gave have no gaps. Photos missing at the start or end of a visit are not seen.",
};

/// The check.
#[derive(Debug)]
pub struct FileNumberGap;

/// Photos of one visit are at most this far apart, seconds.
const VISIT_S: i64 = 3600;

impl Check for FileNumberGap {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        let limit = evidence.limits().max_file_number_gap;
        let mut rows: BTreeMap<(usize, String), Vec<Numbered>> = BTreeMap::new();
        for (key, shot) in evidence.photo_ids().filter_map(|id| numbered(evidence, id)) {
            rows.entry(key).or_default().push(shot);
        }
        let row = |((device, _), mut row): ((usize, String), Vec<Numbered>)| {
            row.sort_by_key(|shot| (shot.number, shot.photo));
            let (missing, a, b) = row.windows(2).filter_map(gap).max_by_key(|gap| gap.0)?;
            let name = &evidence.grouped.devices.clocks.get(device)?.device;
            let apart = duration(a.moment.seconds_until(&b.moment).abs());
            let message = format!(
                "{missing} file numbers of the {name} are missing between {} and {}, taken {apart} apart",
                a.number, b.number
            );
            (missing > limit).then(|| {
                META.finding(message)
                    .photos([a.photo, b.photo])
                    .subject(name)
                    .measured(f64::from(missing), f64::from(limit), "numbers")
            })
        };
        rows.into_iter().filter_map(row).collect()
    }
}

/// Numbers missing between two photos of one visit.
fn gap(pair: &[Numbered]) -> Option<(u32, Numbered, Numbered)> {
    let [a, b] = pair else {
        return None;
    };
    let missing = b.number.checked_sub(a.number)?.checked_sub(1)?;
    let near = a.moment.seconds_until(&b.moment).abs() <= VISIT_S;
    near.then_some((missing, *a, *b))
}
