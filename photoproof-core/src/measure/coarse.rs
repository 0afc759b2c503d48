//! A coarse grid over a photo's frame, for telling where something speaks for or against a pair.

use crate::grid;

/// Columns and rows.
pub(super) const CELLS: [usize; 2] = [12, 9];

/// Marked cells: a row each from the top, the lowest bit is the leftmost cell.
pub(super) type Marks = [u16; CELLS[1]];

/// The marked cells: left, top, right and bottom edge as shares of the frame, each a run of cells of one row.
pub(super) fn frames(marks: &Marks) -> Vec<[f64; 4]> {
    let [columns, rows] = CELLS;
    let is_set = |index: &usize| marks[index / columns] >> (index % columns) & 1 == 1;
    let set: Vec<usize> = (0..columns * rows).filter(is_set).collect();
    let share = |edge: usize, of: usize| edge as f64 / of as f64;
    grid::rows(&set, columns)
        .into_iter()
        .map(|[left, top, right, bottom]| {
            [
                share(left, columns),
                share(top, rows),
                share(right, columns),
                share(bottom, rows),
            ]
        })
        .collect()
}

/// Marks a cell by its index, row by row.
pub(super) fn mark(marks: &mut Marks, cell: usize) {
    marks[cell / CELLS[0]] |= 1 << (cell % CELLS[0]);
}

/// The cells of which at least half of a finer map is marked.
pub(super) fn marks(marked: &[bool], columns: usize) -> Marks {
    let rows = marked.len() / columns.max(1);
    let mut counts = [[0u32; 2]; CELLS[0] * CELLS[1]];
    for (index, marked) in marked.iter().enumerate() {
        let (x, y) = (
            index % columns * CELLS[0] / columns,
            index / columns * CELLS[1] / rows,
        );
        let count = &mut counts[y * CELLS[0] + x];
        count[0] += 1;
        count[1] += u32::from(*marked);
    }
    let mut marks: Marks = [0; CELLS[1]];
    for (index, [all, marked]) in counts.into_iter().enumerate() {
        if marked > 0 && 2 * marked >= all {
            mark(&mut marks, index);
        }
    }
    marks
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_of_a_finer_map_are_those_half_filled() {
        // Four by four samples a cell; the first two cells whole, the third less than half, the last cell whole.
        let marked: Vec<bool> = (0..48 * 36)
            .map(|index| {
                let (x, y) = (index % 48, index / 48);
                (x < 9 && y < 4) || (x >= 44 && y >= 32)
            })
            .collect();
        let marks = marks(&marked, 48);
        assert_eq!(marks[0], 0b11);
        assert_eq!(marks[8], 1 << 11);
        assert_eq!(marks.iter().map(|row| row.count_ones()).sum::<u32>(), 3);
        assert_eq!(super::marks(&[], 0), [0; 9]);
    }
}
