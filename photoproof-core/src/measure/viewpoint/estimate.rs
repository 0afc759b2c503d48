//! From matches to the best motion, its noise and what the agreement proves.

use super::Evidence;
use super::camera::{Intrinsics, Motion, Pair, PixelMatch, rotation_angle};
use super::chance::{count, log10_chance, needed, random_agreement};
use super::consensus::{inliers, search};
use super::refine::{noise, refine};

/// Expected noise of a keypoint coordinate, working pixels.
const NOISE_PX: f64 = 1.0;

/// Expected number of chance models, base-10 logarithm, below which agreement is no accident.
pub(super) const CHANCE_LIMIT: f64 = -3.0;

/// Matches needed to search for a motion at all.
pub(super) const NEEDED_MATCHES: usize = 8;

/// Columns and rows of the grid on which the spread is counted.
const SPREAD_GRID: [usize; 2] = [8, 6];

/// The motion that most matches agree with, and the evidence for it.
#[derive(Debug, Clone)]
pub(super) struct Estimate {
    pub(super) motion: Motion,
    /// Measured noise, bearing units.
    pub(super) sigma: f64,
    /// The matches as bearings, most distinct first.
    pub(super) pairs: Vec<Pair>,
    pub(super) evidence: Evidence,
    /// Inliers that would exclude chance.
    pub(super) needed: usize,
    /// Other motions that explain many matches, best first.
    pub(super) others: Vec<Motion>,
}

impl Estimate {
    /// Whether chance is excluded.
    pub(super) fn is_significant(&self) -> bool {
        self.evidence.log10_chance < CHANCE_LIMIT
    }
}

/// Searches the motion behind matches in working pixels; `None` with too few matches.
pub(super) fn estimate(
    matches: &[PixelMatch],
    cameras: &[Intrinsics; 2],
    keypoints: [u32; 2],
) -> Option<Estimate> {
    let pairs = bearings(matches, cameras);
    if pairs.len() < NEEDED_MATCHES {
        return None;
    }
    let sigma = noise_in_bearings(NOISE_PX, cameras);
    let candidates = search(&pairs, sigma);
    let best = candidates.first()?.motion;
    let mut others: Vec<Motion> = Vec::new();
    for other in candidates.iter().skip(1) {
        let known = std::iter::once(&best).chain(&others);
        if known.into_iter().all(|m| differs(m, &other.motion)) {
            others.push(other.motion);
        }
    }
    let found = judge(&best, pairs, cameras, keypoints, matches.len());
    Some(Estimate { others, ..found })
}

/// Whether two motions are different answers.
fn differs(a: &Motion, b: &Motion) -> bool {
    let turned = rotation_angle(&(a.rotation * b.rotation.transpose())).to_degrees();
    turned > 1.0 || (a.translation - b.translation).norm() > 0.08
}

/// Settles a motion on the matches, sorted by distinctness, and counts what speaks for it.
pub(super) fn judge(
    start: &Motion,
    pairs: Vec<Pair>,
    cameras: &[Intrinsics; 2],
    keypoints: [u32; 2],
    matches: usize,
) -> Estimate {
    let sigma = noise_in_bearings(NOISE_PX, cameras);
    let area = cameras[1].bearing_area();
    let (motion, sigma) = settle(start, &pairs, sigma);
    let agreeing = inliers(&motion, &pairs, sigma);
    let counted = count(&motion, &pairs, sigma, &cameras[0]);
    let agreement = random_agreement(&motion, &pairs, sigma, area);
    let evidence = Evidence {
        keypoints,
        matches: matches as u32,
        inliers: agreeing.len() as u32,
        spread: spread(&pairs, &agreeing, cameras),
        log10_chance: log10_chance(counted, agreement),
        ..Evidence::default()
    };
    let needed = needed(counted.matches, agreement, CHANCE_LIMIT);
    Estimate {
        motion,
        sigma,
        pairs,
        evidence,
        needed,
        others: Vec::new(),
    }
}

/// Measures the noise on the inliers and refines with it, twice.
pub(super) fn settle(start: &Motion, pairs: &[Pair], expected: f64) -> (Motion, f64) {
    let (mut motion, mut measured) = (*start, expected);
    for _ in 0..2 {
        measured = noise(&motion, pairs, measured)
            .unwrap_or(expected)
            .clamp(0.4 * expected, 1.6 * expected);
        motion = refine(&motion, pairs, measured, 10);
    }
    (motion, measured)
}

/// Expected noise in bearing units.
pub(super) fn expected_noise(cameras: &[Intrinsics; 2]) -> f64 {
    noise_in_bearings(NOISE_PX, cameras)
}

fn noise_in_bearings(pixels: f64, cameras: &[Intrinsics; 2]) -> f64 {
    let per_side = cameras.map(|c| 1.0 / (c.focal_px * c.focal_px));
    pixels * (0.5 * (per_side[0] + per_side[1])).sqrt()
}

/// Bearings, most distinct matches first.
pub(super) fn bearings(matches: &[PixelMatch], cameras: &[Intrinsics; 2]) -> Vec<Pair> {
    let mut sorted: Vec<&PixelMatch> = matches
        .iter()
        .filter(|m| m.a.iter().chain(&m.b).all(|v| v.is_finite()) && m.ratio.is_finite())
        .collect();
    sorted.sort_by(|x, y| {
        x.ratio
            .total_cmp(&y.ratio)
            .then(x.a[0].total_cmp(&y.a[0]))
            .then(x.a[1].total_cmp(&y.a[1]))
            .then(x.b[0].total_cmp(&y.b[0]))
            .then(x.b[1].total_cmp(&y.b[1]))
    });
    sorted
        .iter()
        .map(|m| Pair {
            a: cameras[0].bearing(m.a),
            b: cameras[1].bearing(m.b),
            odds: prior_odds(m.ratio),
        })
        .collect()
}

/// Natural logarithm of the odds that a match of this ratio is right before geometry is asked.
fn prior_odds(ratio: f64) -> f64 {
    (1.4 - 9.0 * (ratio - 0.6)).clamp(-2.5, 1.4)
}

/// Share of the grid cells of each frame that hold an inlier.
pub(super) fn spread(pairs: &[Pair], agreeing: &[usize], cameras: &[Intrinsics; 2]) -> [f64; 2] {
    let cells = (SPREAD_GRID[0] * SPREAD_GRID[1]) as f64;
    let cell = |pixel: [f64; 2], camera: &Intrinsics| {
        let column = pixel[0] / camera.width * SPREAD_GRID[0] as f64;
        let row = pixel[1] / camera.height * SPREAD_GRID[1] as f64;
        (column as usize, row as usize)
    };
    let mut seen = [
        std::collections::BTreeSet::new(),
        std::collections::BTreeSet::new(),
    ];
    for p in agreeing.iter().filter_map(|i| pairs.get(*i)) {
        seen[0].insert(cell(cameras[0].pixel(p.a), &cameras[0]));
        seen[1].insert(cell(cameras[1].pixel(p.b), &cameras[1]));
    }
    [seen[0].len() as f64 / cells, seen[1].len() as f64 / cells]
}
