//! Features of a turned or mirrored picture, without the picture.
//!
//! Upright descriptors turn exactly: cells and directions change places.

use std::f32::consts::{FRAC_PI_2, PI, TAU};

use super::{DESCRIPTOR_LEN, Feature, Features};

/// One of the eight ways to lay a picture: mirrored left to right first, if at all, then turned
/// clockwise by quarter turns.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Turn {
    /// Whether left and right change places first.
    pub mirrored: bool,
    /// Quarter turns clockwise, 0..=3.
    pub quarters: u8,
}

impl Turn {
    /// All eight, the unchanged picture first.
    pub const ALL: [Turn; 8] = [
        Turn::new(false, 0),
        Turn::new(false, 1),
        Turn::new(false, 2),
        Turn::new(false, 3),
        Turn::new(true, 0),
        Turn::new(true, 1),
        Turn::new(true, 2),
        Turn::new(true, 3),
    ];

    const fn new(mirrored: bool, quarters: u8) -> Self {
        Self { mirrored, quarters }
    }
}

impl Features {
    /// The features of this picture laid as `turn` says.
    #[must_use]
    pub fn turned(&self, turn: Turn) -> Self {
        let mut result = if turn.mirrored {
            self.mirrored()
        } else {
            self.clone()
        };
        for _ in 0..turn.quarters % 4 {
            result = result.quarter_turned();
        }
        result
    }

    /// The features of the picture mirrored left to right.
    #[must_use]
    pub fn mirrored(&self) -> Self {
        let width = self.width as f32;
        self.mapped((self.width, self.height), |feature| {
            let mut new = feature.clone();
            new.keypoint.x = width - feature.keypoint.x;
            new.keypoint.angle = wrapped(PI - feature.keypoint.angle);
            new.descriptor = permuted(&feature.descriptor, |row, column, bin| {
                (row, 3 - column, (12 - bin) % 8)
            });
            new
        })
    }

    /// The features of the picture turned clockwise by 90 degrees.
    fn quarter_turned(&self) -> Self {
        let height = self.height as f32;
        self.mapped((self.height, self.width), |feature| {
            let mut new = feature.clone();
            new.keypoint.x = height - feature.keypoint.y;
            new.keypoint.y = feature.keypoint.x;
            new.keypoint.angle = wrapped(feature.keypoint.angle + FRAC_PI_2);
            new.descriptor = permuted(&feature.descriptor, |row, column, bin| {
                (column, 3 - row, (bin + 2) % 8)
            });
            new
        })
    }

    fn mapped(&self, (width, height): (u32, u32), map: impl Fn(&Feature) -> Feature) -> Self {
        Self {
            list: self.list.iter().map(map).collect(),
            width,
            height,
            focal_px: self.focal_px,
        }
    }
}

/// Moves each value from (row, column, direction) to where `target` says.
fn permuted(
    descriptor: &[u8; DESCRIPTOR_LEN],
    target: impl Fn(usize, usize, usize) -> (usize, usize, usize),
) -> [u8; DESCRIPTOR_LEN] {
    let mut result = [0; DESCRIPTOR_LEN];
    for (index, &value) in descriptor.iter().enumerate() {
        let (row, column, bin) = target(index / 32, index / 8 % 4, index % 8);
        result[row * 32 + column * 8 + bin] = value;
    }
    result
}

/// `angle` brought into -pi..=pi.
fn wrapped(angle: f32) -> f32 {
    if angle > PI {
        angle - TAU
    } else if angle < -PI {
        angle + TAU
    } else {
        angle
    }
}
