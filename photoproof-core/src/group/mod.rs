//! Measured to [`Grouped`]: view sets, copies, coverage. Pure: no pixels, no input or output.

pub mod clock;
mod cluster;
pub(crate) mod counter;
pub mod coverage;
mod infer;
pub(crate) mod loads;
pub mod moment;
pub mod view_set;
pub mod visible;
pub mod zone;

pub use clock::{ClockBasis, DeviceClock, Devices};
pub use coverage::{CoverageCell, phases_of, required_phases};
pub use moment::Moment;
pub use view_set::{Attempt, ViewSet};
pub use visible::ChangedPair;
pub use zone::SiteZone;

use std::collections::BTreeSet;

use crate::ingest::{Intake, Label, Photo, PhotoId};
use crate::job::JobSheet;
use crate::ledger::VendorCameras;
use crate::limits::Limits;
use crate::measure::pairs::ComparedPair;
use crate::measure::{CopyMeasure, Viewpoint};
use crate::relation::Relation;
use crate::volume::{Tally, tally};

/// A compared pair of photos of one job.
#[derive(Debug, Clone)]
pub struct Pair {
    /// The earlier photo (by phase, then path).
    pub a: PhotoId,
    /// The later photo.
    pub b: PhotoId,
    /// Measured motion.
    pub viewpoint: Viewpoint,
    /// The motion against the limits.
    pub relation: Relation,
}

/// A confirmed copy inside the job or against the ledger.
#[derive(Debug, Clone)]
pub struct CopyPair {
    /// The photo of this job that is a copy (of two of this job: the one later in path order).
    pub photo: PhotoId,
    /// What it is a copy of.
    pub original: Original,
    /// How it was made.
    pub measure: CopyMeasure,
}

/// The other side of a copy.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Original {
    /// Another photo of this job.
    InJob(PhotoId),
    /// A photo of an earlier job, from the ledger.
    InLedger {
        /// The earlier job's id.
        job: String,
        /// Path of the photo in that job.
        path: String,
    },
}

/// What belongs together in one job.
#[derive(Debug, Clone, Default)]
#[non_exhaustive]
pub struct Grouped {
    /// Labels of every photo, inferred ones included and marked.
    pub labels: Vec<Label>,
    /// Areas in report order.
    pub areas: Vec<String>,
    /// View sets in report order; a photo is in one set at most.
    pub view_sets: Vec<ViewSet>,
    /// Compared pairs, sorted.
    pub pairs: Vec<Pair>,
    /// Visible change of the pairs of one view, sorted; see [`visible`].
    pub changes: Vec<ChangedPair>,
    /// Confirmed copies, sorted.
    pub copies: Vec<CopyPair>,
    /// Debris loads and hazards with their photos, and the claim.
    pub debris: Tally,
    /// Photos of loads and hazards; they belong to no area.
    pub debris_photos: BTreeSet<PhotoId>,
    /// Coverage matrix, areas in report order, phases in working order.
    pub coverage: Vec<CoverageCell>,
    /// Zone of the site, if anything tells it.
    pub zone: Option<SiteZone>,
    /// Cameras and their clocks.
    pub devices: Devices,
    /// Cameras of the vendor's other jobs, from the ledger.
    pub vendor_cameras: Option<VendorCameras>,
    /// When each photo was taken, corrected by its clock's error.
    pub moments: Vec<Option<Moment>>,
}

impl Grouped {
    /// The visible change between two photos, whichever way round it was measured.
    #[must_use]
    pub fn change(&self, x: PhotoId, y: PhotoId) -> Option<&ChangedPair> {
        either_way(&self.changes, |pair| (pair.a, pair.b), x, y)
    }

    /// The comparison of two photos, whichever way round it was made.
    #[must_use]
    pub fn pair(&self, x: PhotoId, y: PhotoId) -> Option<&Pair> {
        either_way(&self.pairs, |pair| (pair.a, pair.b), x, y)
    }
}

/// The entry of two photos in a sorted list.
fn either_way<T>(
    sorted: &[T],
    photos: impl Fn(&T) -> (PhotoId, PhotoId),
    x: PhotoId,
    y: PhotoId,
) -> Option<&T> {
    let find = |wanted| sorted.binary_search_by_key(&wanted, &photos).ok();
    find((x, y))
        .or_else(|| find((y, x)))
        .and_then(|index| sorted.get(index))
}

/// What was compared in a job.
#[derive(Debug, Clone, Default)]
pub struct Compared {
    /// Pairs over the phases.
    pub compared: Vec<ComparedPair>,
    /// Pairs of one phase that compete for a place in a view set, see [`rival_pairs`].
    pub rivals: Vec<ComparedPair>,
}

/// Pairs of one phase that fell into one view set, as photo indices: one of the two may be a view that
/// is only alike or a step nearer, which the comparison over the phases, with its changed content,
/// could not tell. Two photos of one visit share nearly all their content, so that their own comparison
/// can.
#[must_use]
pub fn rival_pairs(
    limits: &Limits,
    photos: &[Photo],
    compared: &[ComparedPair],
) -> Vec<(usize, usize)> {
    let edges = edges(limits, compared);
    let mut pairs = Vec::new();
    for cluster in cluster::clusters(photos.len(), &edges, &[]) {
        for (i, &a) in cluster.iter().enumerate() {
            let rest = cluster.iter().skip(i + 1);
            pairs.extend(
                rest.filter(|b| is_one_visit(photos, a, **b))
                    .map(|b| (a, *b)),
            );
        }
    }
    pairs
}

/// Time within which photos without a phase are taken for one visit, minutes.
const ONE_VISIT_MINUTES: i64 = 30;

fn is_one_visit(photos: &[Photo], a: usize, b: usize) -> bool {
    let (Some(a), Some(b)) = (photos.get(a), photos.get(b)) else {
        return false;
    };
    match (a.label.phase, b.label.phase) {
        (Some(x), Some(y)) => x == y,
        _ => {
            let time = |photo: &Photo| photo.capture_time.as_ref().map(|time| time.civil);
            let (Some(x), Some(y)) = (time(a), time(b)) else {
                return false;
            };
            (x - y).num_minutes().abs() < ONE_VISIT_MINUTES
        }
    }
}

fn edges(limits: &Limits, compared: &[ComparedPair]) -> Vec<cluster::Edge> {
    compared
        .iter()
        .map(|pair| cluster::Edge::new(pair, Relation::of(&pair.viewpoint, limits)))
        .collect()
}

/// Groups the photos of one job.
#[must_use]
pub fn group(
    sheet: &JobSheet,
    intake: &Intake,
    compared: Compared,
    copies: Vec<CopyPair>,
) -> Grouped {
    let Compared { compared, rivals } = compared;
    let edges = edges(&sheet.limits, &compared);
    let relations: Vec<Relation> = edges.iter().map(|edge| edge.relation).collect();
    let apart = cluster::apart(self::edges(&sheet.limits, &rivals));
    let clusters = cluster::clusters(intake.photos.len(), &edges, &apart);
    let (debris, debris_photos) = debris(sheet, intake);
    let mut labels = infer::with_areas(&intake.photos, &clusters);
    forget_areas_of(&debris_photos, sheet, &mut labels);
    let zone = zone::site_zone(sheet, &intake.photos);
    let clocks = clock::ClockEvidence {
        photos: &intake.photos,
        labels: &labels,
        zone: zone.map(|zone| zone.zone),
        window: sheet.window,
        limit_s: sheet.limits.max_clock_error_s,
    };
    let devices = clock::devices(clocks);
    let moments = clock::moments(clocks, &devices);
    let times: Vec<_> = moments
        .iter()
        .map(|moment| moment.map(|m| m.civil))
        .collect();
    infer::infer_phases(&mut labels, &times, &clusters);
    let areas = coverage::area_order(sheet, &labels);
    let view_sets = view_set::view_sets(&clusters, &labels, &edges, &areas);
    let mut pairs: Vec<Pair> = compared
        .into_iter()
        .zip(relations)
        .map(|(pair, relation)| Pair {
            a: pair.a,
            b: pair.b,
            viewpoint: pair.viewpoint,
            relation,
        })
        .collect();
    pairs.sort_by_key(|pair| (pair.a, pair.b));
    let coverage = coverage::coverage(sheet, &labels, &areas);
    Grouped {
        zone,
        devices,
        vendor_cameras: None,
        moments,
        labels,
        areas,
        view_sets,
        pairs,
        changes: Vec::new(),
        copies,
        debris,
        debris_photos,
        coverage,
    }
}

/// Photos of loads and hazards belong to no area that the sheet does not name.
fn forget_areas_of(debris_photos: &BTreeSet<PhotoId>, sheet: &JobSheet, labels: &mut [Label]) {
    for id in debris_photos {
        let label = &mut labels[id.0];
        let mut areas = sheet.areas.iter();
        if !areas.any(|area| Some(&area.name) == label.area.as_ref()) {
            (label.area, label.area_source) = (None, None);
        }
    }
}

/// The debris tally and the photos it rests on.
fn debris(sheet: &JobSheet, intake: &Intake) -> (Tally, BTreeSet<PhotoId>) {
    let paths: Vec<String> = intake
        .photos
        .iter()
        .map(|photo| photo.path.clone())
        .collect();
    let tally = tally(sheet, &paths);
    let loads = tally.loads.iter().flat_map(|line| &line.photos);
    let photos = loads
        .chain(tally.hazards.iter().flat_map(|line| &line.photos))
        .filter_map(|path| paths.iter().position(|known| known == path).map(PhotoId))
        .collect();
    (tally, photos)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pair_is_found_whichever_way_round_it_was_compared() {
        let sorted = [(1, 4), (2, 3), (5, 2)].map(|(a, b)| (PhotoId(a), PhotoId(b)));
        let find = |x, y| either_way(&sorted, |pair| *pair, PhotoId(x), PhotoId(y)).copied();
        assert_eq!(find(2, 3), Some(sorted[1]));
        assert_eq!(find(2, 5), Some(sorted[2]));
        assert_eq!(find(4, 1), Some(sorted[0]));
        assert_eq!(find(1, 3), None);
    }
}
