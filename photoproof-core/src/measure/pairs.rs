//! Which pairs of photos are worth comparing, and their comparison.

use std::collections::BTreeSet;

use rayon::prelude::*;

use crate::error::Error;
use crate::ingest::{Photo, PhotoId};
use crate::measure::appearance::Appearance;
use crate::measure::{Comparison, Shelf, Viewpoint};

/// A photo is compared with at most this many others, the most alike first. Keeps the cost of a job
/// proportional to its photos.
pub const MAX_PARTNERS: usize = 24;

/// A compared pair; `a` comes first by phase, then by path.
#[derive(Debug, Clone)]
pub struct ComparedPair {
    /// The earlier photo.
    pub a: PhotoId,
    /// The later photo.
    pub b: PhotoId,
    /// Motion of b's camera against a's.
    pub viewpoint: Viewpoint,
}

/// Compares every candidate pair. `progress` is called with (done, total).
///
/// # Errors
/// If measures cannot be read back.
pub fn compare_pairs(
    photos: &[Photo],
    measures: &Shelf,
    comparison: &dyn Comparison,
    progress: &(dyn Fn(usize, usize) + Sync),
) -> Result<Vec<ComparedPair>, Error> {
    let pairs = candidate_pairs(photos, measures)?;
    compare(&pairs, measures, comparison, progress)
}

/// Compares given pairs of photo indices, in their order.
///
/// # Errors
/// If measures cannot be read back.
pub fn compare(
    pairs: &[(usize, usize)],
    measures: &Shelf,
    comparison: &dyn Comparison,
    progress: &(dyn Fn(usize, usize) + Sync),
) -> Result<Vec<ComparedPair>, Error> {
    let done = std::sync::atomic::AtomicUsize::new(0);
    pairs
        .par_iter()
        .map(|&(a, b)| {
            let viewpoint = comparison.viewpoint(&*measures.get(a)?, &*measures.get(b)?);
            progress(
                done.fetch_add(1, std::sync::atomic::Ordering::Relaxed) + 1,
                pairs.len(),
            );
            Ok(ComparedPair {
                a: PhotoId(a),
                b: PhotoId(b),
                viewpoint,
            })
        })
        .collect()
}

/// Pairs worth comparing, as indices, sorted. The earlier phase comes first in each pair.
fn candidate_pairs(photos: &[Photo], measures: &Shelf) -> Result<Vec<(usize, usize)>, Error> {
    let mut partners: Vec<Vec<usize>> = (0..photos.len())
        .map(|i| {
            (0..photos.len())
                .filter(|&j| j != i && may_share_view(&photos[i], &photos[j]))
                .collect()
        })
        .collect();
    // Labels may leave few enough of them.
    if partners.iter().any(|of_one| of_one.len() > MAX_PARTNERS) {
        let appearance = Appearance::new(measures)?;
        partners.par_iter_mut().enumerate().for_each(|(i, of_one)| {
            let ranked = of_one.iter().map(|&j| (appearance.similarity(i, j), j));
            let mut ranked: Vec<(f32, usize)> = ranked.collect();
            ranked.sort_by(|x, y| y.0.total_cmp(&x.0).then(x.1.cmp(&y.1)));
            let most_alike = ranked.into_iter().take(MAX_PARTNERS);
            *of_one = most_alike.map(|(_, j)| j).collect();
        });
    }
    let pairs = partners.into_iter().enumerate();
    let pairs = pairs.flat_map(|(i, of_one)| of_one.into_iter().map(move |j| (i, j)));
    let pairs: BTreeSet<_> = pairs.map(|(i, j)| in_order(photos, i, j)).collect();
    Ok(pairs.into_iter().collect())
}

/// Whether the labels allow two photos to show one view in two phases.
fn may_share_view(a: &Photo, b: &Photo) -> bool {
    let areas_agree = match (&a.label.area, &b.label.area) {
        (Some(x), Some(y)) => x.eq_ignore_ascii_case(y),
        _ => true,
    };
    let phases_differ = match (a.label.phase, b.label.phase) {
        (Some(x), Some(y)) => x != y,
        _ => true,
    };
    areas_agree && phases_differ
}

/// The pair with the earlier phase first; without phases, by path.
fn in_order(photos: &[Photo], i: usize, j: usize) -> (usize, usize) {
    let (low, high) = (i.min(j), i.max(j));
    match (photos[low].label.phase, photos[high].label.phase) {
        (Some(x), Some(y)) if y < x => (high, low),
        _ => (low, high),
    }
}
