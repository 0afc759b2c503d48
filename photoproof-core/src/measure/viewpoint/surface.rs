//! Planes among the measured inverse depths, and the depth of the one that a place lies on.
//!
//! The inverse depth of a plane is a linear function of the picture coordinates, so that walls, floors
//! and fronts of cupboards are planes over (x, y, inverse depth). They are found one after the other
//! by seeded samples of neighbours (Fischler and Bolles 1981) and least squares; a place belongs to the
//! plane that the measured points around it support. In the corner of a room a smooth fit would cut the
//! corner off; planes do not.

use nalgebra::{Matrix3, Vector2, Vector3};

use super::consensus::Random;
use super::depth::Sample;

/// Planes looked for.
const PLANES: usize = 8;

/// Samples of three tried for each plane.
const TRIES: usize = 120;

/// Points that a sample is scored on.
const SCORED: usize = 240;

/// Standard deviation of the inverse depth about a plane, share of it.
const ROUGHNESS: f64 = 0.03;

/// Least points of a plane, and least share of all.
const LEAST: (usize, f64) = (6, 0.03);

/// Standard deviation of the distance weight of a vote, share of the frame diagonal.
pub(super) const VOTE_REACH: f64 = 0.08;

/// Least sum of votes for an answer.
const LEAST_VOTES: f64 = 1.5;

/// Planes of a scene, as (inverse depth at the axis, slopes).
#[derive(Debug, Clone)]
pub(super) struct Planes(Vec<Vector3<f64>>);

/// The inverse depth that planes give a place.
#[derive(Debug, Clone, Copy)]
pub(super) struct Seated {
    pub(super) rho: f64,
    /// Spread of the answers of the planes that the neighbourhood supports.
    pub(super) sigma: f64,
}

fn row(at: Vector2<f64>) -> Vector3<f64> {
    Vector3::new(1.0, at.x, at.y)
}

/// Variance of a sample about its plane.
fn variance(s: &Sample) -> f64 {
    s.variance + (ROUGHNESS * s.rho.max(0.1)).powi(2)
}

/// Squared misfit of a sample, in standard deviations.
fn misfit(plane: &Vector3<f64>, s: &Sample) -> f64 {
    (s.rho - plane.dot(&row(s.at))).powi(2) / variance(s)
}

/// Squared misfit within which a point lies on a plane.
const ON_PLANE: f64 = 4.0;

impl Planes {
    /// Finds the planes, largest first. `diagonal` is the frame diagonal in bearing units.
    pub(super) fn find(samples: &[Sample], diagonal: f64) -> Self {
        let mut random = Random::new();
        let mut left: Vec<Sample> = samples.to_vec();
        let least = LEAST.0.max((samples.len() as f64 * LEAST.1) as usize);
        let mut planes = Vec::new();
        while planes.len() < PLANES && left.len() >= least {
            let Some(plane) = best_sample(&left, diagonal, &mut random) else {
                break;
            };
            let plane = (0..3).fold(plane, |plane, _| fit(&plane, &left).unwrap_or(plane));
            let before = left.len();
            left.retain(|s| misfit(&plane, s) >= ON_PLANE);
            if before - left.len() < least {
                break;
            }
            planes.push(plane);
        }
        Self(planes)
    }

    /// The inverse depth at a place by the votes of the samples around it; `None` where too few lie
    /// near.
    pub(super) fn at(&self, place: Vector2<f64>, samples: &[Sample], reach: f64) -> Option<Seated> {
        let mut votes = vec![0.0; self.0.len()];
        for s in samples {
            let nearness = (s.at - place).norm_squared() / (reach * reach);
            if nearness > 16.0 {
                continue;
            }
            let weight = (-0.5 * nearness).exp();
            for (vote, plane) in votes.iter_mut().zip(&self.0) {
                *vote += weight / (1.0 + misfit(plane, s));
            }
        }
        let values = || votes.iter().zip(self.0.iter().map(|p| p.dot(&row(place))));
        let (most, rho) = values().max_by(|x, y| x.0.total_cmp(y.0))?;
        if *most < LEAST_VOTES {
            return None;
        }
        let (sum, spread) = values().fold((0.0, 0.0), |(sum, spread), (vote, value)| {
            let w = vote * vote;
            (sum + w, spread + w * (value - rho).powi(2))
        });
        Some(Seated {
            rho,
            sigma: (spread / sum.max(1e-12)).sqrt(),
        })
    }
}

/// The plane through three neighbours that most samples lie on.
fn best_sample(samples: &[Sample], diagonal: f64, random: &mut Random) -> Option<Vector3<f64>> {
    let step = samples.len().div_ceil(SCORED).max(1);
    let mut best: Option<(f64, Vector3<f64>)> = None;
    for _ in 0..TRIES {
        let pick: [usize; 3] = std::array::from_fn(|_| random.below(samples.len()));
        let Some(plane) = through(pick.map(|i| samples.get(i)), diagonal) else {
            continue;
        };
        let score: f64 = samples
            .iter()
            .step_by(step)
            .map(|s| (1.0 - misfit(&plane, s) / ON_PLANE).max(0.0))
            .sum();
        if best.is_none_or(|(most, _)| score > most) {
            best = Some((score, plane));
        }
    }
    best.map(|(_, plane)| plane)
}

/// The plane through three samples that span enough of the frame.
fn through(pick: [Option<&Sample>; 3], diagonal: f64) -> Option<Vector3<f64>> {
    let [a, b, c] = pick;
    let (a, b, c) = (a?, b?, c?);
    let rows = Matrix3::from_rows(&[
        row(a.at).transpose(),
        row(b.at).transpose(),
        row(c.at).transpose(),
    ]);
    let spans = rows.determinant().abs() > 0.0015 * diagonal * diagonal;
    let inverse = rows.try_inverse().filter(|_| spans)?;
    Some(inverse * Vector3::new(a.rho, b.rho, c.rho))
}

/// Least squares over the samples on a plane.
fn fit(plane: &Vector3<f64>, samples: &[Sample]) -> Option<Vector3<f64>> {
    let (mut normal, mut right) = (Matrix3::zeros(), Vector3::zeros());
    for s in samples.iter().filter(|s| misfit(plane, s) < ON_PLANE) {
        let w = 1.0 / variance(s);
        let r = row(s.at);
        normal += r * r.transpose() * w;
        right += r * (s.rho * w);
    }
    Some(normal.try_inverse()? * right)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two walls that meet at x = 0, inverse depth least in the corner.
    fn corner() -> Vec<Sample> {
        let mut random = Random::new();
        let mut unit = || random.below(1000) as f64 / 1000.0 - 0.5;
        (0..120)
            .map(|_| {
                let at = Vector2::new(unit(), 0.8 * unit());
                Sample {
                    at,
                    rho: 0.7 + at.x.abs() + 0.004 * unit(),
                    variance: 1e-5,
                }
            })
            .collect()
    }

    #[test]
    fn corner_of_a_room_is_not_cut_off() {
        let samples = corner();
        let planes = Planes::find(&samples, 1.28);
        let seated = planes.at(Vector2::zeros(), &samples, VOTE_REACH * 1.28);
        let rho = seated.map(|s| s.rho);
        assert!(rho.is_some_and(|rho| (rho - 0.7).abs() < 0.01), "{rho:?}");
    }

    #[test]
    fn nothing_near_gives_no_answer() {
        let planes = Planes::find(&corner(), 1.28);
        assert!(planes.at(Vector2::new(5.0, 5.0), &corner(), 0.1).is_none());
    }
}
