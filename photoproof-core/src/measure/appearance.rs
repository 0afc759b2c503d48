//! Which photos look alike enough to be worth comparing: votes of hashed descriptors.
//!
//! Random-hyperplane hashing (Charikar 2002) turns every descriptor into a few visual words; photos that
//! share rare words score high. It only orders candidates. It never decides anything.

use pulp::{Arch, Simd, WithSimd};
use rayon::prelude::*;

use crate::error::Error;
use crate::measure::Shelf;
use crate::measure::feature::{DESCRIPTOR_LEN, Features};

const TABLES: usize = 6;
const BITS: usize = 14;

/// Distinct words there can be; the table number is part of the word.
const WORDS: usize = TABLES << BITS;

/// Visual words of the photos of one job.
#[derive(Debug)]
pub(super) struct Appearance {
    photos: Vec<WordSet>,
    /// Squared weight of each word.
    weight: Vec<f32>,
    norm: Vec<f32>,
}

/// A set of words, one bit for each.
#[derive(Debug)]
struct WordSet(Box<[u64]>);

impl WordSet {
    fn of(words: &[u32]) -> Self {
        let mut set = vec![0; WORDS / 64];
        for word in words {
            if let Some(bits) = set.get_mut(*word as usize / 64) {
                *bits |= 1 << (word % 64);
            }
        }
        Self(set.into_boxed_slice())
    }

    /// The words that both hold, in ascending order.
    fn common<'a>(&'a self, other: &'a Self) -> impl Iterator<Item = usize> + 'a {
        let both = self.0.iter().zip(&other.0).map(|(x, y)| x & y);
        both.enumerate().flat_map(|(at, mut bits)| {
            std::iter::from_fn(move || {
                let bit = (bits != 0).then(|| bits.trailing_zeros() as usize)?;
                bits &= bits - 1;
                Some(at * 64 + bit)
            })
        })
    }
}

impl Appearance {
    /// Hashes the descriptors of every photo.
    pub(super) fn new(shelf: &Shelf) -> Result<Self, Error> {
        let planes = hyperplanes(&mean_descriptor(shelf)?);
        let photos: Result<Vec<WordSet>, Error> = (0..shelf.len())
            .into_par_iter()
            .map(|photo| Ok(WordSet::of(&words_of(&shelf.get(photo)?.features, &planes))))
            .collect();
        let photos = photos?;
        let mut photos_with = vec![0u32; WORDS];
        for word in photos.iter().flat_map(|words| words.common(words)) {
            photos_with[word] += 1;
        }
        let total = photos.len() as f32;
        // Inverse document frequency (Sparck Jones 1972).
        let weight: Vec<f32> = photos_with
            .into_iter()
            .map(|count| (total / count.max(1) as f32).ln().max(0.0).powi(2))
            .collect();
        let norm = photos
            .iter()
            .map(|words| words.common(words).map(|word| weight[word]).sum::<f32>())
            .map(f32::sqrt);
        Ok(Self {
            norm: norm.collect(),
            photos,
            weight,
        })
    }

    /// Cosine similarity of the word sets of two photos, 0..=1.
    #[must_use]
    pub(super) fn similarity(&self, a: usize, b: usize) -> f32 {
        let common = self.photos[a].common(&self.photos[b]);
        let sum: f32 = common.map(|word| self.weight[word]).sum();
        let norm = self.norm[a] * self.norm[b];
        if norm > 0.0 { sum / norm } else { 0.0 }
    }
}

/// Words of one photo; the table number is part of the word.
fn words_of(features: &Features, planes: &[Plane]) -> Vec<u32> {
    Arch::new().dispatch(Sides(features, planes))
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
fn mean_descriptor(shelf: &Shelf) -> Result<[i16; DESCRIPTOR_LEN], Error> {
    let (mut sums, mut count) = ([0i64; DESCRIPTOR_LEN], 0i64);
    for photo in 0..shelf.len() {
        for feature in &shelf.get(photo)?.features.list {
            for (sum, value) in sums.iter_mut().zip(&feature.descriptor) {
                *sum += i64::from(*value);
            }
            count += 1;
        }
    }
    Ok(sums.map(|sum| (sum / count.max(1)) as i16))
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
