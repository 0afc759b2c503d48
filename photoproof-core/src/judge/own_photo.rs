//! The retake that asks for a photo of its own in place of one that was used elsewhere.

use crate::ingest::PhotoId;
use crate::judge::{Evidence, Retake};

/// Asks for the photo that belongs where `photo` lies. If a view of the area lacks the phase, that is the one
/// to match.
pub(super) fn own_photo(evidence: &Evidence<'_>, photo: PhotoId, instruction: String) -> Retake {
    let label = evidence.label(photo);
    let gap = evidence.gaps.iter().find(|gap| {
        let set = evidence.grouped.view_sets.get(gap.set);
        Some(gap.phase) == label.phase && set.is_some_and(|set| set.area == label.area)
    });
    let set = gap.and_then(|gap| evidence.grouped.view_sets.get(gap.set));
    Retake {
        area: label.area.clone(),
        phase: label.phase,
        view_set: set.map(|set| set.id.clone()),
        like: gap.map(|gap| gap.anchor),
        replaces: Some(photo),
        instruction,
    }
}
