//! From two photos' features to the answer: match, estimate, set overlays aside, re-match under the
//! motion, refine, and decide what it proves.

use super::camera::{Intrinsics, Pair, PixelMatch};
use super::consensus::inliers;
use super::contradiction::contradiction;
use super::depth::{DepthGrid, DepthMap};
use super::dissent::dissent;
use super::estimate::{
    Estimate, NEEDED_MATCHES, bearings, estimate, expected_noise, judge, settle, spread,
};
use super::guided::{Guide, Guided, pixel_matches, rematch};
use super::report::shift;
use super::{Evidence, Inconclusive, Viewpoint};
use crate::measure::feature::{Features, Match, MatchOptions, match_features};

/// Keypoints needed on each side.
const NEEDED_KEYPOINTS: u32 = 25;

/// Keypoints on each side from which the absence of agreement means something.
const PLENTY_KEYPOINTS: u32 = 150;

/// Response from which a keypoint is firm: a third of the contrast threshold of Lowe (2004).
const FIRM: f32 = 0.01;
/// Grid over the frame, columns and rows.
const GRID: [usize; 2] = [8, 6];
/// Firm keypoints that fill a cell.
const FIRM_IN_CELL: u32 = 2;
/// Share of filled cells from which a frame counts as structured.
const STRUCTURED_SHARE: f64 = 0.4;

/// Expected number of chance models, base-10 logarithm, above which agreement is at chance level;
/// between this and the evidence line the pictures do not tell.
const CHANCE_LEVEL: f64 = 0.5;

/// Smallest share of grid cells with an inlier, in both frames.
const NEEDED_SPREAD: f64 = 0.125;

/// Displacement, share of the frame's long side, up to which a match counts as fixed to the frame.
const FIXED: f64 = 0.0015;

/// Fixed matches from which an overlay is suspected.
const SUSPECT: usize = 4;

/// Consistency below which the other motions are tried too.
const DOUBTFUL: f64 = 0.5;

/// Displacements of the control searches, working pixels.
const CONTROLS: [[f64; 2]; 2] = [[44.0, 22.0], [-44.0, -22.0]];

/// Compares two viewpoints by their features.
pub(super) fn between_features(a: &Features, b: &Features) -> Viewpoint {
    let cameras = [Intrinsics::of(a), Intrinsics::of(b)];
    let keypoints = [a.list.len() as u32, b.list.len() as u32];
    if let Some(answer) = too_few_keypoints(keypoints) {
        return answer;
    }
    let options = MatchOptions {
        max_ratio: 0.9,
        ..MatchOptions::default()
    };
    let found = match_features(a, b, &options);
    let matches: Vec<PixelMatch> = found
        .iter()
        .filter_map(|m| {
            let (p, q) = (a.list.get(m.a as usize)?, b.list.get(m.b as usize)?);
            Some(PixelMatch {
                a: [f64::from(p.keypoint.x), f64::from(p.keypoint.y)],
                b: [f64::from(q.keypoint.x), f64::from(q.keypoint.y)],
                ratio: f64::from(m.ratio),
            })
        })
        .collect();
    let answer = match best_estimate(&matches, &cameras, keypoints) {
        Ok(estimate) if estimate.is_significant() => {
            let best = most_consistent(estimate, [a, b], &cameras, &found);
            decide(&best, &cameras)
        }
        Ok(estimate) => nothing_shared(estimate.evidence, estimate.needed),
        Err(evidence) => nothing_shared(evidence, NEEDED_MATCHES),
    };
    match answer {
        Viewpoint::NoCommonStructure(evidence) if !is_structured(a) || !is_structured(b) => {
            let found = evidence.inliers;
            let needed = NEEDED_MATCHES as u32;
            Viewpoint::Inconclusive(Inconclusive::WeakAgreement { found, needed }, evidence)
        }
        answer => answer,
    }
}

/// Whether firm keypoints cover enough of the frame for the absence of agreement to mean something. A
/// picture that is mostly black, blown out or bare wall has its keypoints in a corner, or in the noise.
fn is_structured(features: &Features) -> bool {
    let mut cells = [0u32; GRID[0] * GRID[1]];
    let place = |at: f32, side: u32, count: usize| {
        ((f64::from(at) / f64::from(side.max(1)) * count as f64) as usize).min(count - 1)
    };
    for feature in features
        .list
        .iter()
        .filter(|feature| feature.keypoint.response >= FIRM)
    {
        let column = place(feature.keypoint.x, features.width, GRID[0]);
        let row = place(feature.keypoint.y, features.height, GRID[1]);
        cells[row * GRID[0] + column] += 1;
    }
    let filled = cells.iter().filter(|count| **count >= FIRM_IN_CELL).count();
    filled as f64 >= STRUCTURED_SHARE * cells.len() as f64
}

/// Compares two viewpoints by their matches in working pixels alone.
///
/// `cameras` and `keypoints` are those of photo a and photo b; the order of `matches` does not
/// matter. The same input gives the same output.
#[must_use]
pub fn between_matches(
    matches: &[PixelMatch],
    cameras: [Intrinsics; 2],
    keypoints: [u32; 2],
) -> Viewpoint {
    if let Some(answer) = too_few_keypoints(keypoints) {
        return answer;
    }
    match best_estimate(matches, &cameras, keypoints) {
        Ok(found) if found.is_significant() => decide(&found, &cameras),
        Ok(found) => nothing_shared(found.evidence, found.needed),
        Err(evidence) => nothing_shared(evidence, NEEDED_MATCHES),
    }
}

fn too_few_keypoints(keypoints: [u32; 2]) -> Option<Viewpoint> {
    let found = keypoints[0].min(keypoints[1]);
    let reason = Inconclusive::TooFewKeypoints {
        found,
        needed: NEEDED_KEYPOINTS,
    };
    let evidence = Evidence {
        keypoints,
        ..Evidence::default()
    };
    (found < NEEDED_KEYPOINTS).then_some(Viewpoint::Inconclusive(reason, evidence))
}

/// Agreement at chance level: no common structure if both photos are rich in it, else no answer.
fn nothing_shared(evidence: Evidence, needed: usize) -> Viewpoint {
    // Matches fixed to the frame are an overlay or a camera on a tripod; the rest must decide, and if
    // it cannot, the pictures do not tell.
    let rich = evidence.keypoints.iter().all(|k| *k >= PLENTY_KEYPOINTS)
        && (evidence.overlay_matches as usize) < SUSPECT;
    if rich && (evidence.inliers == 0 || evidence.log10_chance > CHANCE_LEVEL) {
        return Viewpoint::NoCommonStructure(evidence);
    }
    let reason = Inconclusive::WeakAgreement {
        found: evidence.inliers,
        needed: needed as u32,
    };
    Viewpoint::Inconclusive(reason, evidence)
}

fn decide(found: &Estimate, cameras: &[Intrinsics; 2]) -> Viewpoint {
    let least = found.evidence.spread[0].min(found.evidence.spread[1]);
    if least < NEEDED_SPREAD {
        let reason = Inconclusive::SmallRegion {
            spread_percent: (least * 100.0).round() as u32,
            needed_percent: (NEEDED_SPREAD * 100.0).round() as u32,
        };
        return Viewpoint::Inconclusive(reason, found.evidence);
    }
    Viewpoint::Shift(shift(
        &found.motion,
        &found.pairs,
        found.sigma,
        cameras,
        found.evidence,
    ))
}

/// The best estimate; matches that are fixed to the frame may not carry it unless they cover the
/// picture as a whole. The error is the evidence of an estimate that was not possible.
fn best_estimate(
    matches: &[PixelMatch],
    cameras: &[Intrinsics; 2],
    keypoints: [u32; 2],
) -> Result<Estimate, Evidence> {
    let (fixed, free): (Vec<PixelMatch>, Vec<PixelMatch>) =
        matches.iter().partition(|m| is_fixed(m, cameras));
    let nothing = Evidence {
        keypoints,
        matches: matches.len() as u32,
        ..Evidence::default()
    };
    if fixed.len() < SUSPECT || covers_interior(&fixed, cameras) {
        return estimate(matches, cameras, keypoints).ok_or(nothing);
    }
    let overlay_matches = fixed.len() as u32;
    let mut found = estimate(&free, cameras, keypoints).ok_or(Evidence {
        overlay_matches,
        ..nothing
    })?;
    found.evidence.overlay_matches = overlay_matches;
    Ok(found)
}

fn is_fixed(m: &PixelMatch, cameras: &[Intrinsics; 2]) -> bool {
    let [a, b] = cameras;
    let (dx, dy) = (
        m.a[0] / a.width - m.b[0] / b.width,
        (m.a[1] / a.height - m.b[1] / b.height) * a.height / a.width,
    );
    (a.width / a.height / (b.width / b.height) - 1.0).abs() < 0.02 && dx.hypot(dy) < FIXED
}

/// Whether matches lie in at least a quarter of the cells of the middle of a's frame, where stamps,
/// logos and borders are not.
fn covers_interior(fixed: &[PixelMatch], cameras: &[Intrinsics; 2]) -> bool {
    let cells: std::collections::BTreeSet<(u8, u8)> = fixed
        .iter()
        .map(|m| {
            let column = m.a[0] / cameras[0].width * 8.0;
            let row = m.a[1] / cameras[0].height * 6.0;
            (column as u8, row as u8)
        })
        .filter(|(column, row)| (1..7).contains(column) && (1..5).contains(row))
        .collect();
    cells.len() >= 6
}

/// Re-matches under the motion, refines on what is found, and records how much of a reappears and what the most
/// distinct of the first `matches` say.
fn rematched(
    mut found: Estimate,
    [a, b]: [&Features; 2],
    cameras: &[Intrinsics; 2],
    matches: &[Match],
) -> Estimate {
    for reach in [5.0, 3.0] {
        let depths = grid(&found, cameras);
        let guide = Guide {
            motion: &found.motion,
            depths: &depths,
            cameras,
            reach,
            offset: [0.0; 2],
        };
        let guided = rematch(a, b, &guide);
        let pairs = union(&found, &pixel_matches(a, b, &guided), cameras);
        let (motion, sigma) = settle(&found.motion, &pairs, expected_noise(cameras));
        if reach < 4.0 {
            found.evidence = reappearance(&found, [a, b], &guide, &guided);
        }
        found = Estimate {
            motion,
            sigma,
            pairs,
            ..found
        };
    }
    let agreeing = inliers(&found.motion, &found.pairs, found.sigma);
    found.evidence.spread = spread(&found.pairs, &agreeing, cameras);
    let places: Vec<[f64; 2]> = agreeing
        .iter()
        .filter_map(|i| found.pairs.get(*i))
        .map(|p| cameras[0].pixel(p.a))
        .collect();
    let depths = grid(&found, cameras);
    let cells = contradiction([a, b], cameras, &found.motion, &depths, &places);
    let said = dissent([a, b], matches, cameras, &found.motion, &depths);
    found.evidence = Evidence {
        rich_cells: cells.rich,
        silent_cells: cells.silent,
        distinct_agreeing: said.agreeing,
        distinct_against: said.against,
        distinct_distance: said.distance,
        distinct_error_px: said.error_px,
        against: said.cells,
        ..found.evidence
    };
    found
}

/// Re-matches under the motion; where the picture as a whole hardly supports it, under the other
/// motions too, and keeps the one that most of the picture supports.
fn most_consistent(
    found: Estimate,
    features: [&Features; 2],
    cameras: &[Intrinsics; 2],
    matches: &[Match],
) -> Estimate {
    let (others, raw) = (found.others.clone(), found.pairs.clone());
    let counts = found.evidence;
    let support = |e: &Estimate| e.evidence.consistency().unwrap_or(0.0);
    let mut best = rematched(found, features, cameras, matches);
    for other in others {
        if support(&best) >= DOUBTFUL {
            break;
        }
        let count = counts.matches as usize;
        let mut next = judge(&other, raw.clone(), cameras, counts.keypoints, count);
        if !next.is_significant() {
            continue;
        }
        next.evidence.overlay_matches = counts.overlay_matches;
        let next = rematched(next, features, cameras, matches);
        if support(&next) > support(&best) {
            best = next;
        }
    }
    best
}

fn grid(found: &Estimate, cameras: &[Intrinsics; 2]) -> DepthGrid {
    let map = DepthMap::new(&found.motion, &found.pairs, found.sigma, &cameras[0]);
    DepthGrid::new(&map, &cameras[0])
}

/// Guided matches and those earlier ones that start from other places of a.
fn union(found: &Estimate, guided: &[PixelMatch], cameras: &[Intrinsics; 2]) -> Vec<Pair> {
    let key = |v: [f64; 2]| (v[0].round() as i64, v[1].round() as i64);
    let mut pairs = bearings(guided, cameras);
    let known: std::collections::BTreeSet<(i64, i64)> = guided.iter().map(|m| key(m.a)).collect();
    for i in inliers(&found.motion, &found.pairs, found.sigma) {
        let earlier = found.pairs.get(i);
        pairs.extend(earlier.filter(|p| !known.contains(&key(cameras[0].pixel(p.a)))));
    }
    pairs
}

/// How much of a is found at its predicted place in b, and how much beside it.
fn reappearance(
    found: &Estimate,
    features: [&Features; 2],
    guide: &Guide,
    guided: &[Guided],
) -> Evidence {
    let looked_for = features[0]
        .list
        .iter()
        .filter(|f| guide.is_in_frame(f))
        .count()
        .max(1) as f64;
    let beside: usize = CONTROLS
        .iter()
        .map(|offset| {
            rematch(
                features[0],
                features[1],
                &Guide {
                    offset: *offset,
                    ..*guide
                },
            )
            .len()
        })
        .sum();
    Evidence {
        reappearing: guided.len() as f64 / looked_for,
        looked_for: looked_for as u32,
        reappearing_by_chance: beside as f64 / CONTROLS.len() as f64 / looked_for,
        ..found.evidence
    }
}
