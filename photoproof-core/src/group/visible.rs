//! Which pairs of a job are compared for visible change: those whose answer somebody reads.

use crate::group::coverage::required_phases;
use crate::group::{Grouped, Pair, ViewSet};
use crate::ingest::PhotoId;
use crate::job::JobSheet;
use crate::measure::Change;
use crate::phase::Phase;
use crate::relation::Relation;

/// Most pairs of two phases of one view that are compared, those with the most inliers; a burst adds cost, no
/// answer.
const MOST_PAIRS: usize = 4;

/// Visible change of one pair of a view set.
#[derive(Debug, Clone)]
pub struct ChangedPair {
    /// The earlier photo.
    pub a: PhotoId,
    /// The later photo.
    pub b: PhotoId,
    /// What changed from a to b, over a's frame.
    pub change: Change,
}

/// Pairs to compare, sorted: same view, in one view set, of two phases that the job asks for.
pub(crate) fn wanted<'a>(sheet: &JobSheet, grouped: &'a Grouped) -> Vec<&'a Pair> {
    let phases = required_phases(sheet);
    let mut wanted: Vec<&Pair> = Vec::new();
    for set in &grouped.view_sets {
        for (first, second) in [
            (Phase::Before, Phase::During),
            (Phase::Before, Phase::After),
            (Phase::During, Phase::After),
        ] {
            if phases.contains(&first) && phases.contains(&second) {
                wanted.extend(strongest(grouped, set, first, second));
            }
        }
    }
    wanted.sort_by_key(|pair| (pair.a, pair.b));
    wanted
}

fn strongest<'a>(
    grouped: &'a Grouped,
    set: &ViewSet,
    first: Phase,
    second: Phase,
) -> Vec<&'a Pair> {
    let pairs = set.of(first).iter().flat_map(|&a| {
        let others = set.of(second).iter();
        others.filter_map(move |&b| grouped.pair(a, b))
    });
    let mut pairs: Vec<&Pair> = pairs
        .filter(|pair| pair.relation == Relation::SameView)
        .collect();
    pairs.sort_by_key(|pair| {
        let inliers = pair.viewpoint.evidence().inliers;
        (std::cmp::Reverse(inliers), pair.a, pair.b)
    });
    pairs.truncate(MOST_PAIRS);
    pairs
}
