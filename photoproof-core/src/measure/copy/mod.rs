//! Is one picture made from another? Digests and hashes give leads, geometry and pixels decide.

mod agree;
mod align;
mod coded;
mod coherence;
mod exposure;
mod flow;
mod frame;
mod grain;
mod search;
pub(crate) mod signature;

use image::GrayImage;
use rayon::prelude::*;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use crate::error::Error;
use crate::hex::hex;

use self::agree::Agreement;
use self::align::{Map, PointPair};
use self::exposure::{Exposure, exposure};
pub(crate) use self::grain::window as middle;
pub(crate) use self::search::sum_up;
use crate::ingest::Pixels;
use crate::measure::change::SmallPicture;
use crate::measure::feature::{Features, MatchOptions, Turn, match_features};
use crate::measure::phash::{TurnedHashes, turned_hashes};
use crate::measure::plane::Plane;
use crate::measure::{Afresh, Comparison, PhotoMeasures, Shelf};

/// Hash distance of 256 bits up to which whole frames are compared. Copies measured 0 to 28.
const HASH_LEAD: u32 = 64;
/// Share of one of the frames that the other must show: a copy is a part of its original, or holds it
/// whole. Two photos turned on one spot agree pixel for pixel too, but each shows what the other lacks.
const MIN_COVER: f64 = 0.93;
/// Share below which pictures agree at no other blur either: those that did measured 0.39 at least.
const HOPELESS: f64 = 0.3;
/// Cover that refining a map may add: measured 0.004 at most for copies and 0.032 for others.
const COVER_GAINED: f64 = 0.05;
/// Textured blocks needed to say anything.
const MIN_BLOCKS: usize = 8;
/// Share and median correlation of the textured blocks: copies measured 0.72 (a large logo) and 0.989 at least, rooms
/// photographed twice mostly below 0.5 and 0.7, plain walls of one house 0.94 and 0.985 (`examples/copies_report`).
const MIN_SHARE: f64 = 0.62;
const MIN_MEDIAN: f64 = 0.986;
/// What does not agree is one overlay of at most this share of the blocks (logos measured 0.094) ...
const MAX_PATCH: f64 = 0.14;
/// ... and beside it hardly anything: copies measured 0.084 at most.
const MAX_STRAY: f64 = 0.1;
/// Blocks with edges in more than one direction, beside the overlay, that must be there and agree. Pages with the
/// same lines and other pictures measured a share of 0 to 0.27.
const MIN_CORNERS: usize = 6;
const MIN_CORNER_SHARE: f64 = 0.6;
/// The same where the map is bent, as in a photo of a screen: before a fence two standpoints measured 0.74.
const MIN_CORNER_SHARE_BENT: f64 = 0.75;
/// Of a picture that ends at edges all around in the other, as on a page, less must agree, if nearly all of its corners do:
/// drawn small, fine stripes do not.
const MIN_CORNER_SHARE_FRAMED: f64 = 0.95;
const MIN_SHARE_FRAMED: f64 = 0.75;
const MAX_STRAY_FRAMED: f64 = 0.2;
/// Below this cover of the one frame less is left to compare, and more must agree.
const SMALL_COVER: f64 = 0.45;
const MIN_SHARE_SMALL: f64 = 0.9;
/// Detail that neither picture can have given the other: a bracket of two exposures.
const MAX_LOST: f64 = 0.01;
/// Bend of the map between a copy and its original, neither set into another picture. Copies measured 0.0004 at most, two
/// exposures by hand 0 to 0.0016; parts of a fence from two standpoints, flat and finely textured, are told by it alone.
const MAX_BEND: f64 = 0.0008;
/// Originals after which a photo is compared with no more, the first of the job first: a picture that serves a hundred
/// times would ask for thousands of comparisons that say the same.
pub const MAX_ORIGINALS: usize = 4;
/// Blurs at which pictures are compared, so that a blurred copy is still one.
const EXTRA_BLURS: [f32; 2] = [0.0, 1.5];

/// What is kept of a photo for the length of a job to find copies of it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct Fingerprint {
    /// SHA-256 of the file, lower-case hexadecimal.
    pub file_sha256: String,
    /// SHA-256 of size and upright working pixels, lower-case hexadecimal.
    pub pixel_sha256: String,
    /// Perceptual hashes in all eight orientations.
    pub hashes: TurnedHashes,
    /// Width and height of the full upright picture, pixels.
    pub full_size: [u32; 2],
}

/// How a copy was made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum CopyKind {
    /// Identical bytes.
    SameBytes,
    /// Other bytes, identical upright pixels.
    SamePixels,
    /// Re-encoded, resized, cropped, turned, mirrored, recoloured or overlaid.
    Edited,
    /// The pixels agree, but neither picture has kept noise that would tell a copy from a second exposure of the
    /// same view from the same spot.
    Unsure,
}

/// A copy: b shows what a shows, pixel for pixel, after the stated changes. Confirmed unless `kind` is
/// [`CopyKind::Unsure`].
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct CopyMeasure {
    /// What kind of copy.
    pub kind: CopyKind,
    /// For `Edited` and `Unsure`: how b was turned or mirrored against a (`none`, `mirrored`, `turned 90`, ...).
    pub transform: String,
    /// Share of a's area that b shows, 0..=1; 1 for a whole copy.
    pub crop: f64,
    /// Share of b's area that shows a, 0..=1; below 1 there is a border, a bezel or another picture.
    pub filled: f64,
    /// Size of a's content in b over its size in a, in full pixels (1 = not resized).
    pub resized: f64,
    /// Fine turn beyond the quarter turns of `transform`, degrees clockwise.
    pub turned_deg: f64,
    /// Mean absolute change of luma, 0..=1.
    pub recoloured: f64,
    /// Share of the compared blocks that do not agree, 0..=1: stamps, logos, things painted over.
    pub overlaid: f64,
    /// How sure: median correlation of the compared blocks times the share that agrees, 0..=1.
    pub confidence: f64,
}

impl Fingerprint {
    /// The digests of file and pixels.
    pub(crate) fn digests(&self) -> [&str; 2] {
        [&self.file_sha256, &self.pixel_sha256]
    }

    /// Fingerprints a working picture, of which `small` is the small one, whose file has the digest `file_sha256`.
    #[must_use]
    pub fn new(file_sha256: String, pixels: &Pixels, small: &SmallPicture) -> Self {
        let mut digest = Sha256::new();
        for side in [pixels.full_width, pixels.full_height, pixels.rgb.width()] {
            digest.update(side.to_le_bytes());
        }
        digest.update(pixels.rgb.as_raw());
        Self {
            file_sha256,
            pixel_sha256: hex(&digest.finalize()),
            hashes: turned_hashes(&small.luma),
            full_size: [pixels.full_width, pixels.full_height],
        }
    }
}

fn size_of(picture: &GrayImage) -> [f64; 2] {
    [f64::from(picture.width()), f64::from(picture.height())]
}

fn sides(plane: &Plane) -> [f64; 2] {
    [plane.width as f64, plane.height as f64]
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
fn feature_alignment(a: &Features, b: &Features, turn: Turn) -> Option<align::Alignment> {
    let turned = b.turned(turn);
    let matches = match_features(a, &turned, &MatchOptions::default());
    let pairs: Vec<PointPair> = matches
        .iter()
        .filter_map(|m| {
            let (p, q) = (a.list.get(m.a as usize)?, turned.list.get(m.b as usize)?);
            Some(PointPair {
                a: [f64::from(p.keypoint.x), f64::from(p.keypoint.y)],
                b: [f64::from(q.keypoint.x), f64::from(q.keypoint.y)],
            })
        })
        .collect();
    let size = working_size(b);
    let mut alignment = align::align(&pairs, size[0].max(size[1]))?;
    alignment.map = align::turn_map(turn, size).try_inverse()? * alignment.map;
    Some(alignment)
}

fn working_size(features: &Features) -> [f64; 2] {
    [f64::from(features.width), f64::from(features.height)]
}

/// A map between working pictures as one between thumbnails.
fn thumb_map(map: &Map, a: &PhotoMeasures, b: &PhotoMeasures) -> Map {
    let up = align::scale_map(size_of(&a.small.luma), working_size(&a.features));
    let down = align::scale_map(working_size(&b.features), size_of(&b.small.luma));
    down * map * up
}

/// Compares two photos.
///
/// `None` when nothing shows that b was made from a (or a from b). Symmetric in that a copy is found
/// either way round; the numbers describe b against a.
#[must_use]
pub fn compare_copies(a: &PhotoMeasures, b: &PhotoMeasures) -> Option<CopyMeasure> {
    if let Some(exact) = exact(&a.facts.fingerprint, b.facts.fingerprint.digests()) {
        return Some(exact);
    }
    let index = search::WordIndex::of_one(&a.features);
    // There are no other photos to hold the votes against.
    verify(
        a,
        b,
        &search::most_votes(&index.votes_for_first(&b.features)),
    )
}

/// The copies among the photos of one job as (index of a, index of b, measure), a before b, sorted.
///
/// A photo is named with its first [`MAX_ORIGINALS`] confirmed originals; those of equal digests are named all.
///
/// # Errors
/// If measures cannot be read back.
pub fn find_copies(photos: &Shelf) -> Result<Vec<(usize, usize, CopyMeasure)>, Error> {
    find_copies_by(photos, &Afresh)
}

/// Like [`find_copies`]; the leads are looked at by `comparison`.
///
/// # Errors
/// If measures cannot be read back.
pub fn find_copies_by(
    photos: &Shelf,
    comparison: &dyn Comparison,
) -> Result<Vec<(usize, usize, CopyMeasure)>, Error> {
    let index = search::WordIndex::of_shelf(photos)?;
    let found: Result<Vec<_>, Error> = (0..photos.len())
        .into_par_iter()
        .map(|j| copies_before(photos, &index, j, comparison))
        .collect();
    let mut found: Vec<(usize, usize, CopyMeasure)> = found?.into_iter().flatten().collect();
    found.sort_by_key(|(a, b, _)| (*a, *b));
    Ok(found)
}

/// The copies of the j-th photo among those before it.
fn copies_before(
    photos: &Shelf,
    index: &search::WordIndex,
    j: usize,
    comparison: &dyn Comparison,
) -> Result<Vec<(usize, usize, CopyMeasure)>, Error> {
    let b = photos.get(j)?;
    let leads = index.leads(&b.features, j);
    let mut out = Vec::new();
    let mut originals = 0;
    for (i, facts) in photos.facts().iter().enumerate().take(j) {
        let from = leads.partition_point(|lead| lead.a < i);
        let turns: Vec<usize> = leads
            .iter()
            .skip(from)
            .take_while(|lead| lead.a == i)
            .map(|lead| lead.turn)
            .collect();
        let (print, print_b) = (&facts.fingerprint, &b.facts.fingerprint);
        let mut measure = exact(print, print_b.digests());
        let is_lead = || whole_frame_lead(print, print_b).is_some() || !turns.is_empty();
        if measure.is_none() && originals < MAX_ORIGINALS && is_lead() {
            measure = comparison.copy(&*photos.get(i)?, &b, &turns);
            originals += usize::from(measure.as_ref().is_some_and(CopyMeasure::is_confirmed));
        }
        out.extend(measure.map(|measure| (i, j, measure)));
    }
    Ok(out)
}

/// The turn in which the whole frames are near by their hashes, if they are.
fn whole_frame_lead(a: &Fingerprint, b: &Fingerprint) -> Option<usize> {
    let distances = search::hash_leads(&a.hashes, &b.hashes);
    let nearest = (0..8).min_by_key(|&t| distances.get(t).copied())?;
    let near = distances.get(nearest).is_some_and(|&d| d <= HASH_LEAD);
    near.then_some(nearest)
}

/// The copy of equal digests, of the file or of the pixels.
pub(crate) fn exact(a: &Fingerprint, [file, pixels]: [&str; 2]) -> Option<CopyMeasure> {
    let kind = if a.file_sha256 == file {
        CopyKind::SameBytes
    } else if a.pixel_sha256 == pixels {
        CopyKind::SamePixels
    } else {
        return None;
    };
    Some(CopyMeasure::exact(kind))
}

impl CopyMeasure {
    /// Whether this is a copy for certain.
    #[must_use]
    pub fn is_confirmed(&self) -> bool {
        self.kind != CopyKind::Unsure
    }

    /// Whether the two files differ in their pixels, so that `transform` and what follows say how.
    #[must_use]
    pub fn is_edit(&self) -> bool {
        matches!(self.kind, CopyKind::Edited | CopyKind::Unsure)
    }

    /// An exact copy of the given kind.
    #[must_use]
    pub fn exact(kind: CopyKind) -> Self {
        Self {
            kind,
            transform: "none".to_owned(),
            crop: 1.0,
            filled: 1.0,
            resized: 1.0,
            turned_deg: 0.0,
            recoloured: 0.0,
            overlaid: 0.0,
            confidence: 1.0,
        }
    }
}

/// Looks closely: whole frames whose hashes are near, then keypoint geometry in the given turns, as indices into
/// [`Turn::ALL`].
pub(super) fn verify(a: &PhotoMeasures, b: &PhotoMeasures, turns: &[usize]) -> Option<CopyMeasure> {
    let near = whole_frame_lead(&a.facts.fingerprint, &b.facts.fingerprint);
    if near.is_none() && turns.is_empty() {
        return None;
    }
    let planes = [a, b].map(|p| Plane::from_gray(&p.small.luma));
    let thumbs = [&a.small.luma, &b.small.luma];
    let whole = near.and_then(|turn| frame_map(thumbs[0], thumbs[1], *Turn::ALL.get(turn)?));
    let mut answer = whole.map_or(Answer::Open, |map| decide(a, b, &planes, &map));
    for &turn in turns {
        if !matches!(answer, Answer::Open) {
            break;
        }
        let alignment = feature_alignment(&a.features, &b.features, *Turn::ALL.get(turn)?);
        answer = alignment.map_or(Answer::Open, |found| {
            decide(a, b, &planes, &thumb_map(&found.map, a, b))
        });
    }
    match answer {
        Answer::Copy(kind, agreement) => Some(edited(a, b, kind, &agreement)),
        Answer::Open | Answer::SecondExposure => None,
    }
}

/// What one way to lay two pictures onto each other says.
enum Answer {
    Copy(CopyKind, Box<Agreement>),
    /// Two exposures; no other way to lay them will say more.
    SecondExposure,
    /// Nothing.
    Open,
}

/// Whether the aligned thumbnails agree as only copies do.
fn decide(a: &PhotoMeasures, b: &PhotoMeasures, planes: &[Plane; 2], map: &Map) -> Answer {
    if !may_cover(planes, map) {
        return Answer::Open;
    }
    for blur in EXTRA_BLURS {
        let Some(found) = agree::agree(&planes[0], &planes[1], map, blur) else {
            continue;
        };
        if found.share < HOPELESS {
            break;
        }
        let bent = is_bent(planes, &found.map);
        let framed = is_framed(planes, &found);
        if !is_copy(&found, bent, framed) || bent && !framed {
            continue;
        }
        let saved_from = is_saved_from(a, b, &found.map);
        let grain = || noise(a, b, &found.map);
        match exposure(&found, framed, saved_from, grain) {
            Exposure::Same => return Answer::Copy(CopyKind::Edited, Box::new(found)),
            Exposure::Unsure => return Answer::Copy(CopyKind::Unsure, Box::new(found)),
            Exposure::Second => return Answer::SecondExposure,
            Exposure::Apart => {}
        }
    }
    Answer::Open
}

/// Whether the coded values of the one were made from those of the other; `None` where they do not tell: where `map` from
/// thumbnail a to thumbnail b turns or mirrors, their blocks are not the same.
fn is_saved_from(a: &PhotoMeasures, b: &PhotoMeasures, map: &Map) -> Option<bool> {
    let turn = align::pose(map, size_of(&a.small.luma)).turn;
    if turn != Turn::default() {
        return None;
    }
    coded::is_saved_from(a.coded.as_ref()?, b.coded.as_ref()?)
}

/// Whether the one frame may show the other whole once `map` is refined.
fn may_cover(planes: &[Plane; 2], map: &Map) -> bool {
    let [a, b] = planes.each_ref().map(sides);
    let back = map.try_inverse();
    let least = MIN_COVER - COVER_GAINED;
    align::seen(map, a, b) >= least || back.is_some_and(|back| align::seen(&back, b, a) >= least)
}

/// Whether what is compared agrees as only copies do, where the one is laid onto the other by a map that is `bent` or
/// not, and ends at edges there or not.
fn is_copy(found: &Agreement, bent: bool, framed: bool) -> bool {
    let small = found.cover_a.min(found.cover_b) < SMALL_COVER;
    let (least, stray) = if framed && found.corner_share >= MIN_CORNER_SHARE_FRAMED {
        (MIN_SHARE_FRAMED, MAX_STRAY_FRAMED)
    } else if small {
        (MIN_SHARE_SMALL, MAX_STRAY)
    } else {
        (MIN_SHARE, MAX_STRAY)
    };
    let corners = if bent {
        MIN_CORNER_SHARE_BENT
    } else {
        MIN_CORNER_SHARE
    };
    found.cover_a.max(found.cover_b) >= MIN_COVER
        && found.textured >= MIN_BLOCKS
        && found.share >= least
        && found.median >= MIN_MEDIAN
        && found.patch <= MAX_PATCH
        && found.stray <= stray
        && found.corners >= MIN_CORNERS
        && found.corner_share >= corners
        && found.lost[0].min(found.lost[1]) < MAX_LOST
}

/// Whether one frame is laid onto the other as no cropping, turning and stretching lays it.
fn is_bent(planes: &[Plane; 2], map: &Map) -> bool {
    let [a, b] = planes.each_ref().map(sides);
    let back = map.try_inverse();
    let bends = [
        align::bend(map, a, b),
        back.and_then(|back| align::bend(&back, b, a)),
    ];
    bends
        .into_iter()
        .flatten()
        .reduce(f64::min)
        .is_some_and(|bend| bend > MAX_BEND)
}

/// Whether the one picture is set into the other: a photo of a screen, a page, a border.
fn is_framed(planes: &[Plane; 2], found: &Agreement) -> bool {
    let [a, b] = planes;
    if found.cover_a.min(found.cover_b) >= MIN_COVER {
        false
    } else if found.cover_b < found.cover_a {
        frame::framed(sides(a), b, &found.map)
    } else {
        let back = found.map.try_inverse();
        back.is_some_and(|back| frame::framed(sides(b), a, &back))
    }
}

/// The noise of both sides, where `map` leads from thumbnail a to thumbnail b.
fn noise(a: &PhotoMeasures, b: &PhotoMeasures, map: &Map) -> Option<grain::Grain> {
    let up = align::scale_map(working_size(&a.features), size_of(&a.small.luma));
    let down = align::scale_map(size_of(&b.small.luma), working_size(&b.features));
    let cut = |p: &PhotoMeasures| working_size(&p.features);
    grain::compare(
        &grain::Cut {
            window: &a.middle,
            size: cut(a),
        },
        &grain::Cut {
            window: &b.middle,
            size: cut(b),
        },
        &(down * map * up),
    )
}

/// Describes b against a.
fn edited(a: &PhotoMeasures, b: &PhotoMeasures, kind: CopyKind, found: &Agreement) -> CopyMeasure {
    let full = |p: &PhotoMeasures| p.facts.fingerprint.full_size.map(f64::from);
    let up = align::scale_map(full(a), size_of(&a.small.luma));
    let down = align::scale_map(size_of(&b.small.luma), full(b));
    let pose = align::pose(&(down * found.map * up), full(a));
    CopyMeasure {
        kind,
        transform: turn_name(pose.turn),
        crop: found.cover_a,
        filled: found.cover_b,
        resized: pose.scale,
        turned_deg: pose.degrees,
        recoloured: found.recoloured / 255.0,
        overlaid: 1.0 - found.share,
        confidence: (found.median * found.share).clamp(0.0, 1.0),
    }
}

/// In words, how a picture was laid.
fn turn_name(turn: Turn) -> String {
    match (turn.mirrored, turn.quarters % 4) {
        (false, 0) => "none".to_owned(),
        (true, 0) => "mirrored".to_owned(),
        (false, quarters) => format!("turned {}", u32::from(quarters) * 90),
        (true, quarters) => format!("mirrored and turned {}", u32::from(quarters) * 90),
    }
}

/// Numbers behind a decision; for the evaluation only.
#[doc(hidden)]
pub fn explain_pair(a: &PhotoMeasures, b: &PhotoMeasures) -> Vec<String> {
    let mut out = Vec::new();
    let distances = search::hash_leads(&a.facts.fingerprint.hashes, &b.facts.fingerprint.hashes);
    let index = search::WordIndex::of_one(&a.features);
    let votes = index.votes_for_first(&b.features);
    let (pa, pb) = (
        Plane::from_gray(&a.small.luma),
        Plane::from_gray(&b.small.luma),
    );
    let best_hash = (0..8).min_by_key(|&t| distances[t]).unwrap_or(0);
    let best_votes = (0..8).max_by_key(|&t| votes[t]).unwrap_or(0);
    let total: u32 = votes.iter().sum();
    let frame = frame_map(&a.small.luma, &b.small.luma, Turn::ALL[best_hash]);
    let mut line = |what: &str, turn: usize, inliers: usize, g: Option<Agreement>| {
        let g = g.unwrap_or_default();
        let saved = is_saved_from(a, b, &g.map);
        let n = noise(a, b, &g.map).unwrap_or_default();
        let planes = [pa.clone(), pb.clone()];
        let (framed, bent) = (is_framed(&planes, &g), is_bent(&planes, &g.map));
        out.push(format!(
            "{what} {turn} hash {} votes {} of {total} in {inliers} cover {:.2} {:.2} textured {} share {:.3} median {:.3} patch {:.3} stray {:.3} corners {} {:.3} lost {:.3} {:.3} tone {:.3} recoloured {:.1} flow {:.3} bent {bent} framed {framed} noise {:.2} {:.2} shared {:.2?} {:.2?} fine flow {:.3} over {} saved {saved:?} copy {} {:?}",
            distances[turn], votes[turn], g.cover_a, g.cover_b, g.textured, g.share, g.median, g.patch, g.stray, g.corners, g.corner_share, g.lost[0], g.lost[1], g.tone, g.recoloured, g.flow, n.noise[0], n.noise[1], n.shared, n.shared_faint, n.flow, n.edges, is_copy(&g, bent, framed), exposure(&g, framed, saved, || Some(n))
        ));
    };
    line(
        "hash",
        best_hash,
        0,
        frame.and_then(|m| agree::agree(&pa, &pb, &m, 0.0)),
    );
    if let Some(al) = feature_alignment(&a.features, &b.features, Turn::ALL[best_votes]) {
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
