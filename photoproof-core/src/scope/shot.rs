//! The shots of a job: profiles applied to the areas, loads and items of its sheet.

use super::{Kind, Profile, ShotKind, ShotRule, caution, kind_of_name};
use crate::job::{JobSheet, normalize};
use crate::phase::Phase;
use crate::volume::Shape;

/// One shot the crew owes.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub struct Shot {
    /// Stable id in the job: `bath-1.tub`.
    pub id: String,
    /// Area, load or place as printed.
    pub area: String,
    /// Kind of the area.
    pub kind: String,
    /// Whether the area or load is named on the sheet; otherwise the profile asks for it.
    pub listed: bool,
    /// Services that ask for it.
    pub services: Vec<String>,
    /// Phases in which it is asked.
    pub phases: Vec<Phase>,
    /// View or close-up.
    pub shot_kind: ShotKind,
    /// What to show.
    pub show: String,
    /// Words of a caption or label that name it, the shot's id among them.
    pub words: Vec<String>,
    /// Whether it is asked only where the thing exists.
    pub if_present: bool,
    /// Photos wanted in each phase, at least 1.
    pub photos: u32,
    /// Ids of cautions.
    pub cautions: Vec<String>,
}

/// The scope of a job.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
#[non_exhaustive]
pub struct Scope {
    /// All shots, area by area in walking order.
    pub shots: Vec<Shot>,
}

/// A place to walk to.
struct Place {
    name: String,
    kind: String,
    listed: bool,
    order: (u32, usize),
}

impl Scope {
    /// The shots of the job that `sheet` describes, area by area in walking order: from the street
    /// around the house, through the rooms, up and down, to the loads. Areas of one kind keep the
    /// order of the sheet. A sheet that names no service gets the shots of all profiles.
    #[must_use]
    pub fn for_job(sheet: &JobSheet) -> Vec<Shot> {
        let profiles: Vec<&Profile> = sheet
            .scope
            .profiles
            .iter()
            .filter(|p| sheet.services.is_empty() || sheet.services.contains(&p.service))
            .collect();
        let mut places = places(sheet, &profiles);
        places.sort_by_key(|p| p.order);
        places
            .iter()
            .flat_map(|place| place_shots(place, sheet, &profiles))
            .collect()
    }

    /// The same as a value with its own methods.
    #[must_use]
    pub fn new(sheet: &JobSheet) -> Self {
        Self {
            shots: Self::for_job(sheet),
        }
    }
}

/// The kind of `area`: the sheet's, or the one its name tells, or `other`.
#[must_use]
pub fn kind_of(sheet: &JobSheet, area: &crate::job::Area) -> String {
    let profiles = &sheet.scope.profiles;
    area.kind.clone().unwrap_or_else(|| {
        kind_of_name(profiles, &area.name)
            .unwrap_or("other")
            .to_owned()
    })
}

/// The place in `shots` that the label `area` of a photo means: the area or load of that name, else
/// the place of that kind which every job has (`receipts` for the dump receipt).
#[must_use]
pub fn place_of<'a>(shots: &'a [Shot], sheet: &JobSheet, area: &str) -> Option<&'a str> {
    let wanted = normalize(area);
    let by_name = shots.iter().find(|shot| normalize(&shot.area) == wanted);
    let by_kind = || {
        let kind = kind_of_name(&sheet.scope.profiles, area)?;
        let on_sheet = |name: &str| sheet.areas.iter().any(|a| a.name == name);
        shots
            .iter()
            .find(|shot| shot.kind == kind && !on_sheet(&shot.area) && !is_load(sheet, &shot.area))
    };
    by_name.or_else(by_kind).map(|shot| shot.area.as_str())
}

fn is_load(sheet: &JobSheet, name: &str) -> bool {
    sheet.loads.iter().any(|load| load.name == name)
}

/// Where the area comes in the walk: lower is earlier, equal ones keep their order. From the kind on
/// the sheet, else the one its name tells; unknown ones come last.
#[must_use]
pub fn walking_rank(sheet: &JobSheet, area: &str) -> u32 {
    let built_in;
    let profiles = match sheet.scope.profiles.as_slice() {
        [] => {
            built_in = Profile::built_in();
            built_in.as_slice()
        }
        own => own,
    };
    let listed = sheet.areas.iter().find(|a| a.name == area);
    let kind = listed
        .and_then(|a| a.kind.as_deref())
        .or_else(|| kind_of_name(profiles, area));
    profiles
        .iter()
        .flat_map(|p| p.kinds.iter())
        .find(|k| Some(k.name.as_str()) == kind)
        .map_or(u32::MAX, |k| k.order)
}

fn places(sheet: &JobSheet, profiles: &[&Profile]) -> Vec<Place> {
    let order_of = |kind: &str| {
        profiles
            .iter()
            .flat_map(|p| p.kinds.iter())
            .find(|k| k.name == kind)
            .map_or(u32::MAX, |k| k.order)
    };
    let mut places: Vec<Place> = Vec::new();
    for (index, area) in sheet.areas.iter().enumerate() {
        let kind = kind_of(sheet, area);
        places.push(Place {
            name: area.name.clone(),
            listed: true,
            order: (order_of(&kind), index),
            kind,
        });
    }
    for (index, load) in sheet.loads.iter().enumerate() {
        let known = |kind: &str| {
            let mut kinds = profiles.iter().flat_map(|p| p.kinds.iter());
            kinds.any(|k| k.name == kind)
        };
        let kind = [load_kind(&load.shape), "load"]
            .into_iter()
            .find(|kind| known(kind));
        if let Some(kind) = kind {
            places.push(Place {
                name: load.name.clone(),
                kind: kind.to_owned(),
                listed: true,
                order: (order_of(kind), sheet.areas.len() + index),
            });
        }
    }
    let loaded = !sheet.loads.is_empty();
    let every_job = profiles
        .iter()
        .flat_map(|p| p.kinds.iter())
        .filter(|k| k.every_job);
    for kind in every_job {
        let covered = places.iter().any(|p| p.kind == kind.name) || (loaded && kind.name == "load");
        if !covered {
            places.push(Place {
                name: kind.title.clone(),
                kind: kind.name.clone(),
                listed: kind.name == "hazards" && !sheet.claim.hazards.is_empty(),
                order: (kind.order, usize::MAX),
            });
        }
    }
    places
}

/// The kind of place that a load of this shape is.
fn load_kind(shape: &Shape) -> &'static str {
    match shape {
        Shape::Gallons { .. } | Shape::Cylinder { .. } => "bags",
        bed if bed.is_bed() => "load",
        _ => "pile",
    }
}

fn place_shots(place: &Place, sheet: &JobSheet, profiles: &[&Profile]) -> Vec<Shot> {
    let mut shots: Vec<Shot> = Vec::new();
    for profile in profiles {
        let Some(kind) = profile.kinds.iter().find(|k| k.name == place.kind) else {
            continue;
        };
        if sheet.scope.skip.contains(&kind.name) {
            continue;
        }
        for rule in &kind.shots {
            if let Some(shot) = shot(place, (profile, kind, rule), sheet) {
                merge(&mut shots, shot);
            }
        }
    }
    // Views first: the crew stands in the corner before it goes near.
    shots.sort_by_key(|s| s.shot_kind != ShotKind::View);
    shots
}

/// Two services that ask for the same shot share it.
fn merge(shots: &mut Vec<Shot>, shot: Shot) {
    let Some(known) = shots.iter_mut().find(|s| s.id == shot.id) else {
        shots.push(shot);
        return;
    };
    known.services.extend(shot.services);
    known.phases.extend(shot.phases);
    known.phases.sort();
    known.phases.dedup();
    known.photos = known.photos.max(shot.photos);
    known.if_present &= shot.if_present;
    for caution in shot.cautions {
        if !known.cautions.contains(&caution) {
            known.cautions.push(caution);
        }
    }
}

fn shot(place: &Place, rule: (&Profile, &Kind, &ShotRule), sheet: &JobSheet) -> Option<Shot> {
    let (profile, kind, rule) = rule;
    let skipped = format!("{}.{}", kind.name, rule.id);
    if sheet.scope.skip.contains(&skipped) {
        return None;
    }
    let phases: Vec<Phase> = rule
        .phases
        .iter()
        .copied()
        .filter(|p| sheet.phases.is_empty() || sheet.phases.contains(p))
        .collect();
    if phases.is_empty() {
        return None;
    }
    let mut words = rule.words.clone();
    words.push(rule.id.clone());
    let mut shot = Shot {
        id: format!("{}.{}", normalize(&place.name).replace(' ', "-"), rule.id),
        area: place.name.clone(),
        kind: place.kind.clone(),
        listed: place.listed,
        services: vec![profile.service.clone()],
        phases,
        shot_kind: rule.kind,
        show: rule.show.clone(),
        words,
        if_present: rule.if_present,
        photos: sheet
            .scope
            .photos_per_view
            .unwrap_or(profile.photos_per_view),
        cautions: rule.cautions.clone(),
    };
    if place.kind == "hazards" && !sheet.claim.hazards.is_empty() {
        claimed_items(&mut shot, sheet);
    }
    Some(shot)
}

/// Claimed items are asked for by name, with the cautions they call for.
fn claimed_items(shot: &mut Shot, sheet: &JobSheet) {
    let items: Vec<String> = sheet
        .claim
        .hazards
        .iter()
        .map(|h| format!("{} x {}", h.count, h.item))
        .collect();
    shot.show = format!("{} ({})", shot.show, items.join(", "));
    shot.if_present = false;
    if !shot.cautions.is_empty() {
        let mut ids: Vec<String> = Vec::new();
        for hazard in &sheet.claim.hazards {
            ids.extend(caution::for_item(&hazard.item).iter().map(|c| c.id.clone()));
        }
        ids.sort();
        ids.dedup();
        if !ids.is_empty() {
            shot.cautions = ids;
        }
    }
}
