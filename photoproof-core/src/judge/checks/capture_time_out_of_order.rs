//! `capture-time-out-of-order`: a later phase was photographed before an earlier one.

use std::collections::{BTreeMap, BTreeSet};

use crate::ingest::PhotoId;
use crate::judge::{Check, CheckMeta, Evidence, Finding, Retake, Severity, Status};
use crate::phase::Phase;

static META: CheckMeta = CheckMeta {
    id: "capture-time-out-of-order",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Fail,
    summary: "A photo of a later phase was taken before a photo of an earlier phase of the same view, area or job.",
    why: "An after photo that is older than its before photo does not show the result of the work.",
    how_measured: "Capture times of the photos of a view, then of an area, then of the whole job (an after older than every before): instants where offsets or the site's zone are known, else wall clocks, each corrected by its device's clock error where that was estimated; of an hour that exists twice the reading in order counts. The fewest photos that explain all contradictions are named.",
    limit: "clock_tolerance_s (0 seconds).",
    remedy: "Check the phase labels and the phone's clock; if both are right, take the photo of the later phase again.",
    innocent: &[
        "before and after labels were swapped",
        "the clock of one phone was wrong or changed during the job",
        "an edited file got a new time",
    ],
    blind_spots: "Wall clocks of phones in different zones are compared as written when neither a file nor the site tells the offset. Where another camera's photos are all on one side of the contradictions, one finding names them: a wrong clock and photos of another day look the same.",
};

/// The check.
#[derive(Debug)]
pub struct CaptureTimeOutOfOrder;

/// A contradiction: `later` should be after `earlier` and is not.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Clash {
    later: PhotoId,
    earlier: PhotoId,
    seconds: i64,
}

impl Check for CaptureTimeOutOfOrder {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        let mut clashes = clashes(evidence);
        let mut findings = one_sided_devices(evidence, &mut clashes);
        while let Some(photo) = most_involved(evidence, &clashes) {
            let (mine, rest): (Vec<Clash>, Vec<Clash>) = clashes
                .into_iter()
                .partition(|c| c.later == photo || c.earlier == photo);
            findings.push(finding(evidence, photo, &mine));
            clashes = rest;
        }
        findings
    }
}

/// All contradictions inside areas, and against the start of the whole job.
fn clashes(evidence: &Evidence<'_>) -> Vec<Clash> {
    let mut clashes = Vec::new();
    for area in &evidence.grouped.areas {
        for (first, second) in [
            (Phase::Before, Phase::During),
            (Phase::Before, Phase::After),
            (Phase::During, Phase::After),
        ] {
            for later in evidence.photos_of(Some(area), second) {
                // Two phones may photograph two corners at once; only the same view must be in order
                // between during and after.
                let same_view_only = first == Phase::During;
                clashes.extend(
                    evidence
                        .photos_of(Some(area), first)
                        .filter(|&earlier| !same_view_only || same_view(evidence, earlier, later))
                        .filter_map(|earlier| clash(evidence, earlier, later)),
                );
            }
        }
    }
    clashes.extend(before_the_job_began(evidence, &clashes));
    clashes.sort();
    clashes
}

fn same_view(evidence: &Evidence<'_>, a: PhotoId, b: PhotoId) -> bool {
    evidence
        .set_of(a)
        .is_some_and(|set| set.photos().any(|member| member == b))
}

fn clash(evidence: &Evidence<'_>, earlier: PhotoId, later: PhotoId) -> Option<Clash> {
    let first = evidence.moment(earlier)?;
    let second = evidence.moment(later)?;
    let seconds = first.seconds_until(second);
    (seconds < -evidence.limits().clock_tolerance_s).then_some(Clash {
        later,
        earlier,
        seconds,
    })
}

/// After photos that are older than every before photo of the job, where their own area has no before.
fn before_the_job_began(evidence: &Evidence<'_>, known: &[Clash]) -> Vec<Clash> {
    let of = |phase: Phase| {
        evidence
            .photo_ids()
            .filter(move |&id| evidence.label(id).phase == Some(phase))
    };
    of(Phase::After)
        .filter(|after| known.iter().all(|clash| clash.later != *after))
        .filter_map(|after| {
            let all: Option<Vec<Clash>> = of(Phase::Before)
                .filter(|&b| evidence.moment(b).is_some())
                .map(|b| clash(evidence, b, after))
                .collect();
            // The before photo nearest in time shows it best.
            all?.into_iter().max_by_key(|clash| clash.seconds)
        })
        .collect()
}

/// Photos of another camera that contradict in one direction, from which on they are reported as one.
const ONE_SIDED_PHOTOS: usize = 3;

/// One finding for each camera whose photos contradict those of others in one direction only. A constant error
/// of its clock would explain that, and so would photos of another day: a person has to look.
fn one_sided_devices(evidence: &Evidence<'_>, clashes: &mut Vec<Clash>) -> Vec<Finding> {
    let devices = &evidence.grouped.devices;
    let device = |id: PhotoId| devices.of(id.0);
    let mut order: Vec<usize> = (0..devices.clocks.len()).collect();
    order.sort_by_key(|&at| devices.clocks.get(at).map(|clock| (clock.photos, at)));
    let mut findings = Vec::new();
    for at in order {
        let measured = devices.clocks.get(at).is_none_or(|c| c.basis.is_some());
        let (mine, rest): (Vec<Clash>, Vec<Clash>) = clashes.iter().copied().partition(|clash| {
            let (later, earlier) = (device(clash.later), device(clash.earlier));
            later != earlier && (later == Some(at) || earlier == Some(at))
        });
        let own = |clash: &Clash| match device(clash.later) == Some(at) {
            true => clash.later,
            false => clash.earlier,
        };
        let photos: BTreeSet<PhotoId> = mine.iter().map(own).collect();
        let later = mine.iter().filter(|c| device(c.later) == Some(at)).count();
        let one_way = later == 0 || later == mine.len();
        if measured || !one_way || photos.len() < ONE_SIDED_PHOTOS {
            continue;
        }
        findings.extend(one_sided(evidence, at, &mine, photos));
        *clashes = rest;
    }
    findings
}

fn one_sided(
    evidence: &Evidence<'_>,
    device: usize,
    clashes: &[Clash],
    photos: BTreeSet<PhotoId>,
) -> Option<Finding> {
    let clock = evidence.grouped.devices.clocks.get(device)?;
    let most = clashes.iter().map(|clash| -clash.seconds).max()?;
    let message = format!(
        "{} photos of the {} contradict the order of those of another camera, by up to {}; a clock that was wrong by that much would explain it",
        photos.len(),
        clock.device,
        duration(most)
    );
    let finding = META
        .finding(message)
        .photos(photos)
        .subject(&clock.device)
        .measured(most as f64, evidence.limits().clock_tolerance_s as f64, "seconds")
        .remedy("Photograph the screen of a phone that shows the time with this camera, so that its clock's error is known; if the clock was right, take the photos again.")
        .at_most(Severity::Review);
    Some(finding)
}

/// The photo in most contradictions; of equals the later phase, then the first path.
fn most_involved(evidence: &Evidence<'_>, clashes: &[Clash]) -> Option<PhotoId> {
    let mut counts: BTreeMap<PhotoId, usize> = BTreeMap::new();
    for clash in clashes {
        *counts.entry(clash.later).or_default() += 1;
        *counts.entry(clash.earlier).or_default() += 1;
    }
    counts
        .into_iter()
        .max_by_key(|&(id, count)| (count, evidence.label(id).phase, std::cmp::Reverse(id)))
        .map(|(id, _)| id)
}

fn finding(evidence: &Evidence<'_>, photo: PhotoId, clashes: &[Clash]) -> Finding {
    let other = |clash: &Clash| {
        if clash.later == photo {
            clash.earlier
        } else {
            clash.later
        }
    };
    // Shown against its own view if possible, there against the before photo, else against the largest
    // contradiction.
    let shown = clashes
        .iter()
        .min_by_key(|clash| {
            let partner = other(clash);
            (
                !same_view(evidence, photo, partner),
                evidence.label(partner).phase,
                clash.seconds,
                partner,
            )
        })
        .copied()
        .unwrap_or(Clash {
            later: photo,
            earlier: photo,
            seconds: 0,
        });
    let partner = other(&shown);
    let phase = |id: PhotoId| evidence.label(id).phase.map_or("", Phase::name);
    let (name, partner_name) = (phase(photo), phase(partner));
    let direction = if photo == shown.later {
        "before"
    } else {
        "after"
    };
    let message = format!(
        "the {name} photo was taken {} {direction} the {partner_name} photo",
        duration(-shown.seconds)
    );
    let anchor = (photo == shown.later).then_some(partner);
    META.finding(message)
        .area(evidence.area(photo))
        .photos([photo, partner])
        .measured(
            shown.seconds as f64,
            -evidence.limits().clock_tolerance_s as f64,
            "seconds",
        )
        .retake(Retake {
            area: evidence.area(photo).map(str::to_owned),
            phase: evidence.label(photo).phase,
            view_set: evidence.set_of(photo).map(|set| set.id.clone()),
            like: anchor,
            replaces: Some(photo),
            instruction: format!(
                "check the clock and the label; if both are right, take the {name} photo again"
            ),
        })
}

/// A duration in the unit a person would use.
pub(super) fn duration(seconds: i64) -> String {
    let (value, unit) = match seconds.abs() {
        s if s < 120 => (s, "second"),
        s if s < 2 * 3600 => (s / 60, "minute"),
        s if s < 2 * 86_400 => (s / 3600, "hour"),
        s => (s / 86_400, "day"),
    };
    if value == 1 {
        format!("1 {unit}")
    } else {
        format!("{value} {unit}s")
    }
}
