//! From pixel matches to the viewpoint: the order of the steps and the decision what they prove.

use nalgebra::Vector3;

use super::camera::{Intrinsics, Motion, Pair, PixelMatch, rotation_angle};
use super::chance::{count, log10_chance, needed, random_agreement};
use super::consensus::{inliers, search};
use super::depth::{DepthMap, distance_ratio, overlap};
use super::homography;
use super::refine::{covariance, noise, refine};
use super::{Evidence, Inconclusive, Model, Viewpoint, ViewpointShift};
use crate::units::{Degrees, DistanceRatio, Ratio};

/// Expected noise of a keypoint coordinate, working pixels.
const NOISE_PX: f64 = 1.0;

/// Expected number of chance models, base-10 logarithm, below which agreement is no accident.
const CHANCE_LIMIT: f64 = -3.0;

/// Keypoints needed on each side.
const NEEDED_KEYPOINTS: u32 = 25;

/// Keypoints on each side from which the absence of agreement means something.
const PLENTY_KEYPOINTS: u32 = 150;

/// Matches needed to search for a motion at all.
const NEEDED_MATCHES: usize = 8;

/// Smallest share of grid cells with an inlier, in both frames.
const NEEDED_SPREAD: f64 = 0.125;

/// Columns and rows of the grid on which the spread is counted.
const SPREAD_GRID: [usize; 2] = [8, 6];

/// Compares two viewpoints by their matches in working pixels.
///
/// `cameras` and `keypoints` are those of photo a and photo b; the order of `matches` does not
/// matter. The same input gives the same output.
#[must_use]
pub fn between_matches(
    matches: &[PixelMatch],
    cameras: [Intrinsics; 2],
    keypoints: [u32; 2],
) -> Viewpoint {
    let mut evidence = Evidence {
        keypoints,
        matches: matches.len() as u32,
        ..Evidence::default()
    };
    let found = keypoints[0].min(keypoints[1]);
    if found < NEEDED_KEYPOINTS {
        let reason = Inconclusive::TooFewKeypoints {
            found,
            needed: NEEDED_KEYPOINTS,
        };
        return Viewpoint::Inconclusive(reason, evidence);
    }
    let pairs = bearings(matches, &cameras);
    if pairs.len() < NEEDED_MATCHES {
        return nothing_shared(evidence, NEEDED_MATCHES);
    }
    let sigma = noise_in_bearings(NOISE_PX, &cameras);
    let Some((motion, sigma)) = best_motion(&pairs, sigma, &cameras) else {
        return nothing_shared(evidence, NEEDED_MATCHES);
    };
    let agreeing = inliers(&motion, &pairs, sigma);
    let area = cameras[1].bearing_area();
    let counted = count(&motion, &pairs, sigma, &cameras[0]);
    let agreement = random_agreement(&motion, &pairs, sigma, area);
    evidence.inliers = agreeing.len() as u32;
    evidence.log10_chance = log10_chance(counted, agreement);
    evidence.spread = spread(&pairs, &agreeing, &cameras);
    if evidence.log10_chance > CHANCE_LIMIT {
        return nothing_shared(evidence, needed(counted.matches, agreement, CHANCE_LIMIT));
    }
    let least = evidence.spread[0].min(evidence.spread[1]);
    if least < NEEDED_SPREAD {
        let reason = Inconclusive::SmallRegion {
            spread_percent: (least * 100.0).round() as u32,
            needed_percent: (NEEDED_SPREAD * 100.0).round() as u32,
        };
        return Viewpoint::Inconclusive(reason, evidence);
    }
    Viewpoint::Shift(shift(&motion, &pairs, sigma, &cameras, evidence))
}

/// Agreement at chance level: no common structure if both photos are rich in it, else no answer.
fn nothing_shared(evidence: Evidence, needed: usize) -> Viewpoint {
    if evidence.keypoints.iter().all(|k| *k >= PLENTY_KEYPOINTS) {
        Viewpoint::NoCommonStructure(evidence)
    } else {
        let reason = Inconclusive::WeakAgreement {
            found: evidence.inliers,
            needed: needed as u32,
        };
        Viewpoint::Inconclusive(reason, evidence)
    }
}

fn noise_in_bearings(pixels: f64, cameras: &[Intrinsics; 2]) -> f64 {
    let per_side = cameras.map(|c| 1.0 / (c.focal_px * c.focal_px));
    pixels * (0.5 * (per_side[0] + per_side[1])).sqrt()
}

/// Bearings, most distinct matches first.
fn bearings(matches: &[PixelMatch], cameras: &[Intrinsics; 2]) -> Vec<Pair> {
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

/// The best motion and the noise measured on its inliers.
fn best_motion(pairs: &[Pair], sigma: f64, cameras: &[Intrinsics; 2]) -> Option<(Motion, f64)> {
    let best = *search(pairs, sigma, cameras[1].bearing_area()).first()?;
    let mut motion = best.motion;
    let mut measured = sigma;
    for _ in 0..2 {
        measured = noise(&motion, pairs, measured)
            .unwrap_or(sigma)
            .clamp(0.4 * sigma, 1.6 * sigma);
        motion = refine(&motion, pairs, measured, 10);
    }
    Some((motion, measured))
}

/// Share of the grid cells of each frame that hold an inlier.
fn spread(pairs: &[Pair], agreeing: &[usize], cameras: &[Intrinsics; 2]) -> [f64; 2] {
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

fn shift(
    motion: &Motion,
    pairs: &[Pair],
    sigma: f64,
    cameras: &[Intrinsics; 2],
    evidence: Evidence,
) -> ViewpointShift {
    let depths = DepthMap::new(motion, pairs, sigma, &cameras[0]);
    let centre = depths.at(nalgebra::Vector2::zeros());
    let ratio = distance_ratio(motion, centre.rho);
    let covariance = covariance(motion, pairs, sigma);
    let rotation_variance = covariance.map_or(0.0, |c| {
        c.fixed_view::<3, 3>(0, 0).symmetric_eigenvalues().max()
    });
    let direction = motion.rotation * Vector3::z() + motion.translation * centre.rho;
    let direction = direction / direction.norm().max(1e-9);
    let from_depth = direction.dot(&motion.translation) * centre.sigma;
    let from_motion = covariance.map_or(0.0, |c| {
        (direction.transpose() * c.fixed_view::<3, 3>(3, 3) * direction)[0] * centre.rho.powi(2)
    });
    // The axis of camera b seen from a tells turn and tilt; the rest is roll.
    let axis = motion.rotation.transpose() * Vector3::z();
    let right = motion.rotation.transpose() * Vector3::x();
    let camera_b = -(motion.rotation.transpose() * motion.translation) * centre.rho;
    let (model, alignment) = alignment(motion, pairs, sigma, cameras);
    ViewpointShift {
        rotation: Degrees::from_radians(rotation_angle(&motion.rotation)),
        turn_right: Degrees::from_radians(axis.x.atan2(axis.z)),
        tilt_up: Degrees::from_radians((-axis.y).atan2(axis.x.hypot(axis.z))),
        roll_clockwise: Degrees::from_radians(right.y.atan2(right.x.hypot(right.z))),
        distance_ratio: DistanceRatio::new(ratio),
        translation: Some([camera_b.x, camera_b.y, camera_b.z]),
        rotation_sigma_deg: rotation_variance.max(0.0).sqrt().to_degrees(),
        distance_ratio_sigma: Some((from_depth.powi(2) + from_motion.max(0.0)).sqrt() / ratio),
        overlap: Ratio::new(overlap(motion, &depths, cameras)),
        zoom: cameras[1].relative_focal() / cameras[0].relative_focal(),
        focal_known: cameras.iter().all(|c| c.known),
        model,
        evidence,
        alignment,
    }
}

/// The least-squares homography over the inliers in working pixels, and whether it alone explains
/// them.
fn alignment(
    motion: &Motion,
    pairs: &[Pair],
    sigma: f64,
    cameras: &[Intrinsics; 2],
) -> (Model, [[f64; 3]; 3]) {
    let agreeing: Vec<Pair> = inliers(motion, pairs, sigma)
        .iter()
        .filter_map(|i| pairs.get(*i).copied())
        .collect();
    let cut = (3.0 * sigma).powi(2);
    let mut weights = vec![1.0; agreeing.len()];
    let mut h = motion.rotation;
    let mut flat = 0;
    for _ in 0..3 {
        h = homography::least_squares(&agreeing, &weights).unwrap_or(h);
        flat = 0;
        for (w, p) in weights.iter_mut().zip(&agreeing) {
            let d =
                homography::transfer(&h, &p.a).map_or(f64::INFINITY, |q| (q - p.b).norm_squared());
            *w = 1.0 / (1.0 + d / cut);
            flat += usize::from(d < 4.0 * cut);
        }
    }
    let model = if flat * 10 >= agreeing.len() * 9 {
        Model::Homography
    } else {
        Model::Essential
    };
    let to_pixels = cameras[1].matrix()
        * h
        * cameras[0]
            .matrix()
            .try_inverse()
            .unwrap_or_else(nalgebra::Matrix3::identity);
    let scale = to_pixels[(2, 2)];
    let scaled = if scale.abs() > 1e-12 {
        to_pixels / scale
    } else {
        to_pixels
    };
    (
        model,
        std::array::from_fn(|r| std::array::from_fn(|c| scaled[(r, c)])),
    )
}
