//! Cells of text joined to lines.

/// Most cells that are looked at; a page full of print is no stamp.
const MOST_SPOTS: usize = 1500;

/// Most lines handed on.
const MOST_LINES: usize = 8;

/// Which way a line runs in the stored picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Axis {
    /// Along rows.
    Level,
    /// Along columns.
    Upright,
}

/// One cell that is text.
#[derive(Debug, Clone, Copy)]
pub(super) struct Spot {
    pub(super) axis: Axis,
    /// Position along the line, pixels.
    pub(super) along: f32,
    /// Long edge of the line with the smaller coordinate, pixels.
    pub(super) near: f32,
    /// The other long edge.
    pub(super) far: f32,
    /// Chance that it is text, 0..=1.
    pub(super) chance: f32,
    /// Chance of each of the eight directions.
    pub(super) directions: [f32; 8],
}

/// A line of text in pixels of the picture that was searched.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Line {
    pub(super) axis: Axis,
    /// First and last point along the line.
    pub(super) along: (f32, f32),
    /// Long edges: top and bottom of the digits for a level line.
    pub(super) across: (f32, f32),
    /// Sum of the cells' chances.
    pub(super) weight: f32,
    /// Mean chance of each direction.
    pub(super) directions: [f32; 8],
}

impl Line {
    /// Height of the digits, pixels.
    pub(super) fn height(&self) -> f32 {
        self.across.1 - self.across.0
    }
}

/// Joins cells to lines, heaviest first.
pub(super) fn lines(mut spots: Vec<Spot>) -> Vec<Line> {
    if spots.len() > MOST_SPOTS {
        spots.sort_by(|a, b| b.chance.total_cmp(&a.chance));
        spots.truncate(MOST_SPOTS);
    }
    spots.sort_by(|a, b| {
        (a.axis.cmp(&b.axis))
            .then(a.along.total_cmp(&b.along))
            .then(a.near.total_cmp(&b.near))
    });
    let mut groups: Vec<Vec<Spot>> = Vec::new();
    for spot in spots {
        // The group whose newest cells agree best with this one.
        let best = groups
            .iter()
            .enumerate()
            .filter_map(|(index, group)| Some((index, misfit(group, &spot)?)))
            .min_by(|a, b| a.1.total_cmp(&b.1));
        match best.and_then(|(index, _)| groups.get_mut(index)) {
            Some(group) => group.push(spot),
            None => groups.push(vec![spot]),
        }
    }
    let mut lines: Vec<Line> = groups.iter().filter_map(|group| line(group)).collect();
    lines.sort_by(|a, b| b.weight.total_cmp(&a.weight));
    lines.truncate(MOST_LINES);
    lines
}

/// How badly `spot` fits behind `group`; `None` if it is another line's.
fn misfit(group: &[Spot], spot: &Spot) -> Option<f32> {
    let last = group.last()?;
    if last.axis != spot.axis {
        return None;
    }
    let recent = group.iter().rev().take(6);
    let count = recent.clone().count() as f32;
    let near = recent.clone().map(|s| s.near).sum::<f32>() / count;
    let far = recent.map(|s| s.far).sum::<f32>() / count;
    let height = (far - near).max(4.0);
    let shift = (near - spot.near).abs() + (far - spot.far).abs();
    let gap = spot.along - last.along;
    (shift < 0.75 * height && gap <= 2.6 * height + 8.0).then_some(shift / height + 0.05 * gap)
}

fn line(group: &[Spot]) -> Option<Line> {
    let first = group.first()?;
    let last = group.last()?;
    let along = (first.along - 4.0, last.along + 4.0);
    let across = (
        median(group.iter().map(|spot| spot.near)),
        median(group.iter().map(|spot| spot.far)),
    );
    let height = across.1 - across.0;
    if height < 5.0 || along.1 - along.0 < 1.8 * height {
        return None;
    }
    let mut directions = [0.0; 8];
    for spot in group {
        for (sum, chance) in directions.iter_mut().zip(spot.directions) {
            *sum += chance / group.len() as f32;
        }
    }
    Some(Line {
        axis: first.axis,
        along,
        across,
        weight: group.iter().map(|spot| spot.chance).sum(),
        directions,
    })
}

fn median(values: impl Iterator<Item = f32>) -> f32 {
    let mut values: Vec<f32> = values.collect();
    values.sort_by(f32::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn spot(along: f32, near: f32, far: f32) -> Spot {
        Spot {
            axis: Axis::Level,
            along,
            near,
            far,
            chance: 0.9,
            directions: [1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0],
        }
    }

    #[test]
    fn two_lines_below_each_other_stay_two() {
        let mut spots: Vec<Spot> = (0..10)
            .map(|i| spot(8.0 * i as f32, 100.0, 116.0))
            .collect();
        spots.extend((0..8).map(|i| spot(8.0 * i as f32, 124.0, 140.0)));
        let lines = lines(spots);
        assert_eq!(lines.len(), 2);
        assert_eq!(lines[0].across, (100.0, 116.0));
        assert_eq!(lines[1].along, (-4.0, 60.0));
    }

    #[test]
    fn a_word_gap_does_not_split_a_line_and_a_wide_gap_does() {
        let at = |xs: &[f32]| lines(xs.iter().map(|&x| spot(x, 10.0, 26.0)).collect()).len();
        assert_eq!(at(&[0.0, 8.0, 16.0, 24.0, 56.0, 64.0, 72.0, 80.0]), 1);
        assert_eq!(at(&[0.0, 8.0, 16.0, 24.0, 156.0, 164.0, 172.0, 180.0]), 2);
    }
}
