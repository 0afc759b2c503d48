//! `unchanged-during`: a during photo shows what the before or the after photo shows.

use super::no_visible_change::{Compared, most_changed};
use crate::group::ViewSet;
use crate::judge::together::each_area;
use crate::judge::{Check, CheckMeta, Evidence, Finding, Severity, Status};
use crate::phase::Phase;

static META: CheckMeta = CheckMeta {
    id: "unchanged-during",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Note,
    summary: "The during photos of an area show the same as its before or its after photos.",
    why: "They add nothing to them: work under way is not seen.",
    how_measured: "Share of the common part of the two frames that may have changed, as for no-visible-change; the view of the area that changed most counts, and only where before and after do differ.",
    limit: "min_visible_change (0.018), see no-visible-change.",
    remedy: "Take the during photo while the work is half done.",
    innocent: &[
        "work in this view had not begun, or was done, when the photo was taken",
        "the crew worked in another part of the room",
    ],
    blind_spots: "Sees no change below about 2 % of the frame.",
};

/// The check.
#[derive(Debug)]
pub struct UnchangedDuring;

impl Check for UnchangedDuring {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        each_area(evidence, finding)
    }
}

fn finding(evidence: &Evidence<'_>, area: Option<&str>, sets: &[&ViewSet]) -> Option<Finding> {
    let limit = evidence.limits().min_visible_change;
    let compared = |first: Phase, second: Phase| -> Vec<Compared> {
        let sets = sets.iter();
        sets.filter_map(|set| most_changed(evidence, set, first, second))
            .collect()
    };
    let most = |views: &[Compared]| views.iter().map(|view| view.at_most).reduce(f64::max);
    if most(&compared(Phase::Before, Phase::After))? < limit {
        return None;
    }
    let early = (compared(Phase::Before, Phase::During), Phase::Before);
    let late = (compared(Phase::During, Phase::After), Phase::After);
    let (views, phase, at_most) = [early, late].into_iter().find_map(|(views, phase)| {
        let at_most = most(&views).filter(|share| *share < limit)?;
        let copied = views.iter().any(|view| view.is_copy(evidence));
        (!copied).then_some((views, phase, at_most))
    })?;
    let photos = views.iter().flat_map(|view| match phase {
        Phase::After => [view.a, view.b],
        _ => [view.b, view.a],
    });
    let finding = META.finding(format!(
        "the during photo shows what the {phase} photo shows: at most {:.1} % of the common part changed",
        at_most * 100.0
    ));
    Some(
        finding
            .area(area)
            .photos(photos)
            .measured(at_most, limit, "share of the common part"),
    )
}
