//! From measured cells to the changed share, the map and the connected changed parts.

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};

use super::Change;
use super::cell::Cells;
use super::model::surely;
use super::texture::texture;
use crate::grid;

/// Sureness from which a cell counts as changed.
const CHANGED: f32 = 0.5;
/// Sureness from which a cell may have changed: small changes have few cells above the line between the two
/// answers, and more beside it.
const MAYBE_CHANGED: f32 = 0.47;
/// Cells of the smallest changed part that counts: less is a reflection or a find of chance.
const LEAST_CELLS: usize = 4;

/// A connected changed part of a's frame.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Region {
    /// Left, top, right and bottom edge as shares of a's width and height, 0..=1.
    pub frame: [f64; 4],
    /// Share of a's frame it covers, 0..=1.
    pub share: f64,
}

/// `None` if no cell could be compared.
pub(super) fn change(cells: &Cells) -> Option<Change> {
    let map = surely(cells);
    let compared = map.iter().flatten().count();
    if compared == 0 {
        return None;
    }
    let parts_from = |least: f32| {
        let is_marked = |p: &Option<f32>| p.is_some_and(|p| p >= least);
        let marked = map.iter().map(is_marked).collect();
        grid::parts(marked, cells.columns, LEAST_CELLS)
    };
    let parts = parts_from(CHANGED);
    let maybe: usize = parts_from(MAYBE_CHANGED).iter().map(Vec::len).sum();
    let changed: BTreeSet<usize> = parts.iter().flatten().copied().collect();
    let mut regions: Vec<Region> = parts.iter().map(|part| region(part, cells)).collect();
    regions.sort_by(|x, y| y.share.total_cmp(&x.share));
    Some(Change {
        share: changed.len() as f64 / compared as f64,
        at_most: maybe as f64 / compared as f64,
        compared: compared as f64 / map.len() as f64,
        columns: cells.columns,
        rows: cells.rows,
        map,
        regions,
        texture: texture(cells, &changed),
    })
}

fn region(part: &[usize], cells: &Cells) -> Region {
    let (columns, rows) = (cells.columns.max(1), cells.rows.max(1));
    let [left, top, right, bottom] = grid::bounds(part, columns).map(|edge| edge as f64);
    let (width, height) = (columns as f64, rows as f64);
    Region {
        frame: [left / width, top / height, right / width, bottom / height],
        share: part.len() as f64 / (columns * rows) as f64,
    }
}
