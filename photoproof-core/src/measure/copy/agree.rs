//! Do two aligned pictures agree everywhere? The pixels of a copy do; those of a second exposure of
//! the same view do not: things moved, light and parallax changed, sensor noise is new.

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
    /// Correlation of fine detail pooled over blocks that are plain in both, -1..=1.
    pub(super) fine: f64,
    /// Number of plain blocks behind `fine`.
    pub(super) plain: usize,
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
    fine: [f64; 3],
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
    let size = (coarse.width, coarse.height);
    let mut walk = *walk;
    let mut warped = fine.resampled(size, |at| apply(&walk, at));
    let mut shifts = flow::shifts(&coarse, &warped);
    for _ in 0..REFINEMENTS {
        let Some(step) = flow::correction(&shifts, [size.0 as f64, size.1 as f64]) else {
            break;
        };
        let next = walk * step;
        let rewarped = fine.resampled(size, |at| apply(&next, at));
        let left = flow::shifts(&coarse, &rewarped);
        if left.len() * 5 < shifts.len() * 4 || flow::spread(&left) >= flow::spread(&shifts) {
            break;
        }
        (walk, warped, shifts) = (next, rewarped, left);
    }
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

fn local_scale(map: &Map, [x, y]: [f64; 2]) -> Option<f64> {
    let o = apply(map, [x, y])?;
    let p = apply(map, [x + 1.0, y])?;
    let q = apply(map, [x, y + 1.0])?;
    let area = (p[0] - o[0]) * (q[1] - o[1]) - (p[1] - o[1]) * (q[0] - o[0]);
    let scale = area.abs().sqrt();
    (scale.is_finite() && scale > 0.02 && scale < 50.0).then_some(scale)
}

fn blocks(coarse: &Plane, warped: &Plane) -> Vec<Block> {
    let mut found = Vec::new();
    let (smooth_a, smooth_b) = (coarse.blurred(2.0), filled(warped).blurred(2.0));
    for top in (0..coarse.height.saturating_sub(BLOCK - 1)).step_by(BLOCK) {
        for left in (0..coarse.width.saturating_sub(BLOCK - 1)).step_by(BLOCK) {
            let at = |x: usize, y: usize| y * coarse.width + x;
            let mut pairs = Vec::with_capacity(BLOCK * BLOCK);
            let mut details = Vec::with_capacity(BLOCK * BLOCK);
            for y in top..top + BLOCK {
                for x in left..left + BLOCK {
                    let i = at(x, y);
                    let (Some(&p), Some(&q)) = (coarse.data.get(i), warped.data.get(i)) else {
                        continue;
                    };
                    if q.is_finite() {
                        pairs.push((f64::from(p), f64::from(q)));
                        let (sp, sq) = (smooth_a.data.get(i), smooth_b.data.get(i));
                        if let (Some(sp), Some(sq)) = (sp, sq) {
                            details.push((f64::from(p - sp), f64::from(q - sq)));
                        }
                    }
                }
            }
            if pairs.len() == BLOCK * BLOCK {
                found.push(block(&pairs, &details));
            }
        }
    }
    found
}

/// Not-a-number replaced by the mean, so that a blur can run over the plane.
fn filled(plane: &Plane) -> Plane {
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

fn block(pairs: &[(f64, f64)], details: &[(f64, f64)]) -> Block {
    let (mean, [va, vb, cov]) = moments(pairs);
    let (_, fine) = moments(details);
    Block {
        deviation: [va.sqrt(), vb.sqrt()],
        mean,
        correlation: if va > 0.0 && vb > 0.0 {
            cov / (va * vb).sqrt()
        } else {
            0.0
        },
        fine,
    }
}

/// Means, and the two variances and the covariance.
fn moments(pairs: &[(f64, f64)]) -> ([f64; 2], [f64; 3]) {
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
    let plain = usable
        .iter()
        .filter(|b| b.deviation[0].max(b.deviation[1]) < TEXTURE);
    let (plain_count, [fa, fb, fab]) = plain.fold((0, [0.0; 3]), |(n, [a, b, c]), block| {
        (
            n + 1,
            [a + block.fine[0], b + block.fine[1], c + block.fine[2]],
        )
    });
    let weight = |b: &Block| b.deviation[0].max(b.deviation[1]).min(8.0);
    let total: f64 = textured.iter().map(|b| weight(b)).sum();
    let good: f64 = textured
        .iter()
        .filter(|b| b.correlation >= AGREES)
        .map(|b| weight(b))
        .sum();
    let mut correlations: Vec<f64> = textured.iter().map(|b| b.correlation).collect();
    correlations.sort_by(f64::total_cmp);
    Agreement {
        textured: textured.len(),
        share: if total > 0.0 { good / total } else { 0.0 },
        median: correlations
            .get(correlations.len() / 2)
            .copied()
            .unwrap_or(0.0),
        fine: if fa > 0.0 && fb > 0.0 {
            fab / (fa * fb).sqrt()
        } else {
            0.0
        },
        plain: plain_count,
        lost,
        ..Agreement::default()
    }
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
