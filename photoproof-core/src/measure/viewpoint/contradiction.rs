//! Where the picture of b contradicts the motion: parts of a's frame that both photos fill with
//! detail, of which nothing agrees.
//!
//! Debris does that too, so that a contradiction alone never makes two photos different; it takes the
//! certainty from a likeness that rests on equal fittings in rooms that are not the same.

use nalgebra::{Vector2, Vector3};

use super::camera::{Intrinsics, Motion};
use super::depth::DepthGrid;
use crate::measure::coarse::CELLS;
use crate::measure::feature::Features;

/// Features that a cell needs on both sides to say anything.
const RICH: u32 = 5;

/// Counts of one cell.
#[derive(Debug, Clone, Copy, Default)]
struct Cell {
    in_a: u32,
    in_b: u32,
    matched: u32,
}

/// Shares of the cells rich in detail on both sides.
#[derive(Debug, Clone, Default)]
pub(super) struct Contradiction {
    /// Rich cells.
    pub(super) rich: u32,
    /// Rich cells without any match.
    pub(super) silent: u32,
    /// The silent cells by index, row by row.
    pub(super) cells: Vec<usize>,
}

/// Counts rich and silent cells; `matched` are the places in a of the matches that agree.
pub(super) fn contradiction(
    features: [&Features; 2],
    cameras: &[Intrinsics; 2],
    motion: &Motion,
    depths: &DepthGrid,
    matched: &[[f64; 2]],
) -> Contradiction {
    let mut cells = vec![Cell::default(); CELLS[0] * CELLS[1]];
    for f in &features[0].list {
        let place = [f64::from(f.keypoint.x), f64::from(f.keypoint.y)];
        if let Some(cell) = cells.get_mut(cell_of(place, &cameras[0])) {
            cell.in_a += 1;
        }
    }
    for place in matched {
        if let Some(cell) = cells.get_mut(cell_of(*place, &cameras[0])) {
            cell.matched += 1;
        }
    }
    let centres = projected_centres(cameras, motion, depths);
    let reach = cameras[0].width / CELLS[0] as f64 * cameras[1].focal_px / cameras[0].focal_px;
    for f in &features[1].list {
        let place = Vector2::new(f64::from(f.keypoint.x), f64::from(f.keypoint.y));
        let nearest = centres
            .iter()
            .map(|(i, centre)| (*i, (centre - place).norm_squared()))
            .min_by(|x, y| x.1.total_cmp(&y.1));
        let Some((i, d)) = nearest else { continue };
        if let Some(cell) = cells.get_mut(i).filter(|_| d < reach * reach) {
            cell.in_b += 1;
        }
    }
    let mut out = Contradiction::default();
    for (i, cell) in cells.iter().enumerate() {
        if cell.in_a.min(cell.in_b) >= RICH {
            out.rich += 1;
            if cell.matched == 0 {
                out.silent += 1;
                out.cells.push(i);
            }
        }
    }
    out
}

pub(super) fn cell_of(place: [f64; 2], camera: &Intrinsics) -> usize {
    let index = |v: f64, size: f64, n: usize| ((v / size * n as f64).max(0.0) as usize).min(n - 1);
    index(place[1], camera.height, CELLS[1]) * CELLS[0] + index(place[0], camera.width, CELLS[0])
}

/// Where the centres of a's cells lie in b, those in its frame only.
fn projected_centres(
    cameras: &[Intrinsics; 2],
    motion: &Motion,
    depths: &DepthGrid,
) -> Vec<(usize, Vector2<f64>)> {
    (0..CELLS[0] * CELLS[1])
        .filter_map(|i| {
            let pixel = [
                ((i % CELLS[0]) as f64 + 0.5) / CELLS[0] as f64 * cameras[0].width,
                ((i / CELLS[0]) as f64 + 0.5) / CELLS[1] as f64 * cameras[0].height,
            ];
            let place = cameras[0].bearing(pixel);
            let ray = motion.rotation * Vector3::new(place.x, place.y, 1.0);
            let x = ray + motion.translation * depths.at(place).rho;
            let pixel = cameras[1].pixel(Vector2::new(x.x / x.z, x.y / x.z));
            let inside = x.z > 0.05 && cameras[1].contains(pixel);
            inside.then(|| (i, Vector2::new(pixel[0], pixel[1])))
        })
        .collect()
}
