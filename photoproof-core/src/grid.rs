//! Marked cells of a grid, row by row, that touch by their sides.

/// The groups of at least `least` marked cells that touch, as lists of cell indices.
pub(crate) fn parts(mut marked: Vec<bool>, columns: usize, least: usize) -> Vec<Vec<usize>> {
    let count = marked.len();
    let mut take = |index: usize| marked.get_mut(index).is_some_and(std::mem::take);
    let mut parts = Vec::new();
    for start in 0..count {
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
        if part.len() >= least {
            parts.push(part);
        }
    }
    parts
}

/// First column and row of a part, and those behind its last ones.
pub(crate) fn bounds(part: &[usize], columns: usize) -> [usize; 4] {
    let columns = columns.max(1);
    let columns_of = || part.iter().map(|at| at % columns);
    let rows_of = || part.iter().map(|at| at / columns);
    [
        columns_of().min().unwrap_or(0),
        rows_of().min().unwrap_or(0),
        columns_of().max().map_or(0, |last| last + 1),
        rows_of().max().map_or(0, |last| last + 1),
    ]
}

/// The cells of a part, those side by side in a row as one: bounds as of [`bounds`], from the top down.
pub(crate) fn rows(part: &[usize], columns: usize) -> Vec<[usize; 4]> {
    let mut cells = part.to_vec();
    cells.sort_unstable();
    let side_by_side = |a: &usize, b: &usize| a + 1 == *b && !b.is_multiple_of(columns.max(1));
    cells
        .chunk_by(side_by_side)
        .map(|row| bounds(row, columns))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_touch_by_sides_and_small_ones_do_not_count() {
        let letters = "xx..x\nxx..x\n.....\nx...x\nxxx..";
        let marked: Vec<bool> = letters
            .chars()
            .filter(|letter| *letter != '\n')
            .map(|letter| letter == 'x')
            .collect();
        let parts = parts(marked, 5, 4);
        assert_eq!(parts, [vec![0, 1, 5, 6], vec![15, 20, 21, 22]]);
        assert_eq!(bounds(&parts[1], 5), [0, 3, 3, 5]);
        assert_eq!(rows(&parts[1], 5), [[0, 3, 1, 4], [0, 4, 3, 5]]);
        assert_eq!(rows(&[4, 5], 5), [[4, 0, 5, 1], [0, 1, 1, 2]]);
    }
}
