//! The relation of two photos: measured motion against limits, in one place.

use serde::Serialize;

use crate::limits::Limits;
use crate::measure::{Viewpoint, ViewpointShift};

/// How the views of two photos relate.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Relation {
    /// Same standpoint and direction within the limits.
    SameView,
    /// Same place, but the camera moved or turned beyond the limits.
    Shifted,
    /// The pictures share no structure.
    Different,
    /// The pictures do not tell; a person looks.
    Undetermined,
}

impl Relation {
    /// Applies `limits` to a measured viewpoint.
    #[must_use]
    pub fn of(viewpoint: &Viewpoint, limits: &Limits) -> Self {
        match viewpoint {
            Viewpoint::Shift(shift) if is_doubtful(shift) => Relation::Undetermined,
            Viewpoint::Shift(shift) if within(shift, limits) => Relation::SameView,
            Viewpoint::Shift(_) => Relation::Shifted,
            Viewpoint::NoCommonStructure(_) => Relation::Different,
            Viewpoint::Inconclusive(..) => Relation::Undetermined,
        }
    }
}

/// Consistency below which a motion is not believed, whatever it says: rooms with equal fittings agree
/// in part, and what is between the fittings contradicts; a wrong motion finds little more than
/// likeness does. This is an evidence line, not a limit of the trade: of 150 true repeats of three
/// rendered houses, 148 lie above it.
const LEAST_CONSISTENCY: f64 = 0.36;

/// Share of the cells rich in detail in both photos that may contradict a motion before it is not
/// believed. Debris contradicts too: true repeats on rendered houses reach 0.4.
const MOST_SILENT: f64 = 0.45;

fn is_doubtful(shift: &ViewpointShift) -> bool {
    let consistency = shift.evidence.consistency();
    consistency.is_some_and(|c| c < LEAST_CONSISTENCY)
        || shift.evidence.silent_share() > MOST_SILENT
}

fn within(shift: &ViewpointShift, limits: &Limits) -> bool {
    let distance_fits = shift.distance_ratio.is_none_or(|ratio| {
        (limits.min_distance_ratio..=limits.max_distance_ratio).contains(&ratio.get())
    });
    distance_fits
        && shift.rotation.get() <= limits.max_rotation_deg
        && shift.overlap.get() >= limits.min_overlap
}
