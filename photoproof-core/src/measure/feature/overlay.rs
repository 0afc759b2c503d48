//! Matches that sit at the same place of both frames, as a date stamp, logo or border does.

use super::{Features, Keypoint, Match};

/// Displacement below which a match counts as fixed to the frame, pixels of photo a. A burned-in mark
/// moves by the localisation error of its keypoints; hand-held photos move by more nearly everywhere.
const FIXED_PX: f32 = 0.7;

/// Columns and rows of the grid on which the spread of fixed matches is counted.
const GRID: (usize, usize) = (8, 6);

/// Share of fixed matches from which the whole picture may be at rest.
const STILL_SHARE: f32 = 0.6;

/// Cells with fixed matches from which the whole picture may be at rest: a third of the grid.
const STILL_CELLS: usize = GRID.0 * GRID.1 / 3;

/// For each match whether it sits at the same place of both frames: at equal shares of width and
/// height, or, where the frames differ, at equal distances from one of the corners.
#[must_use]
pub fn frame_fixed(a: &Features, b: &Features, matches: &[Match]) -> Vec<bool> {
    let place = |m: &Match| {
        let p = &a.list.get(m.a as usize)?.keypoint;
        let q = &b.list.get(m.b as usize)?.keypoint;
        Some(is_fixed(p, q, a, b))
    };
    matches.iter().map(|m| place(m).unwrap_or(false)).collect()
}

fn is_fixed(p: &Keypoint, q: &Keypoint, a: &Features, b: &Features) -> bool {
    let [wa, ha, wb, hb] = [a.width, a.height, b.width, b.height].map(|side| side as f32);
    let near = |dx: f32, dy: f32| dx * dx + dy * dy <= FIXED_PX * FIXED_PX;
    if near(p.x - q.x * (wa / wb), p.y - q.y * (ha / hb)) {
        return true;
    }
    let (right, bottom) = (wa - wb, ha - hb);
    let corners = [(0.0, 0.0), (right, 0.0), (0.0, bottom), (right, bottom)];
    corners
        .iter()
        .any(|(x, y)| near(p.x - q.x - x, p.y - q.y - y))
}

/// For each match whether an overlay may carry it: it is fixed to the frame, and the picture as a
/// whole is not.
///
/// Two photos from a tripod, or a photo and its copy, are at rest everywhere: most of their matches are
/// fixed and lie all over the frame, and none is suspected. A mark repeated over the whole frame looks
/// the same and has to be told by other means.
#[must_use]
pub fn overlay_suspects(a: &Features, b: &Features, matches: &[Match]) -> Vec<bool> {
    let fixed = frame_fixed(a, b, matches);
    let count = fixed.iter().filter(|&&f| f).count();
    let mut cells = [false; GRID.0 * GRID.1];
    for (m, _) in matches.iter().zip(&fixed).filter(|(_, fixed)| **fixed) {
        if let Some(feature) = a.list.get(m.a as usize) {
            cells[cell(&feature.keypoint, a)] = true;
        }
    }
    let spread = cells.iter().filter(|&&c| c).count();
    let still = count as f32 >= STILL_SHARE * matches.len() as f32 && spread >= STILL_CELLS;
    if still {
        vec![false; matches.len()]
    } else {
        fixed
    }
}

fn cell(keypoint: &Keypoint, frame: &Features) -> usize {
    let along = |position: f32, side: u32, cells: usize| {
        let index = (position / side.max(1) as f32 * cells as f32) as usize;
        index.min(cells - 1)
    };
    along(keypoint.y, frame.height, GRID.1) * GRID.0 + along(keypoint.x, frame.width, GRID.0)
}
