//! Photos as the page shows them: one embedded copy each, referenced everywhere else.

use std::collections::BTreeMap;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD as BASE64;
use serde::Serialize;

use crate::phase::Phase;
use crate::report::v1::{Photo, Report};
use crate::report::words::inert;
use crate::report::{Thumbnail, Thumbnails};

/// A photo at one place of the page.
#[derive(Debug, Clone, Serialize)]
pub(super) struct Picture {
    /// Element id of the embedded thumbnail; `None` without one.
    pub(super) id: Option<String>,
    /// Thumbnail width, pixels.
    pub(super) width: u32,
    /// Thumbnail height, pixels.
    pub(super) height: u32,
    /// Path, made inert.
    pub(super) path: String,
    /// File name alone, made inert.
    pub(super) name: String,
    /// Area, phase, time and file: what a reader who cannot see the picture needs.
    pub(super) alt: String,
    /// Phase, if known.
    pub(super) phase: Option<Phase>,
    /// Capture time, shortened for a caption.
    pub(super) time: Option<String>,
}

/// One embedded thumbnail.
#[derive(Debug, Serialize)]
pub(super) struct Stored {
    id: String,
    width: u32,
    height: u32,
    jpeg: String,
}

/// Photos and thumbnails by path.
pub(super) struct Pictures<'a> {
    photos: BTreeMap<&'a str, (usize, &'a Photo)>,
    thumbnails: &'a Thumbnails,
}

impl<'a> Pictures<'a> {
    pub(super) fn new(report: &'a Report, thumbnails: &'a Thumbnails) -> Self {
        let numbered = report.photos.iter().enumerate();
        let photos = numbered.map(|(index, photo)| (photo.path.as_str(), (index, photo)));
        Self {
            photos: photos.collect(),
            thumbnails,
        }
    }

    /// The report's photo of this path.
    pub(super) fn photo(&self, path: &str) -> Option<&'a Photo> {
        self.photos.get(path).map(|(_, photo)| *photo)
    }

    /// The picture of `path`; without a thumbnail when the file is not a readable photo.
    pub(super) fn get(&self, path: &str) -> Picture {
        let found = self.photos.get(path);
        let thumbnail = found.and(self.thumbnails.get(path));
        let photo = found.map(|(_, photo)| *photo);
        let name = path.rsplit('/').next().unwrap_or(path);
        let time = photo.and_then(|photo| photo.capture_time.as_ref());
        Picture {
            id: thumbnail.and(found).map(|(index, _)| format!("p{index}")),
            width: thumbnail.map_or(4, |thumbnail| thumbnail.width.max(1)),
            height: thumbnail.map_or(3, |thumbnail| thumbnail.height.max(1)),
            path: inert(path),
            name: inert(name),
            alt: alt(photo, path),
            phase: photo.and_then(|photo| photo.phase),
            time: time.map(|time| clock(&time.value)),
        }
    }

    /// Pictures of several paths.
    pub(super) fn all(&self, paths: &[String]) -> Vec<Picture> {
        paths.iter().map(|path| self.get(path)).collect()
    }

    /// Every thumbnail of a photo of this report, once.
    pub(super) fn store(&self) -> Vec<Stored> {
        let stored = |path: &str, index: usize, thumbnail: &Thumbnail| {
            debug_assert!(!path.is_empty());
            Stored {
                id: format!("p{index}"),
                width: thumbnail.width.max(1),
                height: thumbnail.height.max(1),
                jpeg: BASE64.encode(&thumbnail.jpeg),
            }
        };
        self.photos
            .iter()
            .filter_map(|(path, (index, _))| {
                self.thumbnails
                    .get(*path)
                    .map(|thumbnail| stored(path, *index, thumbnail))
            })
            .collect()
    }
}

fn alt(photo: Option<&Photo>, path: &str) -> String {
    let Some(photo) = photo else {
        return format!("{}, not readable", inert(path));
    };
    let area = photo.area.as_deref().map_or("area not known".into(), inert);
    let phase = photo
        .phase
        .map_or("phase not known".into(), |phase| phase.to_string());
    let time = match &photo.capture_time {
        Some(time) => format!("taken {}", clock(&time.value)),
        None => "capture time not known".into(),
    };
    format!("{area}, {phase}, {time}, {}", inert(path))
}

/// `2026-03-02T08:14:09-06:00` as `2026-03-02 08:14`; anything else as it stands.
pub(super) fn clock(value: &str) -> String {
    match (value.get(..10), value.get(10..11), value.get(11..16)) {
        (Some(day), Some("T" | " "), Some(time)) => format!("{} {}", inert(day), inert(time)),
        _ => inert(value),
    }
}
