//! Sensor noise. A copy carries the noise of its original, or has lost it to compression; a second
//! exposure from the same spot carries noise of its own, as strong and unrelated.

use image::GrayImage;

use super::align::{Map, apply};
use crate::measure::plane::Plane;

/// Size of the kept window from the middle of the working picture, pixels.
pub(super) const WINDOW: [u32; 2] = [448, 336];
/// Fewest blocks that tell.
const MIN_BLOCKS: usize = 16;
/// Side of a block.
const BLOCK: usize = 16;

/// The middle of the working picture at full working resolution.
pub(super) fn window(gray: &GrayImage) -> GrayImage {
    let (width, height) = (gray.width().min(WINDOW[0]), gray.height().min(WINDOW[1]));
    let (x, y) = ((gray.width() - width) / 2, (gray.height() - height) / 2);
    image::imageops::crop_imm(gray, x, y, width, height).to_image()
}

/// Noise of two aligned windows.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Grain {
    /// Correlation of the finest detail, upper quartile over the plainer half of the blocks, -1..=1:
    /// an overlay may spoil some blocks of a copy, nothing makes the noise of two exposures agree.
    pub(super) correlation: f64,
    /// Standard deviation of the noise on either side, luma levels.
    pub(super) noise: [f64; 2],
    /// Blocks compared.
    pub(super) blocks: usize,
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
    let (pa, pb) = (Plane::from_gray(a.window), Plane::from_gray(b.window));
    let (fa, fb) = (fine(&pa), fine(&pb));
    let (ca, cb) = (a.corner(), b.corner());
    let mut blocks: Vec<(f64, [f64; 3])> = Vec::new();
    for top in (0..pa.height.saturating_sub(BLOCK - 1)).step_by(BLOCK) {
        for left in (0..pa.width.saturating_sub(BLOCK - 1)).step_by(BLOCK) {
            let mut sums = [0.0f64; 3];
            let mut coarse = [0.0f64; 2];
            let mut count = 0usize;
            for y in top..top + BLOCK {
                for x in left..left + BLOCK {
                    let from = [ca[0] + x as f64 + 0.5, ca[1] + y as f64 + 0.5];
                    let Some([u, v]) = apply(map, from) else {
                        continue;
                    };
                    let Some(q) = fb.sample(u - cb[0], v - cb[1]) else {
                        continue;
                    };
                    let i = y * pa.width + x;
                    let (Some(p), Some(raw)) = (fa.data.get(i), pa.data.get(i)) else {
                        continue;
                    };
                    let (p, q, raw) = (f64::from(*p), f64::from(q), f64::from(*raw));
                    sums = [sums[0] + p * p, sums[1] + q * q, sums[2] + p * q];
                    coarse = [coarse[0] + raw, coarse[1] + raw * raw];
                    count += 1;
                }
            }
            let n = (BLOCK * BLOCK) as f64;
            let mean = coarse[0] / n;
            if count == BLOCK * BLOCK && (16.0..235.0).contains(&mean) {
                blocks.push((coarse[1] / n - mean * mean, sums));
            }
        }
    }
    blocks.sort_by(|x, y| x.0.total_cmp(&y.0));
    let mut correlations: Vec<f64> = blocks
        .iter()
        .take(blocks.len().div_ceil(2))
        .filter(|(_, [p, q, _])| *p > 0.0 && *q > 0.0)
        .map(|(_, [p, q, pq])| pq / (p * q).sqrt())
        .collect();
    correlations.sort_by(f64::total_cmp);
    let upper = correlations.get(correlations.len() * 3 / 4)?;
    (correlations.len() >= MIN_BLOCKS).then(|| Grain {
        correlation: *upper,
        noise: [f64::from(pa.noise()), f64::from(pb.noise())],
        blocks: correlations.len(),
    })
}

fn fine(plane: &Plane) -> Plane {
    let smooth = plane.blurred(1.0);
    Plane {
        data: plane
            .data
            .iter()
            .zip(&smooth.data)
            .map(|(p, s)| p - s)
            .collect(),
        ..*plane
    }
}
