//! Perceptual hashes of a picture in all eight orientations. A small distance is a lead, never a proof:
//! bare rooms look alike.

use image::{GrayImage, imageops};
use img_hash::{HashAlg, HasherConfig};
use serde::{Deserialize, Serialize};

use crate::ingest::reduce::smaller_gray;
use crate::measure::feature::Turn;

/// Side of the square that is hashed. Stretching to a square first lets turns commute with hashing.
const SIDE: u32 = 64;

/// Bits of one hash.
pub const HASH_BITS: u32 = 256;

/// Two perceptual hashes of one picture, 256 bits each.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Default, Serialize, Deserialize,
)]
pub struct PerceptualHash {
    /// Sign of the horizontal luma gradient on a 16 x 16 grid.
    pub gradient: [u64; 4],
    /// Low frequencies of the cosine transform above or below their median, 16 x 16.
    pub cosine: [u64; 4],
}

/// The hashes of a picture laid in each of the eight ways of [`Turn::ALL`], in that order.
pub type TurnedHashes = [PerceptualHash; 8];

/// Number of bits in which two 256-bit hashes differ, 0..=256.
#[must_use]
pub fn hamming(a: &[u64; 4], b: &[u64; 4]) -> u32 {
    a.iter().zip(b).map(|(x, y)| (x ^ y).count_ones()).sum()
}

impl PerceptualHash {
    /// Hashes a square picture.
    fn of_square(square: &GrayImage) -> Self {
        let gradient = HasherConfig::with_bytes_type::<[u8; 32]>()
            .hash_alg(HashAlg::Gradient)
            .hash_size(16, 16)
            .to_hasher();
        let cosine = HasherConfig::with_bytes_type::<[u8; 32]>()
            .hash_alg(HashAlg::Median)
            .hash_size(16, 16)
            .preproc_dct()
            .to_hasher();
        Self {
            gradient: words(gradient.hash_image(square).as_bytes()),
            cosine: words(cosine.hash_image(square).as_bytes()),
        }
    }

    /// The smaller of the two distances, 0..=256.
    #[must_use]
    pub fn distance(&self, other: &Self) -> u32 {
        hamming(&self.gradient, &other.gradient).min(hamming(&self.cosine, &other.cosine))
    }
}

/// Hashes `gray` as it stands and in its seven other orientations.
#[must_use]
pub fn turned_hashes(gray: &GrayImage) -> TurnedHashes {
    if gray.width() == 0 || gray.height() == 0 {
        return TurnedHashes::default();
    }
    let square = smaller_gray(gray, (SIDE, SIDE)).unwrap_or_else(|| gray.clone());
    Turn::ALL.map(|turn| PerceptualHash::of_square(&laid(&square, turn)))
}

/// The picture laid as `turn` says.
fn laid(picture: &GrayImage, turn: Turn) -> GrayImage {
    let mirrored = if turn.mirrored {
        imageops::flip_horizontal(picture)
    } else {
        picture.clone()
    };
    match turn.quarters % 4 {
        1 => imageops::rotate90(&mirrored),
        2 => imageops::rotate180(&mirrored),
        3 => imageops::rotate270(&mirrored),
        _ => mirrored,
    }
}

fn words(bytes: &[u8]) -> [u64; 4] {
    let mut out = [0; 4];
    for (word, chunk) in out.iter_mut().zip(bytes.chunks_exact(8)) {
        *word = chunk
            .iter()
            .rev()
            .fold(0, |sum, &b| sum << 8 | u64::from(b));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::Luma;

    fn picture() -> GrayImage {
        GrayImage::from_fn(120, 90, |x, y| {
            Luma([((x * x / 60 + y * 2 + (x / 17) * (y / 13) * 9) % 256) as u8])
        })
    }

    #[test]
    fn a_turned_picture_has_the_turned_hash() {
        let hashes = turned_hashes(&picture());
        for (turn, hash) in Turn::ALL.iter().zip(&hashes) {
            let turned = turned_hashes(&laid(&picture(), *turn));
            assert!(hash.distance(&turned[0]) <= 8, "{turn:?}");
        }
    }

    #[test]
    fn distance_is_symmetric_and_zero_on_itself() {
        let [a, b, ..] = turned_hashes(&picture());
        assert_eq!(a.distance(&a), 0);
        assert_eq!(a.distance(&b), b.distance(&a));
        assert!(a.distance(&b) > 0);
        assert_eq!(hamming(&[u64::MAX; 4], &[0; 4]), HASH_BITS);
    }

    #[test]
    fn an_empty_picture_does_not_panic() {
        assert_eq!(
            turned_hashes(&GrayImage::new(0, 0)),
            TurnedHashes::default()
        );
    }
}
