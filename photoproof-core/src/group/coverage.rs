//! Coverage: how many photos each area has in each phase.

use crate::ingest::Label;
use crate::job::JobSheet;
use crate::phase::Phase;
use crate::scope::{Scope, Shot, place_of};

/// One cell of the coverage matrix.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CoverageCell {
    /// Area name.
    pub area: String,
    /// Phase.
    pub phase: Phase,
    /// Whether the job asks for photos here.
    pub required: bool,
    /// Number of usable photos.
    pub photos: usize,
}

/// Areas in report order: as on the job sheet, then the others by first photo.
pub(super) fn area_order(sheet: &JobSheet, labels: &[Label]) -> Vec<String> {
    let mut order: Vec<String> = sheet.areas.iter().map(|area| area.name.clone()).collect();
    for area in labels.iter().filter_map(|label| label.area.as_ref()) {
        if !order.contains(area) {
            order.push(area.clone());
        }
    }
    order
}

/// The matrix, row by row. An area asks for a phase if it is on the sheet or has any photo, and the job
/// (where shots are owed, one of its shots) asks for the phase.
pub(super) fn coverage(sheet: &JobSheet, labels: &[Label], areas: &[String]) -> Vec<CoverageCell> {
    let shots = match sheet.scope.require_shots {
        true => Scope::for_job(sheet),
        false => Vec::new(),
    };
    areas
        .iter()
        .flat_map(|area| Phase::ALL.map(|phase| (area, phase)))
        .map(|(area, phase)| CoverageCell {
            area: area.clone(),
            phase,
            required: phases_of(sheet, &shots, area).contains(&phase),
            photos: labels
                .iter()
                .filter(|label| label.area.as_ref() == Some(area) && label.phase == Some(phase))
                .count(),
        })
        .collect()
}

/// Phases in which an area is asked for: those of its shots where the job owes them, else the job's.
#[must_use]
pub fn phases_of(sheet: &JobSheet, shots: &[Shot], area: &str) -> Vec<Phase> {
    if sheet.loads.iter().any(|load| load.name == area) {
        // Photos of loads are asked for by their states.
        return Vec::new();
    }
    let Some(place) = place_of(shots, sheet, area) else {
        return required_phases(sheet);
    };
    let owed = shots.iter().filter(|s| s.area == place && !s.if_present);
    let mut phases: Vec<Phase> = owed.flat_map(|s| s.phases.iter().copied()).collect();
    phases.sort();
    phases.dedup();
    phases
}

/// Phases the job asks for; all three unless the sheet says otherwise.
#[must_use]
pub fn required_phases(sheet: &JobSheet) -> Vec<Phase> {
    if sheet.phases.is_empty() {
        Phase::ALL.to_vec()
    } else {
        sheet.phases.clone()
    }
}
