//! The shots a job owes and the photos that serve them, where the job sheet asks for each shot.

use std::collections::BTreeMap;

use crate::group::{Grouped, ViewSet};
use crate::ingest::{Intake, PhotoId};
use crate::job::{JobSheet, normalize};
use crate::phase::Phase;
use crate::scope::{Assignment, MissingShot, Scope, Shot, ShotPhoto, place_of};
use crate::volume::LoadLine;

/// Shots owed, served and missing.
#[derive(Debug, Clone, Default)]
#[non_exhaustive]
pub struct OwedShots {
    /// All shots, in the order of the crew's walk.
    pub shots: Vec<Shot>,
    /// Shots each photo serves, as indices of `shots`; a photo of a load may serve its area too.
    pub served: BTreeMap<PhotoId, Vec<usize>>,
    /// The shot of its own area that each photo serves.
    pub in_area: BTreeMap<PhotoId, usize>,
    /// What is missing, in the same order.
    pub missing: Vec<MissingShot>,
}

/// One use of a photo: as one of its area, or as one of a load or of items counted apart.
struct Use {
    photo: PhotoId,
    place: String,
    phase: Option<Phase>,
    view_set: Option<String>,
    view: Option<String>,
    words: String,
}

impl OwedShots {
    /// The shots of the job; `None` where the sheet does not ask for each.
    pub(super) fn of(sheet: &JobSheet, intake: &Intake, grouped: &Grouped) -> Option<Self> {
        if !sheet.scope.require_shots {
            return None;
        }
        let shots = Scope::for_job(sheet);
        let mut uses = of_areas(sheet, intake, grouped, &shots);
        let in_areas = uses.len();
        uses.extend(of_loads(intake, grouped, &shots));
        uses.extend(of_items(intake, grouped, &shots));
        let photos: Vec<ShotPhoto<'_>> = uses.iter().map(Use::as_photo).collect();
        let assignment = Assignment::new(&shots, &photos);
        let mut served: BTreeMap<PhotoId, Vec<usize>> = BTreeMap::new();
        let mut in_area = BTreeMap::new();
        for (index, (used, shot)) in uses.iter().zip(&assignment.shots).enumerate() {
            served.entry(used.photo).or_default().extend(*shot);
            if let (Some(shot), true) = (*shot, index < in_areas) {
                in_area.insert(used.photo, shot);
            }
        }
        let missing = assignment.missing(&shots);
        Some(Self {
            shots,
            served,
            in_area,
            missing,
        })
    }

    /// Whether a photo of the set serves the shot.
    #[must_use]
    pub fn serves(&self, set: &ViewSet, shot: usize) -> bool {
        set.photos()
            .any(|id| self.served.get(&id).is_some_and(|s| s.contains(&shot)))
    }

    /// The phases in which the area's shots that the set's before photos serve are owed; `None` if they
    /// serve none.
    #[must_use]
    pub fn phases(&self, set: &ViewSet) -> Option<Vec<Phase>> {
        let mut phases: Vec<Phase> = set
            .before
            .iter()
            .filter_map(|id| self.in_area.get(id))
            .filter_map(|&shot| self.shots.get(shot))
            .flat_map(|shot| shot.phases.iter().copied())
            .collect();
        phases.sort();
        phases.dedup();
        (!phases.is_empty()).then_some(phases)
    }

    /// A photo that serves the shot, of the earliest phase.
    pub(super) fn example(&self, grouped: &Grouped, shot: usize) -> Option<PhotoId> {
        self.served
            .iter()
            .filter(|(_, shots)| shots.contains(&shot))
            .map(|(&id, _)| id)
            .min_by_key(|id| (grouped.labels.get(id.0).and_then(|l| l.phase), *id))
    }
}

impl Use {
    fn as_photo(&self) -> ShotPhoto<'_> {
        ShotPhoto {
            area: &self.place,
            phase: self.phase,
            view_set: self.view_set.as_deref(),
            view: self.view.as_deref(),
            words: &self.words,
        }
    }
}

/// File name and caption.
fn words(intake: &Intake, id: PhotoId) -> Option<String> {
    let photo = intake.photos.get(id.0)?;
    let name = photo.path.rsplit('/').next().unwrap_or_default();
    let caption = photo.label.caption.as_deref().unwrap_or_default();
    Some(format!("{name} {caption}"))
}

fn of_areas(sheet: &JobSheet, intake: &Intake, grouped: &Grouped, shots: &[Shot]) -> Vec<Use> {
    let mut set_of: BTreeMap<PhotoId, &str> = BTreeMap::new();
    for set in &grouped.view_sets {
        set_of.extend(set.photos().map(|id| (id, set.id.as_str())));
    }
    let labels = grouped.labels.iter().enumerate();
    labels
        .filter_map(|(index, label)| {
            let photo = PhotoId(index);
            Some(Use {
                photo,
                place: place_of(shots, sheet, label.area.as_deref()?)?.to_owned(),
                phase: Some(label.phase?),
                view_set: set_of.get(&photo).map(|&set| set.to_owned()),
                view: label.view.clone(),
                words: words(intake, photo)?,
            })
        })
        .collect()
}

fn photo_at(intake: &Intake, path: &str) -> Option<PhotoId> {
    let photos = &intake.photos;
    let found = photos.binary_search_by(|photo| photo.path.as_str().cmp(path));
    found.ok().map(PhotoId)
}

/// Photos of loads by the sheet's globs. The state that the sheet gives a photo names its shot.
fn of_loads(intake: &Intake, grouped: &Grouped, shots: &[Shot]) -> Vec<Use> {
    let mut uses = Vec::new();
    for line in &grouped.debris.loads {
        if !shots.iter().any(|shot| shot.area == line.name) {
            continue;
        }
        for photo in line.photos.iter().filter_map(|p| photo_at(intake, p)) {
            uses.extend(load_use(intake, grouped, line, photo));
        }
    }
    uses
}

fn load_use(intake: &Intake, grouped: &Grouped, line: &LoadLine, id: PhotoId) -> Option<Use> {
    let photo = intake.photos.get(id.0)?;
    let state = line.state_of(&photo.path);
    Some(Use {
        photo: id,
        place: line.name.clone(),
        // A state has its own phase, whatever folder it lies in.
        phase: match state {
            Some(_) => None,
            None => grouped.labels.get(id.0)?.phase,
        },
        view_set: None,
        view: state.map(|state| state.name().to_owned()),
        words: words(intake, id)?,
    })
}

fn of_items(intake: &Intake, grouped: &Grouped, shots: &[Shot]) -> Vec<Use> {
    let Some(place) = shots.iter().find(|shot| shot.kind == "hazards") else {
        return Vec::new();
    };
    let items = grouped.debris.hazards.iter();
    items
        .flat_map(|item| &item.photos)
        .filter_map(|path| {
            let id = photo_at(intake, path)?;
            let label = grouped.labels.get(id.0)?;
            let words = words(intake, id)?;
            // A photo of the items alone shows them set out, unless its name says that they are gone; one of
            // an area has to say that it does.
            let spoken = normalize(&words.replace('.', " "));
            let gone = ["gone", "removed"];
            let gone = spoken.split(' ').any(|word| gone.contains(&word));
            Some(Use {
                photo: id,
                place: place.area.clone(),
                phase: label.phase,
                view_set: None,
                view: label.view.clone(),
                words: if gone || label.area.is_some() {
                    words
                } else {
                    "staged".to_owned()
                },
            })
        })
        .collect()
}
