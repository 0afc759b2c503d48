//! Is one picture made from another? Digests and hashes give leads, geometry and pixels decide.

mod agree;
mod align;
mod search;

use image::{GrayImage, imageops};
use serde::Serialize;
use sha2::{Digest, Sha256};

use self::agree::Agreement;
use self::align::{Map, PointPair};
use crate::ingest::{Photo, Pixels};
use crate::measure::PhotoMeasures;
use crate::measure::feature::{Features, MatchOptions, Turn, match_features};
use crate::measure::phash::{TurnedHashes, turned_hashes};
use crate::measure::plane::Plane;

/// Long side of the thumbnail that pixels are compared on.
const THUMB_LONG_SIDE: u32 = 384;

/// What is kept of a photo for the length of a job to find copies of it.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct Fingerprint {
    /// SHA-256 of the file, lower-case hexadecimal.
    pub file_sha256: String,
    /// SHA-256 of size and upright working pixels, lower-case hexadecimal.
    pub pixel_sha256: String,
    /// Perceptual hashes in all eight orientations.
    pub hashes: TurnedHashes,
    /// Luma thumbnail, long side at most 384 pixels. Never leaves the job: the ledger does not get it.
    pub thumb: GrayImage,
    /// Width and height of the full upright picture, pixels.
    pub full_size: [u32; 2],
}

/// How a copy was made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum CopyKind {
    /// Identical bytes.
    SameBytes,
    /// Other bytes, identical upright pixels.
    SamePixels,
    /// Re-encoded, resized, cropped, turned, mirrored, recoloured or overlaid.
    Edited,
}

/// A confirmed copy.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct CopyMeasure {
    /// What kind of copy.
    pub kind: CopyKind,
    /// For `Edited`: how b was turned or mirrored against a (`none`, `mirrored`, `turned 90`, ...).
    pub transform: String,
    /// For `Edited`: share of a's area that b shows, 0..=1.
    pub crop: f64,
}

impl Fingerprint {
    /// Fingerprints one photo.
    #[must_use]
    pub fn new(photo: &Photo, pixels: &Pixels) -> Self {
        Self::from_pixels(photo.sha256.clone(), pixels)
    }

    /// Fingerprints a working picture whose file has the digest `file_sha256`.
    #[must_use]
    pub fn from_pixels(file_sha256: String, pixels: &Pixels) -> Self {
        let mut digest = Sha256::new();
        for side in [pixels.full_width, pixels.full_height, pixels.rgb.width()] {
            digest.update(side.to_le_bytes());
        }
        digest.update(pixels.rgb.as_raw());
        let hex = digest
            .finalize()
            .iter()
            .map(|b| format!("{b:02x}"))
            .collect();
        let thumb = thumbnail(&pixels.gray);
        Self {
            file_sha256,
            pixel_sha256: hex,
            hashes: turned_hashes(&thumb),
            thumb,
            full_size: [pixels.full_width, pixels.full_height],
        }
    }
}

fn thumbnail(gray: &GrayImage) -> GrayImage {
    let long = gray.width().max(gray.height());
    if long <= THUMB_LONG_SIDE {
        return gray.clone();
    }
    let side = |v: u32| {
        (f64::from(v) * f64::from(THUMB_LONG_SIDE) / f64::from(long))
            .round()
            .max(1.0) as u32
    };
    imageops::resize(
        gray,
        side(gray.width()),
        side(gray.height()),
        imageops::FilterType::Triangle,
    )
}

/// Numbers behind a decision; for the evaluation only.
#[doc(hidden)]
pub fn explain_pair(a: &PhotoMeasures, b: &PhotoMeasures) -> Vec<String> {
    let mut out = Vec::new();
    let distances = search::hash_leads(&a.fingerprint.hashes, &b.fingerprint.hashes);
    let index = search::WordIndex::new(&[&a.features]);
    let votes = index.votes(&b.features, 1);
    let (pa, pb) = (
        Plane::from_gray(&a.fingerprint.thumb),
        Plane::from_gray(&b.fingerprint.thumb),
    );
    let best_hash = (0..8).min_by_key(|&t| distances[t]).unwrap_or(0);
    let best_votes = (0..8).max_by_key(|&t| votes[0][t]).unwrap_or(0);
    let total: u32 = votes[0].iter().sum();
    let frame = frame_map(
        &a.fingerprint.thumb,
        &b.fingerprint.thumb,
        Turn::ALL[best_hash],
    );
    let mut line = |what: &str, turn: usize, inliers: usize, g: Option<Agreement>| {
        let g = g.unwrap_or_default();
        out.push(format!(
            "{what} {turn} hash {} votes {} of {total} in {inliers} cov {:.2} {:.2} tex {} share {:.3} med {:.3} fine {:.3} plain {} lost {:.3} {:.3} tone {:.3} rec {:.1}",
            distances[turn], votes[0][turn], g.cover_a, g.cover_b, g.textured, g.share, g.median, g.fine, g.plain, g.lost[0], g.lost[1], g.tone, g.recoloured
        ));
    };
    line(
        "hash",
        best_hash,
        0,
        frame.and_then(|m| agree::agree(&pa, &pb, &m, 0.0)),
    );
    if let Some(al) = feature_alignment(a, b, Turn::ALL[best_votes]) {
        let map = thumb_map(&al.map, a, b);
        line(
            "feat",
            best_votes,
            al.inliers,
            agree::agree(&pa, &pb, &map, 0.0),
        );
        line(
            "feat1",
            best_votes,
            al.inliers,
            agree::agree(&pa, &pb, &map, 1.5),
        );
    } else {
        line("feat", best_votes, 0, None);
    }
    out
}

fn size_of(picture: &GrayImage) -> [f64; 2] {
    [f64::from(picture.width()), f64::from(picture.height())]
}

/// The map that lays the whole frame of a onto the whole frame of b, where b laid as `turn` is a.
fn frame_map(a: &GrayImage, b: &GrayImage, turn: Turn) -> Option<Map> {
    let turn_b = align::turn_map(turn, size_of(b));
    let mut turned = size_of(b);
    if turn.quarters % 2 == 1 {
        turned.reverse();
    }
    Some(turn_b.try_inverse()? * align::scale_map(size_of(a), turned))
}

/// The map between the working pictures from keypoints, where b laid as `turn` resembles a.
fn feature_alignment(a: &PhotoMeasures, b: &PhotoMeasures, turn: Turn) -> Option<align::Alignment> {
    let turned = b.features.turned(turn);
    let matches = match_features(&a.features, &turned, &MatchOptions::default());
    let pairs: Vec<PointPair> = matches
        .iter()
        .filter_map(|m| {
            let (p, q) = (
                a.features.list.get(m.a as usize)?,
                turned.list.get(m.b as usize)?,
            );
            Some(PointPair {
                a: [f64::from(p.keypoint.x), f64::from(p.keypoint.y)],
                b: [f64::from(q.keypoint.x), f64::from(q.keypoint.y)],
            })
        })
        .collect();
    let size = [f64::from(b.features.width), f64::from(b.features.height)];
    let mut alignment = align::align(&pairs, size[0].max(size[1]))?;
    alignment.map = align::turn_map(turn, size).try_inverse()? * alignment.map;
    Some(alignment)
}

fn working_size(features: &Features) -> [f64; 2] {
    [f64::from(features.width), f64::from(features.height)]
}

/// A map between working pictures as one between thumbnails.
fn thumb_map(map: &Map, a: &PhotoMeasures, b: &PhotoMeasures) -> Map {
    let up = align::scale_map(size_of(&a.fingerprint.thumb), working_size(&a.features));
    let down = align::scale_map(working_size(&b.features), size_of(&b.fingerprint.thumb));
    down * map * up
}

/// SHIM
#[must_use]
pub fn find_copies(all: &[&PhotoMeasures]) -> Vec<(usize, usize, CopyMeasure)> {
    let mut v = Vec::new();
    for i in 0..all.len() {
        for j in i + 1..all.len() {
            if let Some(c) = compare_copies(all[i], all[j]) {
                v.push((i, j, c));
            }
        }
    }
    v
}
/// SHIM
#[must_use]
pub fn compare_copies(a: &PhotoMeasures, b: &PhotoMeasures) -> Option<CopyMeasure> {
    (a.fingerprint.file_sha256 == b.fingerprint.file_sha256).then(|| CopyMeasure {
        kind: CopyKind::SameBytes,
        transform: "none".into(),
        crop: 1.0,
    })
}
