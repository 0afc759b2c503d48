//! From measured cells to the changed share, the map and the connected changed parts.

use serde::{Deserialize, Serialize};

use super::Change;
use super::cell::Cells;
use super::model::surely;

/// Sureness from which a cell counts as changed.
const CHANGED: f32 = 0.45;
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
    let parts = parts(&map, cells.columns);
    let changed: usize = parts.iter().map(Vec::len).sum();
    let mut regions: Vec<Region> = parts.iter().map(|part| region(part, cells)).collect();
    regions.sort_by(|x, y| y.share.total_cmp(&x.share));
    Some(Change {
        share: changed as f64 / compared as f64,
        compared: compared as f64 / map.len() as f64,
        columns: cells.columns,
        rows: cells.rows,
        map,
        regions,
    })
}

/// Changed cells that touch by their sides, as lists of cell indices; small ones left out.
fn parts(map: &[Option<f32>], columns: usize) -> Vec<Vec<usize>> {
    let mut open: Vec<bool> = map
        .iter()
        .map(|p| p.is_some_and(|p| p >= CHANGED))
        .collect();
    let mut take = |index: usize| open.get_mut(index).is_some_and(std::mem::take);
    let mut parts = Vec::new();
    for start in 0..map.len() {
        if !take(start) {
            continue;
        }
        let (mut part, mut next) = (vec![start], 0);
        while let Some(&at) = part.get(next) {
            next += 1;
            let column = at % columns.max(1);
            let sides = [
                (column > 0).then(|| at - 1),
                (column + 1 < columns).then_some(at + 1),
                at.checked_sub(columns),
                Some(at + columns),
            ];
            part.extend(sides.into_iter().flatten().filter(|&side| take(side)));
        }
        if part.len() >= LEAST_CELLS {
            parts.push(part);
        }
    }
    parts
}

fn region(part: &[usize], cells: &Cells) -> Region {
    let (columns, rows) = (cells.columns.max(1), cells.rows.max(1));
    let edge = |place: fn(usize, usize) -> usize, last: bool| {
        let places = part.iter().map(|&at| place(at, columns));
        let end = if last {
            places.max().map(|p| p + 1)
        } else {
            places.min()
        };
        end.unwrap_or(0) as f64
    };
    let (column, row) = (|at, columns| at % columns, |at, columns| at / columns);
    Region {
        frame: [
            edge(column, false) / columns as f64,
            edge(row, false) / rows as f64,
            edge(column, true) / columns as f64,
            edge(row, true) / rows as f64,
        ],
        share: part.len() as f64 / (columns * rows) as f64,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_touch_by_sides_and_small_ones_do_not_count() {
        let letters = "xx..x\nxx..x\n.....\nx...x\nxxx..";
        let map: Vec<Option<f32>> = letters
            .chars()
            .filter(|letter| *letter != '\n')
            .map(|letter| Some(if letter == 'x' { 0.9 } else { 0.1 }))
            .collect();
        let parts = parts(&map, 5);
        assert_eq!(parts, [vec![0, 1, 5, 6], vec![15, 20, 21, 22]]);
    }
}
