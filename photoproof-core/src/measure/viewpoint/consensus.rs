//! Seeded search for the motion that most matches agree with.
//!
//! Samples grow from the most distinct matches to all of them (Chum and Matas 2005, PROSAC); each
//! homography (four matches) and essential matrix (five) is scored with a truncated squared error
//! (Torr and Zisserman 2000, MSAC); the best few of both kinds start a local optimisation (Chum,
//! Matas and Kittler 2003) in the joint model of `refine`, whose likelihood decides between them.
//! A plane that dominates the picture yields its two homography motions as starts, so that the
//! rest of the scene is not lost (the degeneracy of Chum, Werner and Matas 2005).

use nalgebra::{Matrix3, Vector3};

use super::camera::{Motion, Pair, rotation_angle};
use super::refine::{explain, is_inlier, refine, total_gain};
use super::{essential, homography};

/// Matches that a hypothesis is scored on; the most distinct ones.
const SCORED: usize = 160;

/// Samples of four matches.
const HOMOGRAPHY_TRIES: usize = 300;

/// Samples of five matches.
const ESSENTIAL_TRIES: usize = 110;

/// Hypotheses of each kind that are optimised.
const KEPT: usize = 5;

/// Weight of the prior of a motion.
const PRIOR_WEIGHT: f64 = 2.0;

/// Fixed seed: equal input gives equal output.
const SEED: u64 = 0x9E37_79B9_7F4A_7C15;

/// Small deterministic generator (Steele, Lea and Flood 2014, SplitMix).
pub(super) struct Random(u64);

impl Random {
    pub(super) fn new() -> Self {
        Self(SEED)
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// Uniform index below `n` (n at least 1).
    pub(super) fn below(&mut self, n: usize) -> usize {
        ((u128::from(self.next()) * n as u128) >> 64) as usize
    }

    /// `N` different pairs out of the first `pool`.
    fn sample<'p, const N: usize>(
        &mut self,
        pairs: &'p [Pair],
        pool: usize,
    ) -> Option<[&'p Pair; N]> {
        if pool < N || pairs.len() < pool {
            return None;
        }
        let mut chosen = [usize::MAX; N];
        let mut k = 0;
        while k < N {
            let index = self.below(pool);
            if !chosen.contains(&index) {
                chosen[k] = index;
                k += 1;
            }
        }
        let first = pairs.first()?;
        let mut out = [first; N];
        for (slot, index) in out.iter_mut().zip(chosen) {
            *slot = pairs.get(index)?;
        }
        Some(out)
    }
}

/// A candidate with its score, larger is better.
#[derive(Debug, Clone, Copy)]
pub(super) struct Scored {
    pub(super) motion: Motion,
    pub(super) score: f64,
}

/// Keeps the best few hypotheses in order.
struct Best<T>(Vec<(f64, T)>);

impl<T> Best<T> {
    fn offer(&mut self, score: f64, item: T) {
        let at = self.0.partition_point(|(s, _)| *s >= score);
        if at < KEPT {
            self.0.insert(at, (score, item));
            self.0.truncate(KEPT);
        }
    }

    fn worst(&self) -> f64 {
        if self.0.len() < KEPT {
            0.0
        } else {
            self.0.last().map_or(0.0, |(s, _)| *s)
        }
    }
}

/// The motions that explain the pairs best, best first. `pairs` are sorted, most distinct first;
/// `sigma` is the expected noise in bearing units.
pub(super) fn search(pairs: &[Pair], sigma: f64) -> Vec<Scored> {
    let mut random = Random::new();
    let scored = pairs.get(..pairs.len().min(SCORED)).unwrap_or(pairs);
    let mut starts = homography_starts(pairs, scored, sigma, &mut random);
    starts.extend(essential_starts(pairs, scored, sigma, &mut random));
    starts.extend(near_starts(scored, sigma));
    let mut found: Vec<Scored> = Vec::new();
    let mut coarse: Vec<Motion> = Vec::new();
    for start in &starts {
        let motion = refine(start, scored, 4.0 * sigma, 5);
        // Most starts of two photos that share much lead to the same place.
        if coarse.iter().any(|known| is_near(known, &motion)) {
            continue;
        }
        coarse.push(motion);
        let motion = refine(&motion, scored, 2.0 * sigma, 5);
        found.push(Scored {
            motion,
            score: total_gain(&motion, pairs, 1.5 * sigma) + log_prior(&motion),
        });
    }
    found.sort_by(|x, y| y.score.total_cmp(&x.score));
    found.truncate(4);
    for f in &mut found {
        f.motion = refine(&f.motion, pairs, 1.5 * sigma, 8);
        f.score = total_gain(&f.motion, pairs, sigma) + log_prior(&f.motion);
    }
    found.sort_by(|x, y| y.score.total_cmp(&x.score));
    found
}

/// Whether two motions are so alike that refining either leads to one place: a tenth of a degree, a hundredth of the
/// typical depth.
fn is_near(a: &Motion, b: &Motion) -> bool {
    let turned = rotation_angle(&(a.rotation * b.rotation.transpose()));
    turned < 0.1_f64.to_radians() && (a.translation - b.translation).norm() < 0.01
}

/// Motions near none, a step back and a step closer, fitted from far off: where most of the picture
/// was carried away or covered, the attempt to repeat the view is the likeliest start.
fn near_starts(scored: &[Pair], sigma: f64) -> Vec<Motion> {
    [0.0, 0.25, -0.3]
        .iter()
        .map(|step| {
            let start = Motion {
                translation: Vector3::z() * *step,
                ..Motion::identity()
            };
            let near = refine(&start, scored, 16.0 * sigma, 5);
            refine(&near, scored, 8.0 * sigma, 5)
        })
        .collect()
}

/// Natural logarithm of how likely a motion is between two photos that are worth comparing, up to a
/// constant: heavy-tailed in the rotation (scale 10 degrees) and in the displacement (scale 0.3 of the
/// typical depth). It decides only between motions that explain the matches about equally well.
fn log_prior(motion: &Motion) -> f64 {
    let turned = rotation_angle(&motion.rotation).to_degrees() / 10.0;
    let moved = motion.translation.norm() / 0.3;
    -PRIOR_WEIGHT * ((1.0 + turned * turned).ln() + (1.0 + moved * moved).ln())
}

/// Pool of the most distinct matches at try `k` of `of`.
fn pool(count: usize, k: usize, of: usize) -> usize {
    let least = count.min(12);
    least + (count - least) * k / of.max(1)
}

fn homography_starts(
    pairs: &[Pair],
    scored: &[Pair],
    sigma: f64,
    random: &mut Random,
) -> Vec<Motion> {
    let cut = (4.0 * sigma) * (4.0 * sigma);
    let mut best = Best(Vec::new());
    for k in 0..HOMOGRAPHY_TRIES {
        let Some(sample) = random.sample::<4>(pairs, pool(pairs.len(), k, HOMOGRAPHY_TRIES)) else {
            break;
        };
        let Some(h) = homography::from_four(sample) else {
            continue;
        };
        let score = homography_score(&h, scored, cut);
        if score > best.worst() {
            best.offer(score, h);
        }
    }
    best.0
        .iter()
        .flat_map(|(_, h)| homography::motions(&polish(h, scored, cut)))
        .collect()
}

fn homography_score(h: &Matrix3<f64>, pairs: &[Pair], cut: f64) -> f64 {
    pairs
        .iter()
        .filter_map(|p| homography::transfer(h, &p.a).map(|q| (q - p.b).norm_squared()))
        .map(|d| (1.0 - d / cut).max(0.0))
        .sum()
}

/// One least-squares pass over the matches near a homography.
fn polish(h: &Matrix3<f64>, pairs: &[Pair], cut: f64) -> Matrix3<f64> {
    let weights: Vec<f64> = pairs
        .iter()
        .map(|p| match homography::transfer(h, &p.a) {
            Some(q) => (1.0 - (q - p.b).norm_squared() / cut).max(0.0),
            None => 0.0,
        })
        .collect();
    if weights.iter().filter(|w| **w > 0.0).count() < 6 {
        return *h;
    }
    match homography::least_squares(pairs, &weights) {
        Some(better) if homography_score(&better, pairs, cut) > homography_score(h, pairs, cut) => {
            better
        }
        _ => *h,
    }
}

fn essential_starts(
    pairs: &[Pair],
    scored: &[Pair],
    sigma: f64,
    random: &mut Random,
) -> Vec<Motion> {
    let cut = (2.0 * sigma) * (2.0 * sigma);
    let mut best = Best(Vec::new());
    for k in 0..ESSENTIAL_TRIES {
        let Some(sample) = random.sample::<5>(pairs, pool(pairs.len(), k, ESSENTIAL_TRIES)) else {
            break;
        };
        for e in essential::from_five(sample) {
            let score: f64 = scored
                .iter()
                .map(|p| (1.0 - essential::sampson(&e, p) / cut).max(0.0))
                .sum();
            if score > best.worst() {
                best.offer(score, e);
            }
        }
    }
    best.0
        .iter()
        .filter_map(|(_, e)| essential_motion(e, scored, cut))
        .collect()
}

/// The motion of an essential matrix that puts most agreeing points before both cameras, with its
/// translation scaled so that their median inverse depth is 1.
fn essential_motion(e: &Matrix3<f64>, pairs: &[Pair], cut: f64) -> Option<Motion> {
    let near: Vec<&Pair> = pairs
        .iter()
        .filter(|p| essential::sampson(e, p) < cut)
        .collect();
    let (motion, mut depths) = essential::motions(e)
        .into_iter()
        .map(|m| {
            let depths: Vec<f64> = near
                .iter()
                .filter_map(|p| essential::inverse_depth(&m, p))
                .collect();
            (m, depths)
        })
        .max_by_key(|(_, depths)| depths.len())?;
    if depths.is_empty() {
        return None;
    }
    let middle = depths.len() / 2;
    let (_, median, _) = depths.select_nth_unstable_by(middle, f64::total_cmp);
    // A far scene has hardly any parallax; its unit translation is then a tiny one.
    let scale = median.clamp(1e-4, 5.0);
    Some(Motion {
        translation: motion.translation * scale,
        ..motion
    })
}

/// Indices of the pairs that agree with a motion.
pub(super) fn inliers(motion: &Motion, pairs: &[Pair], sigma: f64) -> Vec<usize> {
    (0..pairs.len())
        .filter(|i| {
            pairs
                .get(*i)
                .and_then(|p| explain(motion, p, sigma))
                .is_some_and(|e| is_inlier(&e))
        })
        .collect()
}
