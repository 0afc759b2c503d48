//! `no-visible-change`: the after photo shows what the before photo showed.

use crate::group::ViewSet;
use crate::ingest::PhotoId;
use crate::judge::together::each_area;
use crate::judge::{Check, CheckMeta, Evidence, Finding, Severity, Status};
use crate::phase::Phase;

static META: CheckMeta = CheckMeta {
    id: "no-visible-change",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Review,
    summary: "The before and after photos of an area show no visible change where work was claimed.",
    why: "Both may have been taken before the work, or both after it.",
    how_measured: "Share of the common part of the two frames that changed. Cells of 1/48 of the frame are looked for near their aligned place and compared by normalised correlation (Lewis 1995) and by colour once exposure and white balance are evened out; a logistic function fitted on rendered houses tells changed cells and those that may have changed, which count here. The view of the area that changed most counts.",
    limit: "min_visible_change (0.018): two exposures of one unchanged view of rendered rooms stay below 0.017, changes of more than 5 % of the frame reach 0.026.",
    remedy: "Say what was done in this area; if the work is still to do, do it and shoot the after photo again.",
    innocent: &[
        "nothing had to be removed in what these photos show",
        "the work was washing or another service that does not show at this distance",
        "the view was shot to show that an area needed no work",
    ],
    blind_spots: "Sees no change below about 2 % of the frame, and none that the photos do not share. Silent about a view without change while another view of the area shows change. A note only where the services named are other than debris removal. Does not say who changed what: a lamp or a door moved counts as change.",
};

/// The check.
#[derive(Debug)]
pub struct NoVisibleChange;

impl Check for NoVisibleChange {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        each_area(evidence, finding)
    }
}

fn finding(evidence: &Evidence<'_>, area: Option<&str>, sets: &[&ViewSet]) -> Option<Finding> {
    let limit = evidence.limits().min_visible_change;
    let views: Vec<Compared> = sets
        .iter()
        .filter_map(|set| most_changed(evidence, set, Phase::Before, Phase::After))
        .collect();
    let most = views.iter().map(|view| view.at_most).reduce(f64::max)?;
    // A copy is a finding of its own.
    if most >= limit || views.iter().any(|view| view.is_copy(evidence)) {
        return None;
    }
    let weight = if debris_is_claimed(evidence) {
        Severity::Review
    } else {
        Severity::Note
    };
    let show = match views.len() {
        1 => "photo shows",
        _ => "photos show",
    };
    let message = format!(
        "the after {show} what the before {show}: at most {:.1} % of the common part changed",
        most * 100.0
    );
    Some(
        META.finding(message)
            .area(area)
            .photos(views.iter().flat_map(|view| [view.b, view.a]))
            .measured(most, limit, "share of the common part")
            .at_most(weight),
    )
}

/// Whether removal of debris was ordered or claimed; without a job sheet it may have been.
fn debris_is_claimed(evidence: &Evidence<'_>) -> bool {
    let services = &evidence.sheet.services;
    services.is_empty()
        || services.iter().any(|service| service == "debris-removal")
        || evidence.grouped.debris.claimed.is_some()
}

/// Two photos of a view and the share that may have changed from a to b.
#[derive(Debug, Clone, Copy)]
pub(super) struct Compared {
    pub(super) a: PhotoId,
    pub(super) b: PhotoId,
    pub(super) at_most: f64,
}

impl Compared {
    /// Whether both photos are sides of confirmed copies.
    pub(super) fn is_copy(&self, evidence: &Evidence<'_>) -> bool {
        evidence.is_copied(self.a) && evidence.is_copied(self.b)
    }
}

/// The compared pair of two phases of a view that changed most.
pub(super) fn most_changed(
    evidence: &Evidence<'_>,
    set: &ViewSet,
    first: Phase,
    second: Phase,
) -> Option<Compared> {
    let pairs = set
        .of(first)
        .iter()
        .flat_map(|&a| set.of(second).iter().map(move |&b| (a, b)));
    pairs
        .filter_map(|(a, b)| {
            let at_most = evidence.grouped.change(a, b)?.change.at_most;
            Some(Compared { a, b, at_most })
        })
        .reduce(|most, next| {
            if next.at_most > most.at_most {
                next
            } else {
                most
            }
        })
}
