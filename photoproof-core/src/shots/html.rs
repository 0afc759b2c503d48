//! The shot list as one printable page: boxes to tick, no network, everything escaped.

use minijinja::Environment;
use minijinja::value::{Serde, Value};
use serde::Serialize;

use super::list::{ListArea, ShotList};
use crate::error::{Error, ErrorKind};
use crate::report::html::policy;
use crate::report::words::inert;

const STYLE: &str = include_str!("templates/shots.css");

#[derive(Serialize)]
struct Page<'a> {
    policy: String,
    style: &'static str,
    title: String,
    facts: Vec<(&'static str, String)>,
    phases: Vec<&'static str>,
    areas: Vec<PageArea<'a>>,
    list: &'a ShotList,
    notes: Vec<String>,
}

#[derive(Serialize)]
struct PageArea<'a> {
    number: usize,
    name: String,
    kind: &'a str,
    listed: bool,
    /// (id, title) of the cautions.
    cautions: Vec<(&'static str, &'static str)>,
    shots: Vec<PageShot<'a>>,
}

#[derive(Serialize)]
struct PageShot<'a> {
    id: &'a str,
    shot: &'static str,
    name: String,
    show: String,
    photos: u32,
    if_present: bool,
    /// One a phase of the list: whether it is asked.
    asked: Vec<bool>,
}

/// Renders the page.
pub(super) fn render(list: &ShotList) -> Result<String, Error> {
    let defect = |error: minijinja::Error| {
        Error::new(
            ErrorKind::Io,
            format!("the page of shots cannot be filled: {error}; please report this"),
        )
    };
    let mut environment = Environment::new();
    environment
        .add_template("shots.html", include_str!("templates/shots.html"))
        .map_err(defect)?;
    let template = environment.get_template("shots.html").map_err(defect)?;
    template
        .render(Value::from(Serde(page(list))))
        .map_err(defect)
}

fn page(list: &ShotList) -> Page<'_> {
    let job = &list.job;
    let mut facts: Vec<(&'static str, String)> = Vec::new();
    for (name, value) in [("Crew", &job.vendor), ("Site", &job.address)] {
        facts.extend(value.as_deref().map(|v| (name, inert(v))));
    }
    if let Some((start, end)) = job.window_start.as_deref().zip(job.window_end.as_deref()) {
        let zone = job.timezone.as_deref().unwrap_or("time at the site");
        facts.push(("Window", format!("{start} to {end} ({zone})")));
    }
    facts.push(("Services", inert(&job.services.join(", "))));
    Page {
        policy: policy(&[STYLE], &[]),
        style: STYLE,
        title: job.id.as_deref().map_or_else(
            || "Shot list".to_owned(),
            |id| format!("Shot list {}", inert(id)),
        ),
        facts,
        phases: list.phases.iter().map(|p| p.name()).collect(),
        areas: list.areas.iter().map(|area| section(list, area)).collect(),
        notes: list.notes.iter().map(|note| inert(note)).collect(),
        list,
    }
}

fn section<'a>(list: &'a ShotList, area: &'a ListArea) -> PageArea<'a> {
    PageArea {
        number: area.number,
        name: inert(&area.name),
        kind: &area.kind,
        listed: area.listed,
        cautions: list
            .cautions
            .iter()
            .filter(|c| area.cautions.iter().any(|id| id == c.id))
            .map(|c| (c.id, c.title))
            .collect(),
        shots: area
            .shots
            .iter()
            .map(|shot| PageShot {
                id: &shot.id,
                shot: shot.shot,
                name: inert(&shot.name),
                show: inert(&shot.show),
                photos: shot.photos,
                if_present: shot.if_present,
                asked: list
                    .phases
                    .iter()
                    .map(|p| shot.phases.contains(p))
                    .collect(),
            })
            .collect(),
    }
}
