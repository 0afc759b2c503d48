//! Views that lack a phase, and the most innocent cause that the folder offers for each.

use std::collections::BTreeSet;

use crate::group::ViewSet;
use crate::ingest::PhotoId;
use crate::judge::checks::low_detail;
use crate::judge::evidence::Evidence;
use crate::phase::Phase;
use crate::relation::Relation;

/// A view of an area that has before photos and lacks a required later phase.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Gap {
    /// Index of the view set.
    pub set: usize,
    /// The phase that is missing.
    pub phase: Phase,
    /// The before photo to repeat.
    pub anchor: PhotoId,
    /// Why it is missing, as far as the folder tells.
    pub cause: Cause,
}

/// Why a view lacks a phase.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Cause {
    /// No photo of that phase is left that could be the repeat.
    NotRepeated,
    /// A photo of the phase shows another part of the area.
    Elsewhere(PhotoId),
    /// A photo of the phase may or may not show the view; the pictures do not tell.
    Undetermined(PhotoId),
    /// A photo of the phase is too poor to tell; `low-detail` reports it.
    LowDetail(PhotoId),
    /// A file of the phase cannot be read; `unreadable-photo` reports it.
    Unreadable(String),
}

/// Finds the gaps of a job. Each photo or file explains one gap at most; views that lack the fewest phases
/// are served first, so that one lost file does not leave two views unexplained.
pub(super) fn gaps(evidence: &Evidence<'_>) -> Vec<Gap> {
    let sets = &evidence.grouped.view_sets;
    let mut owing: Vec<(usize, Vec<(Phase, PhotoId)>)> = sets
        .iter()
        .enumerate()
        .map(|(index, set)| {
            let phases = evidence.phases_of_view(set).into_iter();
            (
                index,
                phases
                    .filter_map(|p| Some((p, owed(evidence, set, p)?)))
                    .collect(),
            )
        })
        .collect();
    owing.sort_by_key(|(index, phases)| (phases.len(), *index));
    let mut used = Used::default();
    let mut found: Vec<Gap> = owing
        .into_iter()
        .flat_map(|(set, phases)| {
            phases
                .into_iter()
                .map(move |(phase, anchor)| (set, phase, anchor))
        })
        .map(|(set, phase, anchor)| Gap {
            set,
            phase,
            anchor,
            cause: cause(evidence, &sets[set], phase, &mut used),
        })
        .collect();
    found.sort_by_key(|gap| (gap.set, gap.phase));
    found
}

/// Photos and files that already explain a gap.
#[derive(Debug, Default)]
struct Used {
    photos: BTreeSet<PhotoId>,
    files: BTreeSet<String>,
}

/// The before photo to repeat, if the set owes the phase. A phase that the whole area lacks is reported
/// once for the area, not for each of its views.
fn owed(evidence: &Evidence<'_>, set: &ViewSet, phase: Phase) -> Option<PhotoId> {
    let area = set.area.as_deref();
    let anchor = *set.before.first()?;
    if is_debris(evidence, set) {
        return None;
    }
    let has_it = !set.of(phase).is_empty() || set.attempts.iter().any(|a| a.phase == phase);
    (phase != Phase::Before && !has_it && evidence.has(area, phase)).then_some(anchor)
}

/// Photos of loads and of items counted apart are asked for by their states, not by views.
pub(super) fn is_debris(evidence: &Evidence<'_>, set: &ViewSet) -> bool {
    let debris = &evidence.grouped.debris_photos;
    set.area.is_none() && set.photos().all(|id| debris.contains(&id))
}

fn cause(evidence: &Evidence<'_>, set: &ViewSet, phase: Phase, used: &mut Used) -> Cause {
    let area = set.area.as_deref();
    let free: Vec<PhotoId> = evidence
        .photos_of(area, phase)
        .filter(|id| !used.photos.contains(id) && is_loose(evidence, *id))
        .collect();
    let poor = free
        .iter()
        .copied()
        .find(|&id| low_detail::reason(evidence, id).is_some());
    if let Some(id) = poor {
        used.photos.insert(id);
        return Cause::LowDetail(id);
    }
    if let Some(id) = free
        .iter()
        .copied()
        .find(|&id| undetermined(evidence, set, id))
    {
        used.photos.insert(id);
        return Cause::Undetermined(id);
    }
    let broken = evidence.intake.rejected.iter().find(|file| {
        file.label.area.as_deref() == area
            && file.label.phase == Some(phase)
            && !used.files.contains(&file.path)
    });
    if let Some(file) = broken {
        used.files.insert(file.path.clone());
        return Cause::Unreadable(file.path.clone());
    }
    match free.first() {
        Some(&id) => {
            used.photos.insert(id);
            Cause::Elsewhere(id)
        }
        None => Cause::NotRepeated,
    }
}

/// A photo that is alone in its set and is nobody's attempt or copy.
fn is_loose(evidence: &Evidence<'_>, id: PhotoId) -> bool {
    evidence
        .set_of(id)
        .is_some_and(|set| set.photos().count() == 1)
        && !evidence.is_copied(id)
}

fn undetermined(evidence: &Evidence<'_>, set: &ViewSet, id: PhotoId) -> bool {
    set.photos().any(|member| {
        evidence
            .grouped
            .pair(member, id)
            .is_some_and(|p| p.relation == Relation::Undetermined)
    })
}
