//! Whether the one JPEG was saved from the values of the other, whatever that took of its noise.
//!
//! Saving a picture of the same size again rounds each coefficient to the steps of its tables (ITU-T T.81, A.3.4), so
//! those of a copy are known beforehand, but for the rounding to whole pixels in between. Noise moves values across the
//! edges of the steps: those of another exposure that lie near an edge are often on its other side.

use std::cmp::Ordering;

use crate::ingest::CodedSample;

/// Distances from the edge of a coarse step, luma levels, at which values are asked: beyond the rounding to whole pixels
/// (0.3 and more), and within what noise moves.
const NEAR: std::ops::RangeInclusive<f64> = 0.8..=3.0;
/// Fewest values near edges that tell.
const MIN_ASKED: usize = 150;
/// Steps from which values that are rounded by equal ones stay what they are.
const LEAST_EQUAL: u16 = 4;
/// Share on the right side from which the one was saved from the other. Copies saved at 20, 30 and 40, with a stamp and
/// without, measured 0.968 at least; second exposures from a tripod 0.86 at most.
const SAVED_FROM: f64 = 0.95;

/// Whether the one was saved from the other; `None` where the two cannot be held against each other or too few values tell:
/// other sizes, stored as another turn, plain pictures.
pub(super) fn is_saved_from(a: &CodedSample, b: &CodedSample) -> Option<bool> {
    let turn = |sample: &CodedSample| sample.orientation.unwrap_or(1);
    if a.pixels != b.pixels || turn(a) != turn(b) {
        return None;
    }
    let (mut asked, mut right) = (0, 0);
    for (values_a, values_b) in common(a, b) {
        let of_a = values_a.iter().zip(&a.steps);
        let of_b = values_b.iter().zip(&b.steps);
        for answer in of_a.zip(of_b).enumerate().filter_map(agrees) {
            asked += 1;
            right += usize::from(answer);
        }
    }
    (asked >= MIN_ASKED).then_some(right as f64 >= SAVED_FROM * asked as f64)
}

/// A quantised value and its step.
type Value<'a> = (&'a i16, &'a u16);

/// Whether one of two values of a coefficient becomes the other when it is rounded to that one's coarser step; `None` where
/// it would whatever the noise. Of equal steps only what is not zero tells, and not the mean of a block, which in flat
/// parts of two pictures is the same.
fn agrees((index, (a, b)): (usize, (Value<'_>, Value<'_>))) -> Option<bool> {
    if a.1 == b.1 {
        let tells = index > 0 && *a.1 >= LEAST_EQUAL && (*a.0, *b.0) != (0, 0);
        return tells.then_some(a.0 == b.0);
    }
    let (fine, coarse) = if a.1 < b.1 { (a, b) } else { (b, a) };
    let step = f64::from(*coarse.1);
    let at = f64::from(*fine.0) * f64::from(*fine.1) / step;
    let to_edge = ((at - at.floor()) - 0.5).abs() * step;
    let there = f64::from(*coarse.0);
    NEAR.contains(&to_edge).then_some(at.round() == there)
}

/// Values of the blocks that both hold and not both show flat.
fn common<'a>(
    a: &'a CodedSample,
    b: &'a CodedSample,
) -> impl Iterator<Item = (&'a [i16], &'a [i16])> {
    let (mut a, mut b) = (a.blocks.iter().peekable(), b.blocks.iter().peekable());
    let both = std::iter::from_fn(move || {
        loop {
            match a.peek()?.0.cmp(&b.peek()?.0) {
                Ordering::Less => drop(a.next()),
                Ordering::Greater => drop(b.next()),
                Ordering::Equal => return Some((&a.next()?.1[..], &b.next()?.1[..])),
            }
        }
    });
    let is_flat = |values: &[i16]| values.iter().skip(1).all(|value| *value == 0);
    both.filter(move |(a, b)| !is_flat(a) || !is_flat(b))
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::ingest::{IngestOptions, read_photo_bytes};
    use image::{Rgb, RgbImage};

    /// A wall with pictures on it, and noise of its own by `seed`.
    fn wall(seed: u64) -> RgbImage {
        let mut state = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1;
        let mut draw = move || {
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            (state >> 40) as i32 % 5 - 2
        };
        RgbImage::from_fn(640, 480, |x, y| {
            let framed = x / 24 % 2 == 0 && y / 24 % 2 == 0;
            let level = if framed {
                60 + (x + y) / 6
            } else {
                120 + x / 16
            };
            let noise = draw() + draw();
            Rgb([(level as i32 + noise).clamp(0, 255) as u8; 3])
        })
    }

    fn saved(picture: &RgbImage, quality: u8) -> Vec<u8> {
        let mut file = Vec::new();
        image::codecs::jpeg::JpegEncoder::new_with_quality(&mut file, quality)
            .encode_image(picture)
            .unwrap();
        file
    }

    fn coded(file: &[u8]) -> CodedSample {
        let read = read_photo_bytes(file, "photo.jpg", &IngestOptions::default());
        read.unwrap().1.coded.unwrap()
    }

    fn again(file: &[u8], quality: u8) -> Vec<u8> {
        saved(&image::load_from_memory(file).unwrap().to_rgb8(), quality)
    }

    #[test]
    fn a_picture_saved_again_is_told_from_another_exposure_saved_alike() {
        for (once, then) in [(90, 30), (90, 60), (75, 75)] {
            let [first, second] = [1, 2].map(|seed| saved(&wall(seed), once));
            let says = |file: &[u8]| is_saved_from(&coded(&first), &coded(&again(file, then)));
            assert_eq!(says(&first), Some(true), "{once}, {then}");
            assert_eq!(says(&second), Some(false), "{once}, {then}");
        }
        let first = saved(&wall(1), 90);
        let copy = coded(&again(&first, 30));
        assert_eq!(is_saved_from(&copy, &coded(&first)), Some(true));
    }

    #[test]
    fn other_sizes_and_plain_pictures_say_nothing() {
        let first = saved(&wall(1), 90);
        let part = image::imageops::crop_imm(&wall(1), 0, 0, 632, 480).to_image();
        let part = coded(&saved(&part, 30));
        assert_eq!(is_saved_from(&coded(&first), &part), None);
        let mut turned = coded(&again(&first, 30));
        turned.orientation = Some(3);
        assert_eq!(is_saved_from(&coded(&first), &turned), None);
        let plain = RgbImage::from_pixel(640, 480, Rgb([231, 228, 220]));
        let (fine, coarse) = (saved(&plain, 90), saved(&plain, 30));
        assert_eq!(is_saved_from(&coded(&fine), &coded(&coarse)), None);
        assert_eq!(is_saved_from(&coded(&fine), &coded(&fine)), None);
    }
}
