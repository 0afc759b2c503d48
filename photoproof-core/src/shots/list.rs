//! The shot list as data; its JSON is a public format (`photoproof.shots/1`).

use serde::Serialize;

use crate::job::JobSheet;
use crate::phase::Phase;
use crate::scope::{self, Scope, Shot, ShotKind};

/// Version of the JSON.
const SCHEMA: &str = "photoproof.shots/1";

/// The shots of one job, area by area in walking order.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[non_exhaustive]
pub struct ShotList {
    /// `photoproof.shots/1`.
    pub schema: &'static str,
    /// The job.
    pub job: ListJob,
    /// Phases in which anything is asked.
    pub phases: Vec<Phase>,
    /// How to shoot so that the photos can prove something.
    pub advice: Vec<Advice>,
    /// Cautions that some area calls for, in a fixed order.
    pub cautions: Vec<ListCaution>,
    /// The areas.
    pub areas: Vec<ListArea>,
    /// Sums.
    pub totals: Totals,
    /// Remarks on the job sheet.
    pub notes: Vec<String>,
}

/// The head of the list.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[non_exhaustive]
pub struct ListJob {
    /// `[job] id`.
    pub id: Option<String>,
    /// `[job] vendor`.
    pub vendor: Option<String>,
    /// `[site] address`.
    pub address: Option<String>,
    /// Titles of the services.
    pub services: Vec<String>,
    /// First moment of the window, civil time at the site.
    pub window_start: Option<String>,
    /// Last moment of the window, civil time at the site.
    pub window_end: Option<String>,
    /// IANA zone of the site, if known.
    pub timezone: Option<String>,
}

/// A rule of shooting with its source.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[non_exhaustive]
pub struct Advice {
    /// What to do.
    pub text: &'static str,
    /// Where it comes from.
    pub source: &'static str,
}

/// A caution with its source.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[non_exhaustive]
pub struct ListCaution {
    /// Stable id.
    pub id: &'static str,
    /// Its name.
    pub title: &'static str,
    /// The caution.
    pub text: &'static str,
    /// Where it comes from.
    pub source: &'static str,
}

/// One area, load or place.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[non_exhaustive]
pub struct ListArea {
    /// Place in the walk, from 1.
    pub number: usize,
    /// Name on the job sheet, or the title of its kind.
    pub name: String,
    /// Kind.
    pub kind: String,
    /// Whether the job sheet names it.
    pub listed: bool,
    /// Ids of the cautions its shots call for.
    pub cautions: Vec<String>,
    /// The shots, views first.
    pub shots: Vec<ListShot>,
}

/// One shot.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[non_exhaustive]
pub struct ListShot {
    /// Stable id in the job (`bath-1.tub`).
    pub id: String,
    /// `view` or `close-up`.
    pub shot: &'static str,
    /// What to call the photo, in its file name or caption (`tub`).
    pub name: String,
    /// What to show.
    pub show: String,
    /// Phases in which it is asked.
    pub phases: Vec<Phase>,
    /// Photos wanted in each of them.
    pub photos: u32,
    /// Whether it is asked only where the thing exists.
    pub if_present: bool,
    /// Services that ask for it.
    pub services: Vec<String>,
    /// Ids of cautions.
    pub cautions: Vec<String>,
}

/// Sums of a list.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize)]
#[non_exhaustive]
pub struct Totals {
    /// Areas.
    pub areas: usize,
    /// Shots.
    pub shots: usize,
    /// Photos asked in any case.
    pub photos: u32,
    /// Photos asked where the thing exists.
    pub photos_if_present: u32,
}

/// The rules of shooting, in our words, with their sources.
const ADVICE: [Advice; 6] = [
    Advice {
        text: "Set the date, time and zone of the phone before the first photo, and leave them alone",
        source: "Cal/EPA, Suggested Guidelines for Digital Photos (2006)",
    },
    Advice {
        text: "Start and end with the front of the house and its number",
        source: "Cal/EPA, Suggested Guidelines for Digital Photos (2006)",
    },
    Advice {
        text: "Shoot each view from the same spot in every phase: same corner, same height, same direction, no zoom. Keep the before photo at hand and match its edges",
        source: "Hanks, Blair and Webb, repeat photography (GSA, 2006)",
    },
    Advice {
        text: "Stand in the corner, floor to ceiling in the frame, then go near for the close-ups",
        source: "Gardner and Krouskup (2018), as cited in a forensic pocket guide",
    },
    Advice {
        text: "Put something of known size beside debris",
        source: "FEMA IS-1006",
    },
    Advice {
        text: "Hand over the original files: not edited, not cropped, not sent through a messenger",
        source: "Cal/EPA, Suggested Guidelines for Digital Photos (2006)",
    },
];

/// Builds the list.
pub(super) fn build(sheet: &JobSheet) -> ShotList {
    let shots = Scope::for_job(sheet);
    let mut areas: Vec<ListArea> = Vec::new();
    let mut totals = Totals::default();
    for shot in &shots {
        count(&mut totals, shot);
        if areas.last().is_none_or(|area| area.name != shot.area) {
            areas.push(ListArea {
                number: areas.len() + 1,
                name: shot.area.clone(),
                kind: shot.kind.clone(),
                listed: shot.listed,
                cautions: Vec::new(),
                shots: Vec::new(),
            });
        }
        if let Some(area) = areas.last_mut() {
            for caution in &shot.cautions {
                if !area.cautions.contains(caution) {
                    area.cautions.push(caution.clone());
                }
            }
            area.shots.push(line(shot));
        }
    }
    totals.areas = areas.len();
    let asked = |phase: &Phase| shots.iter().any(|s| s.phases.contains(phase));
    ShotList {
        schema: SCHEMA,
        job: job(sheet),
        phases: Phase::ALL.into_iter().filter(asked).collect(),
        advice: ADVICE.to_vec(),
        cautions: cautions(&areas),
        areas,
        totals,
        notes: sheet.notes.clone(),
    }
}

fn count(totals: &mut Totals, shot: &Shot) {
    let phases = u32::try_from(shot.phases.len()).unwrap_or(0);
    let photos = phases.saturating_mul(shot.photos);
    totals.shots += 1;
    if shot.if_present {
        totals.photos_if_present = totals.photos_if_present.saturating_add(photos);
    } else {
        totals.photos = totals.photos.saturating_add(photos);
    }
}

fn line(shot: &Shot) -> ListShot {
    ListShot {
        id: shot.id.clone(),
        name: shot
            .id
            .split_once('.')
            .map_or(shot.id.as_str(), |(_, name)| name)
            .to_owned(),
        shot: match shot.shot_kind {
            ShotKind::View => "view",
            ShotKind::CloseUp => "close-up",
        },
        show: shot.show.clone(),
        phases: shot.phases.clone(),
        photos: shot.photos,
        if_present: shot.if_present,
        services: shot.services.clone(),
        cautions: shot.cautions.clone(),
    }
}

fn job(sheet: &JobSheet) -> ListJob {
    let minute = |t: chrono::NaiveDateTime| t.format("%Y-%m-%d %H:%M").to_string();
    let profiles = sheet.scope.profiles.iter();
    ListJob {
        id: sheet.id.clone(),
        vendor: sheet.vendor.clone(),
        address: sheet.site.address.clone(),
        services: profiles
            .filter(|p| sheet.services.is_empty() || sheet.services.contains(&p.service))
            .map(|p| p.title.clone())
            .collect(),
        window_start: sheet.window.map(|w| minute(w.start)),
        window_end: sheet.window.map(|w| minute(w.end)),
        timezone: sheet.site.timezone.map(|zone| zone.name().to_owned()),
    }
}

fn cautions(areas: &[ListArea]) -> Vec<ListCaution> {
    scope::cautions()
        .iter()
        .filter(|c| areas.iter().any(|area| area.cautions.contains(&c.id)))
        .map(|c| ListCaution {
            id: &c.id,
            title: &c.title,
            text: &c.text,
            source: &c.source,
        })
        .collect()
}
