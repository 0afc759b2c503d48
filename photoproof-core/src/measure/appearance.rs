//! Which photos look alike enough to be worth comparing: votes of hashed descriptors.
//!
//! Random-hyperplane hashing (Charikar 2002) turns every descriptor into a few visual words; photos that
//! share rare words score high. It only orders candidates. It never decides anything.

use std::collections::BTreeMap;

use pulp::{Arch, Simd, WithSimd};
use rayon::prelude::*;

use crate::measure::feature::{DESCRIPTOR_LEN, Features};

const TABLES: usize = 6;
const BITS: usize = 14;

/// Visual words of the photos of one job.
#[derive(Debug)]
pub(super) struct Appearance {
    words: Vec<Vec<u32>>,
    weight: BTreeMap<u32, f32>,
    norm: Vec<f32>,
}

impl Appearance {
    /// Hashes the descriptors of every photo.
    #[must_use]
    pub(super) fn new<'a>(photos: impl IntoIterator<Item = &'a Features>) -> Self {
        let photos: Vec<&Features> = photos.into_iter().collect();
        let planes = hyperplanes(&mean_descriptor(&photos));
        let words: Vec<Vec<u32>> = photos
            .par_iter()
            .map(|features| words_of(features, &planes))
            .collect();
        let mut photos_with: BTreeMap<u32, u32> = BTreeMap::new();
        for word in words.iter().flatten() {
            *photos_with.entry(*word).or_default() += 1;
        }
        let total = words.len() as f32;
        // Inverse document frequency (Sparck Jones 1972).
        let weight: BTreeMap<u32, f32> = photos_with
            .into_iter()
            .map(|(word, count)| (word, (total / count as f32).ln().max(0.0)))
            .collect();
        let norm = words
            .iter()
            .map(|words| {
                words
                    .iter()
                    .map(|word| weight[word].powi(2))
                    .sum::<f32>()
                    .sqrt()
            })
            .collect();
        Self {
            words,
            weight,
            norm,
        }
    }

    /// Cosine similarity of the word sets of two photos, 0..=1.
    #[must_use]
    pub(super) fn similarity(&self, a: usize, b: usize) -> f32 {
        let (mut i, mut j, mut sum) = (0, 0, 0.0);
        let (left, right) = (&self.words[a], &self.words[b]);
        while let (Some(x), Some(y)) = (left.get(i), right.get(j)) {
            match x.cmp(y) {
                std::cmp::Ordering::Less => i += 1,
                std::cmp::Ordering::Greater => j += 1,
                std::cmp::Ordering::Equal => {
                    sum += self.weight[x].powi(2);
                    i += 1;
                    j += 1;
                }
            }
        }
        let norm = self.norm[a] * self.norm[b];
        if norm > 0.0 { sum / norm } else { 0.0 }
    }
}

/// Sorted, distinct words of one photo; the table number is part of the word.
fn words_of(features: &Features, planes: &[Plane]) -> Vec<u32> {
    let mut words = Arch::new().dispatch(Sides(features, planes));
    words.sort_unstable();
    words.dedup();
    words
}

/// Features, and the planes of whose sides their words are made.
struct Sides<'a>(&'a Features, &'a [Plane]);

impl WithSimd for Sides<'_> {
    type Output = Vec<u32>;

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) -> Vec<u32> {
        let Self(features, planes) = self;
        let mut words = Vec::with_capacity(features.list.len() * TABLES);
        for feature in &features.list {
            let values = feature.descriptor.map(i16::from);
            for (table, planes) in (0..).zip(planes.chunks_exact(BITS)) {
                let word = planes.iter().fold(table, |word, plane| {
                    word << 1 | u32::from(plane.side(&values) > plane.middle)
                });
                words.push(word);
            }
        }
        words
    }
}

/// A hyperplane through the mean descriptor.
struct Plane {
    signs: [i16; DESCRIPTOR_LEN],
    /// Signed sum of the mean descriptor.
    middle: i16,
}

impl Plane {
    /// Signed sum of a descriptor: at most 128 times 127, which 16 bits hold.
    #[inline(always)]
    fn side(&self, values: &[i16; DESCRIPTOR_LEN]) -> i16 {
        let products = values.iter().zip(&self.signs).map(|(v, sign)| v * sign);
        products.sum()
    }
}

/// Mean descriptor of the job: planes through it split the descriptors evenly.
fn mean_descriptor(photos: &[&Features]) -> [i16; DESCRIPTOR_LEN] {
    let (mut sums, mut count) = ([0i64; DESCRIPTOR_LEN], 0i64);
    for feature in photos.iter().flat_map(|features| &features.list) {
        for (sum, value) in sums.iter_mut().zip(&feature.descriptor) {
            *sum += i64::from(*value);
        }
        count += 1;
    }
    sums.map(|sum| (sum / count.max(1)) as i16)
}

/// Fixed pseudo-random signs (splitmix64, Steele et al. 2014), the same on every run.
fn hyperplanes(centre: &[i16; DESCRIPTOR_LEN]) -> Vec<Plane> {
    let mut state = 0x7068_6f74_6f70_726fu64;
    let mut next = || {
        state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = state;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    };
    (0..TABLES * BITS)
        .map(|_| {
            let bits = [next(), next()];
            let signs = std::array::from_fn(|i| {
                if bits[i / 64] >> (i % 64) & 1 == 1 {
                    1
                } else {
                    -1
                }
            });
            let mut plane = Plane { signs, middle: 0 };
            plane.middle = plane.side(centre);
            plane
        })
        .collect()
}
