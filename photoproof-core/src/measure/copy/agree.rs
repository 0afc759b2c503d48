//! Do two aligned pictures agree everywhere? The pixels of a copy do; those of a second exposure of
//! the same view do not: things moved, light and parallax changed, sensor noise is new.

use std::collections::BTreeSet;

use super::align::{Map, apply, seen};
use super::flow;
use crate::measure::plane::Plane;

/// Side of a compared block, samples of the coarser thumbnail.
const BLOCK: usize = 12;
/// Blur of both sides before comparison, samples: takes resampling and compression out.
const BASE_BLUR: f32 = 0.7;
/// Standard deviation from which a block counts as textured, luma levels.
const TEXTURE: f64 = 2.5;
/// Block correlation from which a block agrees.
const AGREES: f64 = 0.7;
/// Structure in the weaker direction from which a block counts as a corner, luma levels a sample.
const CORNER: f64 = 1.2;
/// Refinements of the map by the shifts of blocks.
const REFINEMENTS: usize = 3;
/// Luma at and beyond which detail is lost.
const BLACK: f64 = 8.0;
const WHITE: f64 = 247.0;

/// How well two aligned pictures agree.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Agreement {
    /// Share of a's frame that b shows, 0..=1.
    pub(super) cover_a: f64,
    /// Share of b's frame that a shows, 0..=1.
    pub(super) cover_b: f64,
    /// Number of textured blocks.
    pub(super) textured: usize,
    /// Share of textured blocks (by strength) that agree, 0..=1.
    pub(super) share: f64,
    /// Median correlation of textured blocks.
    pub(super) median: f64,
    /// The largest region of blocks that do not agree, as a share of the compared blocks, 0..=1: a stamp, a logo.
    pub(super) patch: f64,
    /// Share of textured blocks that do not agree and lie outside that region, 0..=1.
    pub(super) stray: f64,
    /// Blocks outside that region whose edges run in more than one direction: repeated lines have none.
    pub(super) corners: usize,
    /// Share of those (by strength) that agree, 0..=1.
    pub(super) corner_share: f64,
    /// Share of blocks with detail on the one side where the other side is blown out or black.
    pub(super) lost: [f64; 2],
    /// Share of b's luma variance that is a function of a's luma, 0..=1.
    pub(super) tone: f64,
    /// Parallax: the shift, samples of the coarser side, that a fifth of the blocks with edges exceed.
    pub(super) flow: f64,
    /// The map from a to b after refinement.
    pub(super) map: Map,
    /// Mean absolute luma change after alignment, luma levels.
    pub(super) recoloured: f64,
}

/// A compared block.
#[derive(Debug, Clone, Copy, Default)]
struct Block {
    deviation: [f64; 2],
    mean: [f64; 2],
    correlation: f64,
    /// Column and row of the block.
    place: [usize; 2],
    /// See [`corner`].
    corner: f64,
}

/// Compares thumbnail `a` with `b`, where `map` leads from a's samples to b's.
pub(super) fn agree(a: &Plane, b: &Plane, map: &Map, extra_blur: f32) -> Option<Agreement> {
    let back = map.try_inverse()?;
    let centre = [a.width as f64 / 2.0, a.height as f64 / 2.0];
    let scale = local_scale(map, centre)?;
    // Walk over the coarser side; the finer one is blurred to its resolution.
    let swap = scale < 1.0;
    let (coarse, fine, walk, ratio) = if swap {
        (b, a, &back, 1.0 / scale)
    } else {
        (a, b, map, scale)
    };
    let match_blur = 0.5 * (ratio * ratio - 1.0).max(0.0).sqrt() as f32;
    let fine = fine.blurred(
        match_blur
            .hypot(BASE_BLUR * ratio as f32)
            .hypot(extra_blur * ratio as f32),
    );
    let coarse = coarse.blurred(BASE_BLUR.hypot(extra_blur));
    let mut walk = *walk;
    let (warped, shifts) = flow::refine(&coarse, &fine, &mut walk, REFINEMENTS);
    let count = warped.data.iter().filter(|v| v.is_finite()).count() as f64;
    let cover_coarse = count / (coarse.width * coarse.height).max(1) as f64;
    let cover_fine = seen(
        &walk.try_inverse()?,
        [fine.width as f64, fine.height as f64],
        [coarse.width as f64, coarse.height as f64],
    );
    let blocks = blocks(&coarse, &warped);
    let mut result = summary(&blocks);
    (result.tone, result.recoloured) = tone(&coarse, &warped);
    result.flow = flow::spread(&shifts);
    result.map = if swap { walk.try_inverse()? } else { walk };
    if swap {
        (result.cover_a, result.cover_b) = (cover_fine, cover_coarse);
        result.lost.reverse();
    } else {
        (result.cover_a, result.cover_b) = (cover_coarse, cover_fine);
    }
    Some(result)
}

/// Linear scale of `map` about a point; `None` where it is no picture's.
pub(super) fn local_scale(map: &Map, [x, y]: [f64; 2]) -> Option<f64> {
    let o = apply(map, [x, y])?;
    let p = apply(map, [x + 1.0, y])?;
    let q = apply(map, [x, y + 1.0])?;
    let area = (p[0] - o[0]) * (q[1] - o[1]) - (p[1] - o[1]) * (q[0] - o[0]);
    let scale = area.abs().sqrt();
    (scale.is_finite() && scale > 0.02 && scale < 50.0).then_some(scale)
}

fn blocks(coarse: &Plane, warped: &Plane) -> Vec<Block> {
    let mut found = Vec::new();
    for top in (0..coarse.height.saturating_sub(BLOCK - 1)).step_by(BLOCK) {
        for left in (0..coarse.width.saturating_sub(BLOCK - 1)).step_by(BLOCK) {
            let at = |x: usize, y: usize| y * coarse.width + x;
            let mut pairs = Vec::with_capacity(BLOCK * BLOCK);
            for y in top..top + BLOCK {
                for x in left..left + BLOCK {
                    let i = at(x, y);
                    let (Some(&p), Some(&q)) = (coarse.data.get(i), warped.data.get(i)) else {
                        continue;
                    };
                    if q.is_finite() {
                        pairs.push((f64::from(p), f64::from(q)));
                    }
                }
            }
            if pairs.len() == BLOCK * BLOCK {
                found.push(Block {
                    place: [left / BLOCK, top / BLOCK],
                    corner: corner(coarse, left, top).max(corner(warped, left, top)),
                    ..block(&pairs)
                });
            }
        }
    }
    found
}

/// Root of the smaller eigenvalue of the structure tensor, luma levels a sample: how far the edges of a block run
/// in more than one direction.
fn corner(plane: &Plane, left: usize, top: usize) -> f64 {
    let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
    for y in top + 1..top + BLOCK - 1 {
        for x in left + 1..left + BLOCK - 1 {
            let (i, j) = (x as isize, y as isize);
            let gx = f64::from(plane.at(i + 1, j) - plane.at(i - 1, j)) / 2.0;
            let gy = f64::from(plane.at(i, j + 1) - plane.at(i, j - 1)) / 2.0;
            (xx, xy, yy) = (xx + gx * gx, xy + gx * gy, yy + gy * gy);
        }
    }
    let smaller = (xx + yy) / 2.0 - ((xx - yy) / 2.0).hypot(xy);
    (smaller.max(0.0) / ((BLOCK - 2) * (BLOCK - 2)) as f64).sqrt()
}

/// Not-a-number replaced by the mean, so that a blur can run over the plane.
pub(super) fn filled(plane: &Plane) -> Plane {
    let seen: Vec<f32> = plane
        .data
        .iter()
        .copied()
        .filter(|v| v.is_finite())
        .collect();
    let mean = seen.iter().sum::<f32>() / seen.len().max(1) as f32;
    let mut out = plane.clone();
    out.data
        .iter_mut()
        .filter(|v| !v.is_finite())
        .for_each(|v| *v = mean);
    out
}

fn block(pairs: &[(f64, f64)]) -> Block {
    let (mean, [va, vb, cov]) = moments(pairs);
    Block {
        deviation: [va.sqrt(), vb.sqrt()],
        mean,
        correlation: if va > 0.0 && vb > 0.0 {
            cov / (va * vb).sqrt()
        } else {
            0.0
        },
        ..Block::default()
    }
}

/// Means, and the two variances and the covariance.
pub(super) fn moments(pairs: &[(f64, f64)]) -> ([f64; 2], [f64; 3]) {
    let count = pairs.len().max(1) as f64;
    let (sa, sb) = pairs
        .iter()
        .fold((0.0, 0.0), |(a, b), p| (a + p.0, b + p.1));
    let (ma, mb) = (sa / count, sb / count);
    let mut sums = [0.0; 3];
    for (p, q) in pairs {
        let (dp, dq) = (p - ma, q - mb);
        sums[0] += dp * dp;
        sums[1] += dq * dq;
        sums[2] += dp * dq;
    }
    ([ma, mb], sums.map(|s| s / count))
}

fn summary(blocks: &[Block]) -> Agreement {
    let count = blocks.len().max(1) as f64;
    let clipped = |block: &Block, side: usize| {
        let (mean, deviation) = (block.mean[side], block.deviation[side]);
        deviation < 1.5 && (mean <= BLACK || mean >= WHITE)
    };
    let detail_lost = |seen: usize, lost: usize| {
        let gone = |b: &&Block| b.deviation[seen] >= 2.0 * TEXTURE && clipped(b, lost);
        blocks.iter().filter(gone).count() as f64 / count
    };
    let lost = [detail_lost(0, 1), detail_lost(1, 0)];
    let usable: Vec<&Block> = blocks
        .iter()
        .filter(|b| !clipped(b, 0) && !clipped(b, 1))
        .collect();
    let textured: Vec<&Block> = usable
        .iter()
        .filter(|b| b.deviation[0].max(b.deviation[1]) >= TEXTURE)
        .copied()
        .collect();
    let patch = largest_patch(&textured);
    let outside: Vec<&Block> = textured
        .iter()
        .filter(|b| !patch.contains(&b.place))
        .copied()
        .collect();
    let stray = outside.iter().filter(|b| b.correlation < AGREES).count();
    let corners: Vec<&Block> = outside
        .iter()
        .filter(|b| b.corner >= CORNER)
        .copied()
        .collect();
    let mut correlations: Vec<f64> = textured.iter().map(|b| b.correlation).collect();
    correlations.sort_by(f64::total_cmp);
    Agreement {
        textured: textured.len(),
        share: agreeing(&textured),
        patch: patch.len() as f64 / count,
        stray: stray as f64 / textured.len().max(1) as f64,
        corners: corners.len(),
        corner_share: agreeing(&corners),
        median: correlations
            .get(correlations.len() / 2)
            .copied()
            .unwrap_or(0.0),
        lost,
        ..Agreement::default()
    }
}

/// Share of blocks, by strength, that agree.
fn agreeing(blocks: &[&Block]) -> f64 {
    let weight = |b: &Block| b.deviation[0].max(b.deviation[1]).min(8.0);
    let sum = |least: f64| -> f64 {
        let those = blocks.iter().filter(|b| b.correlation >= least);
        those.map(|b| weight(b)).sum()
    };
    let total = sum(f64::NEG_INFINITY);
    if total > 0.0 {
        sum(AGREES) / total
    } else {
        0.0
    }
}

/// Places of the largest region of touching blocks that do not agree.
fn largest_patch(textured: &[&Block]) -> BTreeSet<[usize; 2]> {
    let disagree = textured.iter().filter(|b| b.correlation < AGREES);
    let mut left: BTreeSet<[usize; 2]> = disagree.map(|b| b.place).collect();
    let mut largest = BTreeSet::new();
    while let Some(first) = left.pop_first() {
        let (mut open, mut region) = (vec![first], BTreeSet::new());
        while let Some([x, y]) = open.pop() {
            region.insert([x, y]);
            for near in 0..9 {
                let next = [
                    (x + near % 3).wrapping_sub(1),
                    (y + near / 3).wrapping_sub(1),
                ];
                if left.remove(&next) {
                    open.push(next);
                }
            }
        }
        if region.len() > largest.len() {
            largest = region;
        }
    }
    largest
}

/// Correlation ratio of the second side on the first, and the mean change of luma.
fn tone(first: &Plane, second: &Plane) -> (f64, f64) {
    let mut bins = [[0.0f64; 3]; 64];
    let (mut change, mut count) = (0.0, 0.0);
    for (p, q) in first
        .data
        .iter()
        .zip(&second.data)
        .filter(|(_, q)| q.is_finite())
    {
        let (p, q) = (f64::from(*p), f64::from(*q));
        if let Some(bin) = bins.get_mut((p / 4.0) as usize) {
            *bin = [bin[0] + 1.0, bin[1] + q, bin[2] + q * q];
        }
        change += (p - q).abs();
        count += 1.0;
    }
    let sums = bins
        .iter()
        .fold([0.0; 2], |s, b| [s[0] + b[1], s[1] + b[2]]);
    let total = sums[1] - sums[0] * sums[0] / f64::max(count, 1.0);
    let inside: f64 = bins
        .iter()
        .filter(|b| b[0] > 0.0)
        .map(|b| b[2] - b[1] * b[1] / b[0])
        .sum();
    let ratio = if total > 0.0 {
        (1.0 - inside / total).max(0.0)
    } else {
        0.0
    };
    (ratio, change / f64::max(count, 1.0))
}
