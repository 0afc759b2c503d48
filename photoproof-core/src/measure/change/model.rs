//! How surely a cell changed: a logistic function of its measures and of their means over the cells around it.

use super::cell::{CellMeasure, Cells};

/// Measures of one cell that are weighed, each 0 for a cell that b repeats in full.
const TERMS: usize = 9;

/// Constant of the logistic function.
const CONSTANT: f32 = -15.399;
/// Sides of the squares of cells around a cell whose mean terms are weighed, and their weights; the first is the cell
/// itself. Fitted by logistic regression on the cells of 102 pairs of six rendered houses with known truth
/// (`examples/change_report`); fitted on five of them, it misses the truth of the sixth by 2.5 points in the mean.
const WEIGHTS: [(usize, [f32; TERMS]); 4] = [
    (
        1,
        [
            0.218, 0.126, -0.02, 0.272, 9.429, -7.157, 0.435, 0.214, -0.305,
        ],
    ),
    (
        3,
        [
            4.916, 0.624, -0.442, -1.517, 11.4, -13.3, 0.118, 3.765, -0.73,
        ],
    ),
    (
        5,
        [
            4.242, 0.135, -0.702, -1.375, 4.585, -11.79, -0.881, -1.918, -1.179,
        ],
    ),
    (
        9,
        [
            5.811, -2.039, -0.807, -1.262, -15.466, 26.107, -2.947, 1.527, -0.437,
        ],
    ),
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
    let weighed = |index: usize| -> f32 {
        WEIGHTS
            .iter()
            .map(|(side, weights)| {
                let mean = mean_around(&terms, index, cells, side / 2);
                weights.iter().zip(mean).map(|(w, t)| w * t).sum::<f32>()
            })
            .sum()
    };
    terms
        .iter()
        .enumerate()
        .map(|(index, own)| {
            own.as_ref()?;
            Some(1.0 / (1.0 + (-CONSTANT - weighed(index)).exp()))
        })
        .collect()
}

/// Mean terms of the compared cells up to `reach` cells away in column and row.
fn mean_around(
    terms: &[Option<[f32; TERMS]>],
    index: usize,
    cells: &Cells,
    reach: usize,
) -> [f32; TERMS] {
    let columns = cells.columns.max(1);
    let (column, row) = (index % columns, index / columns);
    let (mut sums, mut count) = ([0.0; TERMS], 0.0f32);
    for y in row.saturating_sub(reach)..=(row + reach).min(cells.rows.saturating_sub(1)) {
        for x in column.saturating_sub(reach)..=(column + reach).min(columns - 1) {
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
