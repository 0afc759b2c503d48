//! What changed between two photos of one view, where and how much.
//!
//! Photo b is drawn in a's frame by the alignment of the viewpoint; each cell of a's frame is looked for
//! near its predicted place and compared there by structure and colour, both free of exposure and white
//! balance. No limits, no words.

mod cell;
mod field;
mod model;
mod region;
mod small;
mod warp;
mod window;

pub use cell::{CellMeasure, Cells};
pub use region::Region;
pub use small::SmallPicture;

use crate::measure::ViewpointShift;

/// Side of a cell, pixels of the small picture.
pub(super) const CELL: usize = 8;

/// What changed between two aligned photos.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct Change {
    /// Share of the comparable part of a's frame that changed, 0..=1.
    pub share: f64,
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
