//! Coded values that are kept to tell a saving of the same values from another exposure.

use serde::{Deserialize, Serialize};

use super::coefficients::{Coefficients, KEPT};

/// Most blocks that are kept.
const MOST: usize = 2048;

/// Low luma coefficients of a JPEG as coded, at places that are spread alike in every picture of one size.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct CodedSample {
    /// Width and height of the picture as stored, pixels.
    pub pixels: [u16; 2],
    /// Exif orientation by which it is turned upright.
    pub orientation: Option<u16>,
    /// Quantisation steps of the kept coefficients, in zigzag order: DC and the nine after it.
    pub steps: [u16; KEPT],
    /// Number of a block of 8 x 8 pixels, counted row by row, and its quantised coefficients; ascending.
    pub blocks: Vec<(u32, [i16; KEPT])>,
}

/// The blocks that come first by a multiplicative hash of their number (Knuth, TAOCP vol. 3, 6.4), so that two files of one
/// size keep the same ones as far as both were read.
pub(super) fn of(coefficients: &Coefficients, orientation: Option<u16>) -> CodedSample {
    let wide = u32::from(coefficients.size[0]);
    let blocks = coefficients.blocks.iter();
    let mut blocks: Vec<(u32, [i16; KEPT])> = blocks
        .map(|block| {
            let [column, row] = block.place.map(u32::from);
            (row * wide + column, block.values)
        })
        .collect();
    if blocks.len() > MOST {
        blocks.select_nth_unstable_by_key(MOST, |(number, _)| number.wrapping_mul(2_654_435_769));
        blocks.truncate(MOST);
    }
    blocks.sort_unstable_by_key(|(number, _)| *number);
    CodedSample {
        pixels: coefficients.pixels,
        orientation,
        steps: coefficients.steps,
        blocks,
    }
}
