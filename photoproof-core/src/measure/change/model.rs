//! How surely a cell changed: a logistic function of its measures and of their mean over 3 x 3 cells.

use super::cell::{CellMeasure, Cells};

/// Measures of one cell that are weighed, each 0 for a cell that b repeats in full.
const TERMS: usize = 9;

/// Constant of the logistic function.
const CONSTANT: f32 = -6.553;
/// Weights of a cell's own terms. Fitted by logistic regression on the cells of 99 pairs of two rendered houses
/// with known truth; a third house was kept aside (`examples/change_report`).
const OWN: [f32; TERMS] = [
    0.636, 0.2, -0.126, 0.264, 8.906, -4.331, -0.287, 1.109, -0.158,
];
/// Weights of the mean terms of the 3 x 3 cells around; same origin.
const AROUND: [f32; TERMS] = [
    1.937, -0.614, -0.012, -3.643, 10.871, -10.33, -0.893, 2.429, 0.09,
];

/// What b leaves unexplained of a cell. Structure: the part of each contrast that does not correlate, as a
/// logarithm of luma levels; a plain wall has none to explain.
fn terms(cell: &CellMeasure) -> [f32; TERMS] {
    let correlation = cell.correlation.clamp(0.0, 1.0);
    let unexplained = (1.0 - correlation * correlation).sqrt();
    let [a, b] = cell
        .contrast
        .map(|contrast| (contrast * unexplained).ln_1p());
    let (high, low) = (a.max(b), a.min(b));
    let colour = cell.colour.min(0.6);
    let light = cell.light.abs().min(1.0);
    let contrast = cell.contrast.iter().fold(0.0f32, |most, c| most.max(*c));
    [
        high,
        low,
        high * high,
        correlation,
        colour,
        colour * colour,
        light,
        light * light,
        contrast.ln_1p(),
    ]
}

/// How surely each cell changed, 0..=1; `None` where nothing was compared.
pub(super) fn surely(cells: &Cells) -> Vec<Option<f32>> {
    let terms: Vec<Option<[f32; TERMS]>> = cells
        .list
        .iter()
        .map(|cell| cell.as_ref().map(terms))
        .collect();
    (0..terms.len())
        .map(|index| {
            let own = terms.get(index)?.as_ref()?;
            let around = mean_around(&terms, index, cells);
            let dot = |w: &[f32; TERMS], t: &[f32; TERMS]| -> f32 {
                w.iter().zip(t).map(|(w, t)| w * t).sum()
            };
            let sum = CONSTANT + dot(&OWN, own) + dot(&AROUND, &around);
            Some(1.0 / (1.0 + (-sum).exp()))
        })
        .collect()
}

fn mean_around(terms: &[Option<[f32; TERMS]>], index: usize, cells: &Cells) -> [f32; TERMS] {
    let columns = cells.columns.max(1);
    let (column, row) = (index % columns, index / columns);
    let (mut sums, mut count) = ([0.0; TERMS], 0.0f32);
    for y in row.saturating_sub(1)..=(row + 1).min(cells.rows.saturating_sub(1)) {
        for x in column.saturating_sub(1)..=(column + 1).min(columns - 1) {
            if let Some(Some(terms)) = terms.get(y * columns + x) {
                for (sum, term) in sums.iter_mut().zip(terms) {
                    *sum += term;
                }
                count += 1.0;
            }
        }
    }
    sums.map(|sum| sum / count.max(1.0))
}
