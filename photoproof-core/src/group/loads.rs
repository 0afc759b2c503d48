//! Loads whose photos show the load of an earlier line again: it counts once.

use std::collections::BTreeSet;

use crate::error::Error;
use crate::group::{CopyPair, Moment, Original};
use crate::ingest::{Intake, PhotoId};
use crate::job::JobSheet;
use crate::measure::{Comparison, Shelf};
use crate::relation::Relation;
use crate::volume::{LoadState, Repeat, Sameness, Tally};

/// Most pairs of photos of different loads that are compared in one job.
const MAX_PAIRS: usize = 2_000;

/// What the search looks at.
#[derive(Clone, Copy)]
pub(crate) struct LoadEvidence<'a> {
    pub(crate) sheet: &'a JobSheet,
    pub(crate) intake: &'a Intake,
    pub(crate) measures: &'a Shelf,
    pub(crate) copies: &'a [CopyPair],
    /// When each photo was taken, corrected by its clock's error.
    pub(crate) moments: &'a [Option<Moment>],
    pub(crate) comparison: &'a dyn Comparison,
}

/// Photos of a load that may show it full: those of no other state.
struct Full {
    line: usize,
    photos: Vec<PhotoId>,
}

/// Loads of which every photo of the full bed shows an earlier line's load: the same photo, a copy of
/// it, or the same view taken sooner after it than a bed is emptied and filled again.
///
/// # Errors
/// If measures cannot be read back.
pub(crate) fn repeats(tally: &Tally, evidence: LoadEvidence<'_>) -> Result<Vec<Repeat>, Error> {
    let loads = full_photos(tally, evidence.intake);
    let mut repeats = Vec::new();
    let mut compared = 0;
    for (at, later) in loads.iter().enumerate() {
        let earlier = loads.get(..at).unwrap_or_default();
        let found = earlier
            .iter()
            .find_map(|first| repeat(first, later, evidence, &mut compared).transpose());
        repeats.extend(found.transpose()?);
    }
    Ok(repeats)
}

fn full_photos(tally: &Tally, intake: &Intake) -> Vec<Full> {
    let lines = tally.loads.iter().enumerate();
    lines
        .map(|(line, load)| Full {
            line,
            photos: load
                .photos
                .iter()
                .filter(|path| {
                    !matches!(
                        load.state_of(path),
                        Some(LoadState::Empty | LoadState::Dumped)
                    )
                })
                .filter_map(|path| {
                    let found = intake
                        .photos
                        .binary_search_by(|p| p.path.as_str().cmp(path));
                    found.ok().map(PhotoId)
                })
                .collect(),
        })
        .filter(|full| !full.photos.is_empty())
        .collect()
}

fn repeat(
    first: &Full,
    later: &Full,
    evidence: LoadEvidence<'_>,
    compared: &mut usize,
) -> Result<Option<Repeat>, Error> {
    let is_bed = |full: &Full| {
        let load = evidence.sheet.loads.get(full.line);
        load.is_some_and(|load| load.shape.is_bed())
    };
    let beds = is_bed(first) && is_bed(later);
    let mut how = Sameness::SamePhoto;
    let mut pairs = BTreeSet::new();
    for &photo in &later.photos {
        let found = first.photos.iter().find_map(|&other| {
            let known = same(other, photo, beds, evidence, compared).transpose()?;
            Some(known.map(|known| (known, other)))
        });
        let Some((known, other)) = found.transpose()? else {
            return Ok(None);
        };
        how = how.max(known);
        pairs.insert((photo, other));
    }
    let path = |id: PhotoId| evidence.intake.photos.get(id.0).map(|p| p.path.clone());
    let mut photos: Vec<String> = Vec::new();
    for (photo, other) in pairs {
        for path in [photo, other].into_iter().filter_map(path) {
            if !photos.contains(&path) {
                photos.push(path);
            }
        }
    }
    Ok(Some(Repeat {
        load: later.line,
        of: first.line,
        how,
        photos,
    }))
}

fn same(
    a: PhotoId,
    b: PhotoId,
    beds: bool,
    evidence: LoadEvidence<'_>,
    compared: &mut usize,
) -> Result<Option<Sameness>, Error> {
    if a == b {
        // One photo may show two piles; two beds have a photo each.
        return Ok(beds.then_some(Sameness::SamePhoto));
    }
    let copied = |x: PhotoId, y: PhotoId| {
        let mut copies = evidence.copies.iter();
        copies.any(|c| c.measure.is_confirmed() && c.photo == x && c.original == Original::InJob(y))
    };
    if copied(a, b) || copied(b, a) {
        return Ok(Some(Sameness::Copy));
    }
    let limits = &evidence.sheet.limits;
    let moment = |id: PhotoId| evidence.moments.get(id.0).and_then(Option::as_ref);
    // Unknown times do not tell two loads apart.
    let soon = match (moment(a), moment(b)) {
        (Some(x), Some(y)) => x.seconds_until(y).abs() < limits.min_load_turnaround_s,
        _ => true,
    };
    if !soon || *compared >= MAX_PAIRS {
        return Ok(None);
    }
    *compared += 1;
    let measures = |id: PhotoId| evidence.measures.get(id.0);
    let viewpoint = evidence
        .comparison
        .viewpoint(&*measures(a)?, &*measures(b)?);
    let is_same = Relation::of(&viewpoint, limits) == Relation::SameView;
    Ok(is_same.then_some(Sameness::SameView))
}
