//! Keypoints of a photo, small enough to keep for good: enough to confirm a lead, too little to draw a
//! picture from.

use crate::measure::copy::signature::{self, Laid, PlacedSignature, placed_signatures, word_of};
use crate::measure::{CopyMeasure, Features};

/// Keypoints kept of a photo.
const KEPT: usize = 160;
/// Bytes of one keypoint: x and y as shares of the frame in 1/65535, signature.
const BYTES: usize = 12;

/// Positions and signatures of the strongest keypoints of a photo.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct CompactFeatures {
    width: u16,
    height: u16,
    points: Vec<(u16, u16, u64)>,
}

impl CompactFeatures {
    /// Reduces the features of a photo.
    #[must_use]
    pub fn new(features: &Features) -> Self {
        let share =
            |v: f64, side: u32| (v / f64::from(side.max(1)) * 65535.0).clamp(0.0, 65535.0) as u16;
        Self {
            width: features.width.min(65535) as u16,
            height: features.height.min(65535) as u16,
            points: placed_signatures(features, KEPT)
                .iter()
                .map(|p| {
                    (
                        share(p.x, features.width),
                        share(p.y, features.height),
                        p.signature,
                    )
                })
                .collect(),
        }
    }

    /// Number of keypoints.
    #[must_use]
    pub fn len(&self) -> usize {
        self.points.len()
    }

    /// Whether there is none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.points.is_empty()
    }

    /// As bytes: width, height, then x, y and signature of each keypoint, little-endian.
    #[must_use]
    pub fn to_bytes(&self) -> Vec<u8> {
        let mut out = Vec::with_capacity(4 + self.points.len() * BYTES);
        out.extend(self.width.to_le_bytes());
        out.extend(self.height.to_le_bytes());
        for (x, y, signature) in &self.points {
            out.extend(x.to_le_bytes());
            out.extend(y.to_le_bytes());
            out.extend(signature.to_le_bytes());
        }
        out
    }

    /// Reads [`CompactFeatures::to_bytes`]; a broken tail is left out.
    #[must_use]
    pub fn from_bytes(bytes: &[u8]) -> Self {
        let number = |part: &[u8]| {
            part.iter()
                .rev()
                .fold(0u64, |sum, b| sum << 8 | u64::from(*b))
        };
        let (head, rest) = bytes.split_at(bytes.len().min(4));
        let (width, height) = head.split_at(head.len().min(2));
        Self {
            width: number(width) as u16,
            height: number(height) as u16,
            points: rest
                .chunks_exact(BYTES)
                .map(|p| {
                    let (x, rest) = p.split_at(2);
                    let (y, signature) = rest.split_at(2);
                    (number(x) as u16, number(y) as u16, number(signature))
                })
                .collect(),
        }
    }

    /// The words of the strongest keypoints, for leads to parts.
    pub(super) fn words(&self) -> impl Iterator<Item = u32> {
        self.points
            .iter()
            .map(|(_, _, signature)| word_of(*signature))
    }

    /// The copy measure of `asked`, laid as one of its turns, against this photo, if geometry confirms that it shows
    /// the same picture.
    pub(super) fn confirm(&self, asked: &Laid) -> Option<CopyMeasure> {
        let size = [f64::from(self.width), f64::from(self.height)];
        let kept: Vec<PlacedSignature> = self
            .points
            .iter()
            .map(|(x, y, signature)| PlacedSignature {
                x: f64::from(*x) / 65535.0 * size[0],
                y: f64::from(*y) / 65535.0 * size[1],
                signature: *signature,
            })
            .collect();
        signature::confirm((&kept, size), asked)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bytes_keep_everything_and_broken_bytes_do_no_harm() {
        let features = CompactFeatures {
            width: 1024,
            height: 768,
            points: vec![(1, 2, 3), (65535, 0, u64::MAX)],
        };
        let bytes = features.to_bytes();
        assert_eq!(CompactFeatures::from_bytes(&bytes), features);
        for cut in 0..bytes.len() {
            assert!(CompactFeatures::from_bytes(&bytes[..cut]).len() <= 2);
        }
    }
}
