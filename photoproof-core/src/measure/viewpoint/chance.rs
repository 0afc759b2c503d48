//! How many motions as good as this one chance alone would give.

use super::camera::{Intrinsics, Motion, Pair};
use super::refine::{INVERSE_DEPTH_SIGMA, explain, is_inlier};

/// Matches that a sample needs.
const SAMPLE: usize = 5;

/// Matches whose two ends lie within this many working pixels of another match's count once.
const CELL_PX: f64 = 8.0;

/// Matches and inliers counted once per place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Count {
    pub(super) matches: usize,
    pub(super) inliers: usize,
}

/// Counts distinct places: many matches on one detail are one piece of evidence.
pub(super) fn count(motion: &Motion, pairs: &[Pair], sigma: f64, camera: &Intrinsics) -> Count {
    let cell = CELL_PX / camera.focal_px;
    let key = |v: f64| (v / cell).floor() as i64;
    let mut places = std::collections::BTreeMap::new();
    for p in pairs {
        let place = [key(p.a.x), key(p.a.y), key(p.b.x), key(p.b.y)];
        let fits = explain(motion, p, sigma).is_some_and(|e| is_inlier(&e));
        *places.entry(place).or_insert(false) |= fits;
    }
    Count {
        matches: places.len(),
        inliers: places.values().filter(|v| **v).count(),
    }
}

/// Share of the frame in which a random match would agree with the motion: a band around the segment
/// that the free inverse depth spans, clipped to the frame.
pub(super) fn random_agreement(motion: &Motion, pairs: &[Pair], sigma: f64, area: f64) -> f64 {
    let reach = 3.0 * sigma;
    let side = area.sqrt();
    let mut total = 0.0;
    let mut count = 0usize;
    for e in pairs.iter().filter_map(|p| explain(motion, p, sigma)) {
        let length = (e.stretch * sigma / INVERSE_DEPTH_SIGMA * 2.0).min(side);
        total += (2.0 * reach * length + std::f64::consts::PI * reach * reach) / area;
        count += 1;
    }
    if count == 0 {
        1.0
    } else {
        (total / count as f64).clamp(1e-9, 1.0)
    }
}

/// Base-10 logarithm of the expected number of chance models with at least `count.inliers` of
/// `count.matches` in agreement, each with probability `agreement`: the number of false alarms
/// (n - s) C(n, k) C(k, s) p^(k - s) of Moisan and Stival 2004, IJCV 57(3), with s = 5.
pub(super) fn log10_chance(count: Count, agreement: f64) -> f64 {
    let (n, k) = (count.matches, count.inliers);
    if k <= SAMPLE || n <= SAMPLE {
        return log10_choose(n.max(SAMPLE + 1), SAMPLE).max(1.0);
    }
    ((n - SAMPLE) as f64).log10()
        + log10_choose(n, k)
        + log10_choose(k, SAMPLE)
        + (k - SAMPLE) as f64 * agreement.log10()
}

/// Smallest number of inliers among `matches` that chance does not explain at `limit`.
pub(super) fn needed(matches: usize, agreement: f64, limit: f64) -> usize {
    (SAMPLE + 1..=matches)
        .find(|k| {
            log10_chance(
                Count {
                    matches,
                    inliers: *k,
                },
                agreement,
            ) < limit
        })
        .unwrap_or(matches + 1)
}

fn log10_choose(n: usize, k: usize) -> f64 {
    let k = k.min(n.saturating_sub(k));
    (0..k)
        .map(|i| ((n - i) as f64 / (i + 1) as f64).log10())
        .sum()
}

#[cfg(test)]
mod tests {
    use super::{Count, log10_chance, log10_choose, needed};

    #[test]
    fn binomial_coefficients() {
        assert!((log10_choose(10, 3) - 120f64.log10()).abs() < 1e-12);
        assert!(log10_choose(5, 0).abs() < 1e-12);
    }

    #[test]
    fn more_agreement_is_less_likely_by_chance() {
        let at = |inliers| {
            log10_chance(
                Count {
                    matches: 200,
                    inliers,
                },
                0.003,
            )
        };
        assert!(at(60) < at(40) && at(40) < at(20));
        assert!(at(8) > 0.0, "eight of two hundred is chance");
        let k = needed(200, 0.003, -3.0);
        assert!(at(k) < -3.0 && at(k - 1) >= -3.0);
    }
}
