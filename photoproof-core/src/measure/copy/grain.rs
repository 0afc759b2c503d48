//! Sensor noise. A copy carries the noise of its original, or has lost it to compression; a second
//! exposure from the same spot carries noise of its own, as strong and unrelated.

use image::GrayImage;

use super::align::{Map, apply};
use super::{agree, flow};
use crate::measure::plane::Plane;

/// Size of the kept window from the middle of the working picture, pixels.
pub(super) const WINDOW: [u32; 2] = [448, 336];
/// Fewest blocks that tell.
const MIN_BLOCKS: usize = 16;
/// The plainest blocks that are asked.
const PLAINEST: usize = 24;
/// Side of a block.
const BLOCK: usize = 16;
/// Standard deviation of the finest detail from which a block tells, luma levels; below, rounding and the steps of
/// the compression are as strong as noise.
const MIN_DETAIL: f64 = 0.6;
const MIN_FAINT_DETAIL: f64 = 0.5;
/// Variance that rounding to whole luma levels adds to the finest detail.
const ROUNDING: f64 = 0.06;
/// Mean luma of blocks that are neither black nor blown out.
const DARK: f32 = 16.0;
const BRIGHT: f32 = 235.0;
/// Where little is shared, the second is moved by so much as well, working pixels, first roughly and then finely: noise
/// is that fine, and where the window shows few edges the map is not.
const STEPS: [f64; 2] = [0.7, 0.35];
const AROUND: [[f64; 2]; 8] = [
    [-1.0, -1.0],
    [0.0, -1.0],
    [1.0, -1.0],
    [-1.0, 0.0],
    [1.0, 0.0],
    [-1.0, 1.0],
    [0.0, 1.0],
    [1.0, 1.0],
];
/// Share below which it is looked for there, and above which it is found: drawing a picture between its pixels takes some
/// of its noise and none of its texture, so that more of what is left is shared.
const LITTLE: f64 = 0.25;
const FOUND: f64 = 0.75;
/// Refinements of the map by the shifts of blocks.
const REFINEMENTS: usize = 2;

/// The middle of the working picture at full working resolution.
pub(crate) fn window(gray: &GrayImage) -> GrayImage {
    let (width, height) = (gray.width().min(WINDOW[0]), gray.height().min(WINDOW[1]));
    let (x, y) = ((gray.width() - width) / 2, (gray.height() - height) / 2);
    image::imageops::crop_imm(gray, x, y, width, height).to_image()
}

/// What the finest detail of two aligned windows says.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Grain {
    /// Standard deviation of the noise on either side, luma levels.
    pub(super) noise: [f64; 2],
    /// Share of the fainter side's finest detail that the other side holds as well, over the plainest blocks where
    /// both have any, so that noise counts and not texture. A copy holds all that saving has left of its
    /// original's noise and measures about 1, two exposures share none and measure about 0. `None` with too few
    /// such blocks.
    pub(super) shared: Option<f64>,
    /// The same with the fainter blocks among them, where rounding and compression count as well.
    pub(super) shared_faint: Option<f64>,
    /// Parallax: the shift, working pixels, that a fifth of the blocks with edges exceed.
    pub(super) flow: f64,
    /// Blocks with edges.
    pub(super) edges: usize,
}

/// A kept window and the size of the working picture it was cut from.
pub(super) struct Cut<'a> {
    pub(super) window: &'a GrayImage,
    pub(super) size: [f64; 2],
}

impl Cut<'_> {
    fn corner(&self) -> [f64; 2] {
        let side = |whole: f64, part: u32| ((whole - f64::from(part)) / 2.0).floor();
        [
            side(self.size[0], self.window.width()),
            side(self.size[1], self.window.height()),
        ]
    }
}

/// Compares the noise; `map` leads from working pixels of a to those of b.
pub(super) fn compare(a: &Cut<'_>, b: &Cut<'_>, map: &Map) -> Option<Grain> {
    let corner = a.corner();
    let middle = [
        corner[0] + f64::from(a.window.width()) / 2.0,
        corner[1] + f64::from(a.window.height()) / 2.0,
    ];
    let scale = agree::local_scale(map, middle)?;
    // Walk over the coarser side; the finer one is blurred to its resolution.
    if scale < 1.0 {
        let mut grain = compare_coarser(b, a, &map.try_inverse()?, 1.0 / scale);
        grain.noise.reverse();
        Some(grain)
    } else {
        Some(compare_coarser(a, b, map, scale))
    }
}

fn compare_coarser(coarse: &Cut<'_>, fine: &Cut<'_>, map: &Map, scale: f64) -> Grain {
    let moved = |[x, y]: [f64; 2]| Map::new(1.0, 0.0, x, 0.0, 1.0, y, 0.0, 0.0, 1.0);
    let [x, y] = fine.corner();
    let first = Plane::from_gray(coarse.window);
    let second = Plane::from_gray(fine.window);
    let noise = [&first, &second].map(|plane| f64::from(plane.noise_between(DARK, BRIGHT)));
    let second = second.blurred(0.5 * (scale * scale - 1.0).max(0.0).sqrt() as f32);
    let mut map = moved([-x, -y]) * map * moved(coarse.corner());
    let (warped, shifts) = flow::refine(&first, &second, &mut map, REFINEMENTS);
    let at_map = both_shares(&first, &warped);
    let is_little = at_map[1].is_some() && at_map.iter().flatten().all(|share| *share < LITTLE);
    let beside = is_little.then(|| beside(&first, &second, &map, at_map));
    let is_found = |shares: &[Option<f64>; 2]| shares[1] >= Some(FOUND);
    let [shared, shared_faint] = beside.filter(is_found).unwrap_or(at_map);
    Grain {
        noise,
        shared,
        shared_faint,
        flow: flow::spread(&shifts),
        edges: shifts.len(),
    }
}

/// Shared detail of clear blocks, and with fainter ones among them.
fn both_shares(first: &Plane, warped: &Plane) -> [Option<f64>; 2] {
    let blocks = blocks(first, warped);
    [MIN_DETAIL, MIN_FAINT_DETAIL].map(|least| shared(&blocks, least))
}

/// The most that is shared at the map, which gave `best`, or up to a pixel beside it.
fn beside(
    first: &Plane,
    second: &Plane,
    map: &Map,
    mut best: [Option<f64>; 2],
) -> [Option<f64>; 2] {
    let size = (first.width, first.height);
    let mut middle = [0.0; 2];
    for step in STEPS {
        let around = middle;
        for [x, y] in AROUND.map(|[x, y]| [around[0] + step * x, around[1] + step * y]) {
            let moved = second.resampled(size, |[u, v]| apply(map, [u + x, v + y]));
            let shares = both_shares(first, &moved);
            if shares[1] > best[1] {
                (best, middle) = (shares, [x, y]);
            }
        }
    }
    best
}

/// A block: the variance of what is coarser than noise, and the two variances and the covariance of what is finer.
type Block = (f64, [f64; 3]);

/// Blocks that both windows show and that are neither black nor blown out, the plainest first.
fn blocks(first: &Plane, warped: &Plane) -> Vec<Block> {
    let (smooth, smooth_warped) = (first.blurred(1.0), agree::filled(warped).blurred(1.0));
    let mut found = Vec::new();
    for top in (0..first.height.saturating_sub(BLOCK - 1)).step_by(BLOCK) {
        for left in (0..first.width.saturating_sub(BLOCK - 1)).step_by(BLOCK) {
            let (mut coarse, mut fine) = (Vec::new(), Vec::new());
            for y in top..top + BLOCK {
                for x in left..left + BLOCK {
                    let i = y * first.width + x;
                    let values = [first, warped, &smooth, &smooth_warped]
                        .map(|plane| f64::from(plane.data.get(i).copied().unwrap_or(f32::NAN)));
                    let [p, q, sp, sq] = values;
                    if q.is_finite() {
                        coarse.push((sp, sq));
                        fine.push((p - sp, q - sq));
                    }
                }
            }
            let (means, [va, vb, _]) = agree::moments(&coarse);
            let visible = |mean: &f64| (f64::from(DARK)..f64::from(BRIGHT)).contains(mean);
            if coarse.len() == BLOCK * BLOCK && means.iter().all(visible) {
                found.push((va.max(vb), agree::moments(&fine).1));
            }
        }
    }
    found.sort_by(|x, y| x.0.total_cmp(&y.0));
    found
}

/// Share of the fainter side's detail that is shared, over the plainest blocks where both sides reach `least`.
fn shared(blocks: &[Block], least: f64) -> Option<f64> {
    let with_detail = blocks.iter().map(|(_, sums)| sums);
    let plainest: Vec<&[f64; 3]> = with_detail
        .filter(|[a, b, _]| a.min(*b) > least * least)
        .take(PLAINEST)
        .collect();
    if plainest.len() < MIN_BLOCKS {
        return None;
    }
    let sum = |i: usize| -> f64 { plainest.iter().filter_map(|sums| sums.get(i)).sum() };
    let fainter = sum(0).min(sum(1)) - ROUNDING * plainest.len() as f64;
    Some(sum(2) / fainter.max(1e-9))
}
