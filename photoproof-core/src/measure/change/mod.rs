//! What changed between two photos of one view, where and how much.
//!
//! Photo b is drawn in a's frame by the alignment of the viewpoint; each cell of a's frame is looked for
//! near its predicted place and compared there by structure and colour, both free of exposure and white
//! balance. No limits, no words.

mod cell;
mod field;
mod model;
mod region;
mod segments;
mod small;
mod surfaces;
mod texture;
mod warp;
mod window;

pub use cell::{CellMeasure, Cells};
pub use region::Region;
pub use small::SmallPicture;
pub use surfaces::OtherSurfaces;
pub use texture::Texture;

use serde::{Deserialize, Serialize};

use crate::measure::ViewpointShift;

/// Side of a cell, pixels of the small picture.
pub(super) const CELL: usize = 8;

/// What changed between two aligned photos.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct Change {
    /// Share of the comparable part of a's frame that changed, 0..=1: the best estimate.
    pub share: f64,
    /// Share of the comparable part of a's frame that may have changed, 0..=1 and not below `share`: what to
    /// judge by when the question is whether anything changed.
    pub at_most: f64,
    /// Share of a's frame that could be compared, 0..=1.
    pub compared: f64,
    /// Columns of the map over a's frame.
    pub columns: usize,
    /// Rows of the map over a's frame.
    pub rows: usize,
    /// How surely each cell changed, row by row, 0..=1; `None` where nothing could be compared.
    pub map: Vec<Option<f32>>,
    /// Connected changed parts, the largest first.
    pub regions: Vec<Region>,
    /// Texture of what changed in the lower part of a's frame; `None` where too little did.
    pub texture: Option<Texture>,
}

impl Change {
    /// Compares two photos of one view, aligned by `shift` (from a to b). `None` if nothing of a's frame
    /// could be compared.
    #[must_use]
    pub fn between(a: &SmallPicture, b: &SmallPicture, shift: &ViewpointShift) -> Option<Self> {
        let cells = cells(a, b, shift);
        region::change(&cells)
    }
}

/// Measures every cell of a's frame; see [`CellMeasure`].
#[must_use]
pub fn cells(a: &SmallPicture, b: &SmallPicture, shift: &ViewpointShift) -> Cells {
    cell::measure(a, b, &shift.alignment)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ingest::Pixels;
    use image::{Rgb, RgbImage};

    /// A tiled floor under a plain wall; `debris` adds a coloured heap of stripes over an eighth of the frame,
    /// `gain` is the exposure.
    fn room(debris: bool, gain: f32) -> SmallPicture {
        let rgb = RgbImage::from_fn(384, 288, |x, y| {
            let tile = (x / 12 * 7 + y / 12 * 13) % 5;
            let value = if y < 120 {
                190.0
            } else {
                90.0 + 12.0 * tile as f32
            };
            let heap = debris && (96..240).contains(&x) && (144..240).contains(&y);
            let [r, g, b] = if heap {
                let stripe = if (x + 2 * y) / 9 % 2 == 0 {
                    40.0
                } else {
                    150.0
                };
                [stripe, 0.6 * stripe, 0.3 * stripe]
            } else {
                [value, value, 0.9 * value]
            };
            Rgb([r, g, b].map(|v| (v * gain).min(255.0) as u8))
        });
        SmallPicture::new(&Pixels::new(rgb, 384, 288))
    }

    fn share(a: &SmallPicture, b: &SmallPicture) -> f64 {
        let same = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];
        region::change(&cell::measure(a, b, &same)).unwrap().share
    }

    #[test]
    fn another_exposure_is_no_change() {
        assert!(share(&room(false, 1.0), &room(false, 0.7)) < 0.005);
    }

    #[test]
    fn what_was_removed_is_the_changed_share() {
        let truth = 144.0 * 96.0 / (384.0 * 288.0);
        let found = share(&room(true, 1.0), &room(false, 0.8));
        assert!((found - truth).abs() < 0.05, "{found} for {truth}");
    }

    #[test]
    fn a_heap_that_came_or_went_changes_the_texture_of_the_floor() {
        let same = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];
        let texture = |a: bool, b: bool| {
            let cells = cell::measure(&room(a, 1.0), &room(b, 0.8), &same);
            region::change(&cells).unwrap().texture
        };
        let (came, went) = (texture(false, true).unwrap(), texture(true, false).unwrap());
        assert!(came.growth > 1.5 && came.share > 0.1, "{came:?}");
        assert!(went.growth < 1.0 / 1.5 && went.share > 0.1, "{went:?}");
        assert_eq!(texture(true, true), None);
    }

    #[test]
    fn nothing_in_common_gives_no_answer() {
        let away = [[1.0, 0.0, 5000.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];
        let (a, b) = (room(true, 1.0), room(false, 1.0));
        assert!(region::change(&cell::measure(&a, &b, &away)).is_none());
    }
}
