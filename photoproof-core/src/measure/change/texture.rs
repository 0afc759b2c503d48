//! How much more texture b has than a where it changed: things that lie about have edges, swept floors have few.

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};

use super::cell::{CellMeasure, Cells, median};

/// Where the lower part of the frame begins, share of its height: floors and what lies on them, in a camera held level.
const LOWER: f64 = 0.45;
/// Changed cells there from which on there is an answer.
const LEAST_CHANGED: usize = 5;
/// Correlation from which a cell counts as the same in both, contrast that it needs, and how many such cells tell how
/// sharp and how bright one photo is against the other.
const SAME: f32 = 0.8;
const LEAST_CONTRAST: f32 = 4.0;
const LEAST_SAME: usize = 20;
/// Contrast of noise, luma levels.
const NOISE: f64 = 2.0;

/// Texture of the changed cells in the lower part of a's frame.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct Texture {
    /// Mean contrast there in b by that in a, against the cells that are the same in both; 1 is as much.
    pub growth: f64,
    /// Share of the lower part that changed, 0..=1.
    pub share: f64,
}

/// `None` where too little changed there; `changed` are the changed cells by index.
pub(super) fn texture(cells: &Cells, changed: &BTreeSet<usize>) -> Option<Texture> {
    let first = (LOWER * cells.rows as f64) as usize * cells.columns;
    let lower = || {
        let all = cells.list.iter().enumerate().skip(first);
        all.filter_map(|(index, cell)| Some((index, cell.as_ref()?)))
    };
    let changed: Vec<&CellMeasure> = lower()
        .filter(|(index, _)| changed.contains(index))
        .map(|(_, cell)| cell)
        .collect();
    if changed.len() < LEAST_CHANGED {
        return None;
    }
    let mean = |photo: usize| {
        let sum: f64 = changed
            .iter()
            .map(|cell| f64::from(cell.contrast[photo]))
            .sum();
        sum / changed.len() as f64 + NOISE
    };
    Some(Texture {
        growth: mean(1) / mean(0) / usual(cells),
        share: changed.len() as f64 / lower().count() as f64,
    })
}

/// Contrast in b by that in a of what is the same in both; 1 where too little is.
fn usual(cells: &Cells) -> f64 {
    let is_same = |cell: &&CellMeasure| {
        cell.correlation > SAME && cell.contrast.iter().all(|c| *c > LEAST_CONTRAST)
    };
    let same = cells.list.iter().flatten().filter(is_same);
    if same.clone().count() < LEAST_SAME {
        return 1.0;
    }
    f64::from(median(same.map(|cell| cell.contrast[1] / cell.contrast[0])))
}
