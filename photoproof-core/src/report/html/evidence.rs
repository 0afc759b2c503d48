//! Debris, files and limits as the page lists them.

use serde::Serialize;

use super::pictures::{Picture, Pictures, clock};
use crate::report::shape;
use crate::report::v1::{Photo, Report};
use crate::report::words::{self, inert, number};

/// The debris tally with its working.
#[derive(Debug, Serialize)]
pub(super) struct DebrisTable {
    loads: Vec<LoadRow>,
    totals: Vec<(&'static str, String)>,
}

#[derive(Debug, Serialize)]
struct LoadRow {
    name: String,
    cubic_yards: String,
    evidenced: bool,
    /// The load that its photos show again.
    same_as: Option<String>,
    working: String,
    pictures: Vec<Picture>,
}

pub(super) fn debris(report: &Report, pictures: &Pictures) -> Option<DebrisTable> {
    let debris = &report.debris;
    if debris.loads.is_empty() && debris.claimed.is_none() && debris.documented.is_none() {
        return None;
    }
    let totals = [
        ("Claimed", debris.claimed),
        (
            "Shown by measured and photographed loads",
            debris.documented,
        ),
        ("Claimed less shown", debris.difference),
    ];
    Some(DebrisTable {
        loads: debris
            .loads
            .iter()
            .map(|load| LoadRow {
                name: inert(&load.name),
                cubic_yards: number(load.cubic_yards, 2),
                evidenced: load.evidenced,
                same_as: load.same_as.as_deref().map(inert),
                working: inert(&load.working),
                pictures: pictures.all(&load.photos),
            })
            .collect(),
        totals: totals
            .into_iter()
            .filter_map(|(name, value)| value.map(|value| (name, number(value, 2))))
            .collect(),
    })
}

/// One line of the evidence list.
#[derive(Debug, Serialize)]
pub(super) struct PhotoRow {
    path: String,
    area: String,
    area_filter: Option<String>,
    phase: String,
    phase_filter: Option<&'static str>,
    time: String,
    time_source: String,
    sha256: String,
    camera: String,
    size: String,
    severities: String,
    problems: Vec<String>,
}

pub(super) fn photos(report: &Report) -> Vec<PhotoRow> {
    let severities = shape::severities_by_photo(report);
    report
        .photos
        .iter()
        .map(|photo| {
            let names = severities.get(photo.path.as_str());
            row(
                photo,
                names.map(|names| names.join(" ")).unwrap_or_default(),
            )
        })
        .collect()
}

fn row(photo: &Photo, severities: String) -> PhotoRow {
    let sourced = |value: Option<&str>, source: Option<&String>| match (value, source) {
        (Some(value), Some(source)) => format!("{} ({})", inert(value), inert(source)),
        (Some(value), None) => inert(value),
        (None, _) => "not known".into(),
    };
    let phase = photo.phase.map(|phase| phase.name());
    let camera = [&photo.camera.make, &photo.camera.model];
    let camera: Vec<String> = camera
        .into_iter()
        .flatten()
        .map(|text| inert(text))
        .collect();
    let time = photo.capture_time.as_ref();
    let offset = |known: bool| if known { "" } else { ", offset not known" };
    PhotoRow {
        path: inert(&photo.path),
        area: sourced(photo.area.as_deref(), photo.area_source.as_ref()),
        area_filter: photo.area.as_deref().map(inert),
        phase: sourced(phase, photo.phase_source.as_ref()),
        phase_filter: phase,
        time: time.map_or("not known".into(), |time| inert(&time.value)),
        time_source: time.map_or(String::new(), |time| {
            format!(
                "{}{}",
                inert(&time.source).replace('_', " "),
                offset(time.offset_known)
            )
        }),
        sha256: inert(&photo.sha256),
        camera: camera.join(" "),
        size: format!(
            "{} \u{d7} {} {}",
            photo.width,
            photo.height,
            inert(&photo.format)
        ),
        severities,
        problems: photo
            .problems
            .iter()
            .map(|problem| inert(problem))
            .collect(),
    }
}

/// Files that are no usable photos, with the reason.
#[derive(Debug, Serialize)]
pub(super) struct SetAside {
    unreadable: Vec<(String, String)>,
    ignored: Vec<(String, String)>,
}

pub(super) fn set_aside(report: &Report) -> SetAside {
    let listed = |files: &[crate::report::v1::Unreadable]| {
        files
            .iter()
            .map(|file| (inert(&file.path), inert(&file.reason)))
            .collect()
    };
    SetAside {
        unreadable: listed(&report.unreadable),
        ignored: listed(&report.ignored),
    }
}

/// One confirmed copy.
#[derive(Debug, Serialize)]
pub(super) struct CopyRow {
    a: Picture,
    b: Picture,
    kind: &'static str,
    other_job: Option<String>,
    detail: Option<String>,
}

pub(super) fn copies(report: &Report, pictures: &Pictures) -> Vec<CopyRow> {
    report
        .copies
        .iter()
        .map(|copy| CopyRow {
            a: pictures.get(&copy.a),
            b: pictures.get(&copy.b),
            kind: words::copy_kind(&copy.kind),
            other_job: copy.other_job.as_deref().map(inert),
            detail: copy.detail.as_ref().map(|detail| {
                let shown = number(detail.crop * 100.0, 0);
                match detail.transform.as_str() {
                    "none" => format!("shows {shown} % of it"),
                    transform => format!("{}; shows {shown} % of it", inert(transform)),
                }
            }),
        })
        .collect()
}

/// Name and value of every limit.
pub(super) fn limits(report: &Report) -> Vec<(String, String)> {
    let Ok(serde_json::Value::Object(members)) = serde_json::to_value(&report.limits) else {
        return Vec::new();
    };
    members
        .into_iter()
        .map(|(name, value)| (name, value_text(&value)))
        .collect()
}

fn value_text(value: &serde_json::Value) -> String {
    match value {
        serde_json::Value::Number(value) => value
            .as_f64()
            .map_or_else(|| value.to_string(), |value| number(value, 6)),
        serde_json::Value::String(text) => inert(text),
        other => inert(&other.to_string()),
    }
}

/// `2026-03-02 08:14` of a photo, for charts.
pub(super) fn taken(photo: &Photo) -> String {
    photo
        .capture_time
        .as_ref()
        .map_or("time not known".into(), |time| clock(&time.value))
}
