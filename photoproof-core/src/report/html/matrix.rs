//! The coverage matrix, area by phase, with small pictures.

use serde::Serialize;

use super::pictures::{Picture, Pictures};
use crate::phase::Phase;
use crate::report::shape;
use crate::report::v1::Report;
use crate::report::words::inert;

/// Pictures shown in one cell; the rest is counted.
const SHOWN: usize = 3;

/// One area.
#[derive(Debug, Serialize)]
pub(super) struct Row {
    area: String,
    cells: Vec<Cell>,
}

/// One phase of an area.
#[derive(Debug, Serialize)]
pub(super) struct Cell {
    phase: Phase,
    required: bool,
    photos: usize,
    missing: bool,
    pictures: Vec<Picture>,
    more: usize,
}

pub(super) fn rows(report: &Report, pictures: &Pictures) -> Vec<Row> {
    shape::areas(report)
        .into_iter()
        .map(|area| Row {
            area: inert(area),
            cells: Phase::ALL
                .iter()
                .map(|phase| cell(report, pictures, area, *phase))
                .collect(),
        })
        .collect()
}

fn cell(report: &Report, pictures: &Pictures, area: &str, phase: Phase) -> Cell {
    let found: Vec<&str> = report
        .photos
        .iter()
        .filter(|photo| photo.area.as_deref() == Some(area) && photo.phase == Some(phase))
        .map(|photo| photo.path.as_str())
        .collect();
    let entry = report
        .coverage
        .iter()
        .find(|cell| cell.area == area && cell.phase == phase);
    let required = entry.is_some_and(|cell| cell.required);
    let photos = entry.map_or(found.len(), |cell| cell.photos);
    let shown: Vec<Picture> = found
        .iter()
        .take(SHOWN)
        .map(|path| pictures.get(path))
        .collect();
    Cell {
        phase,
        required,
        photos,
        missing: required && photos == 0,
        more: photos.saturating_sub(shown.len()),
        pictures: shown,
    }
}
