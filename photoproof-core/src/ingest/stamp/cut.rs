//! Cuts a line of text out of a picture, turned so that it reads from left to right.

use image::RgbImage;

use super::place::{Axis, Line};
use super::reader::{DIGIT_HEIGHT, LINE_HEIGHT, Strip};

/// Widest line that is read, columns.
const MOST_WIDTH: usize = 900;

/// One of the eight ways a line can lie: mirror images and turns by quarters.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Direction(pub(super) usize);

impl Direction {
    /// Whether a line of this direction runs along `axis`.
    pub(super) fn lies(self, axis: Axis) -> bool {
        (self.0 < 4) == (axis == Axis::Level)
    }

    /// Whether the top of the text is at the larger coordinate across.
    pub(super) fn top_is_last(self) -> bool {
        self.flips().1
    }

    /// Whether reading runs against the coordinate along the line, and whether its top is at the larger
    /// coordinate across.
    fn flips(self) -> (bool, bool) {
        match self.0 {
            1 => (true, true),
            2 => (true, false),
            3 => (false, true),
            4 => (true, false),
            5 => (false, true),
            7 => (true, true),
            _ => (false, false),
        }
    }
}

/// How much more or less than the line itself is cut out.
#[derive(Debug, Clone, Copy)]
pub(super) struct Margin {
    /// Beyond both ends, digit heights.
    pub(super) ends: f32,
    /// Factor on the height.
    pub(super) zoom: f32,
}

/// Cuts `line`, found in a picture `scale` times as large as `picture` is now, out of `picture`.
pub(super) fn cut(
    picture: &RgbImage,
    scale: f32,
    line: &Line,
    direction: Direction,
    margin: Margin,
) -> Option<Strip> {
    let (width, height) = (picture.width() as f32, picture.height() as f32);
    let (length, breadth) = match line.axis {
        Axis::Level => (width, height),
        Axis::Upright => (height, width),
    };
    let digits = line.height() * scale;
    let ends = margin.ends * digits;
    let along = (
        (line.along.0 * scale - ends).max(0.0),
        (line.along.1 * scale + ends).min(length),
    );
    let middle = (line.across.0 + line.across.1) / 2.0 * scale;
    let half = digits * margin.zoom * LINE_HEIGHT as f32 / DIGIT_HEIGHT / 2.0;
    let across = ((middle - half).max(0.0), (middle + half).min(breadth));
    let columns = (along.1 - along.0) * DIGIT_HEIGHT / (digits * margin.zoom);
    if columns.is_nan() || columns < 12.0 || across.1 - across.0 < 4.0 {
        return None;
    }
    let columns = (columns.round() as usize).min(MOST_WIDTH);
    let mut weights_along = triangle(along, columns, length as usize);
    let mut weights_across = triangle(across, LINE_HEIGHT, breadth as usize);
    let (back, top_last) = direction.flips();
    if back {
        weights_along.reverse();
    }
    if top_last {
        weights_across.reverse();
    }
    let (by_x, by_y, transposed) = match line.axis {
        Axis::Level => (weights_along, weights_across, false),
        Axis::Upright => (weights_across, weights_along, true),
    };
    Some(resampled(picture, &by_x, &by_y, transposed))
}

/// First source sample and the weights from there on, for one target sample.
type Taps = (usize, Vec<f32>);

/// Triangle filter that widens with the reduction, as in training.
fn triangle((from, to): (f32, f32), count: usize, limit: usize) -> Vec<Taps> {
    let scale = (to - from) / count as f32;
    let support = scale.max(1.0);
    (0..count)
        .map(|index| {
            let centre = from + (index as f32 + 0.5) * scale;
            let first = (centre - support + 0.5).max(0.0) as usize;
            let last = ((centre + support + 0.5).max(0.0) as usize).min(limit);
            let mut weights: Vec<f32> = (first..last)
                .map(|i| (1.0 - ((i as f32 + 0.5 - centre) / support).abs()).max(0.0))
                .collect();
            let sum: f32 = weights.iter().sum();
            weights.iter_mut().for_each(|w| *w /= sum.max(1e-6));
            (first, weights)
        })
        .collect()
}

fn resampled(picture: &RgbImage, by_x: &[Taps], by_y: &[Taps], transposed: bool) -> Strip {
    let samples = picture.as_raw();
    let line = picture.width() as usize * 3;
    let width = if transposed { by_y.len() } else { by_x.len() };
    let mut out = vec![0.0f32; width * LINE_HEIGHT * 3];
    for (y, (first_row, rows)) in by_y.iter().enumerate() {
        // Rows are summed first: the sums serve every column.
        let mut sums = vec![0.0f32; line];
        for (row, weight) in (*first_row..).zip(rows) {
            let source = samples
                .get(row * line..(row + 1) * line)
                .unwrap_or_default();
            let (from, to) = span(by_x, source.len());
            let pairs = sums.iter_mut().zip(source).take(to).skip(from);
            for (sum, &value) in pairs {
                *sum += weight * f32::from(value);
            }
        }
        for (x, (first, columns)) in by_x.iter().enumerate() {
            let place = if transposed {
                x * width + y
            } else {
                y * width + x
            };
            let Some(target) = out.get_mut(place * 3..place * 3 + 3) else {
                continue;
            };
            let source = sums.chunks_exact(3).skip(*first);
            for (pixel, weight) in source.zip(columns) {
                for (value, sample) in target.iter_mut().zip(pixel) {
                    *value += weight * sample;
                }
            }
        }
    }
    Strip {
        width,
        samples: out,
    }
}

/// Samples of a row that any column needs.
fn span(by_x: &[Taps], length: usize) -> (usize, usize) {
    let from = by_x.iter().map(|(first, _)| *first).min().unwrap_or(0);
    let to = by_x.iter().map(|(first, taps)| first + taps.len()).max();
    ((3 * from).min(length), (3 * to.unwrap_or(0)).min(length))
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::Rgb;

    /// A picture that is 30 x 20 per unit, with one marked corner of the line.
    fn line(axis: Axis, along: (f32, f32), across: (f32, f32)) -> Line {
        Line {
            axis,
            along,
            across,
            weight: 1.0,
            directions: [0.0; 8],
        }
    }

    #[test]
    fn every_direction_puts_the_first_letter_first_and_the_top_on_top() {
        // The text's start and top is bright; where that lies in the picture depends on the direction.
        // Corners (right?, low?) for directions 0..=7 as drawn by the training program.
        let corners = [
            (false, false),
            (true, true),
            (true, false),
            (false, true),
            (false, true),
            (true, false),
            (false, false),
            (true, true),
        ];
        for (index, (right, low)) in corners.into_iter().enumerate() {
            let direction = Direction(index);
            let axis = if index < 4 {
                Axis::Level
            } else {
                Axis::Upright
            };
            let size = if index < 4 { (60, 24) } else { (24, 60) };
            let picture = RgbImage::from_fn(size.0, size.1, |x, y| {
                let bright = (x >= size.0 / 2) == right && (y >= size.1 / 2) == low;
                Rgb([if bright { 250 } else { 0 }; 3])
            });
            let line = line(axis, (0.0, 60.0), (4.0, 20.0));
            let margin = Margin {
                ends: 0.0,
                zoom: 1.0,
            };
            let strip = cut(&picture, 1.0, &line, direction, margin).unwrap();
            assert_eq!(strip.width, 60);
            let at = |x: usize, y: usize| strip.samples[(y * 60 + x) * 3];
            assert!(at(5, 5) > 240.0, "{index}");
            assert!(
                at(55, 5) < 10.0 && at(5, 20) < 10.0 && at(55, 20) < 10.0,
                "{index}"
            );
        }
    }

    #[test]
    fn a_line_over_the_border_is_cut_to_the_picture() {
        let picture = RgbImage::from_pixel(40, 30, Rgb([90; 3]));
        let line = line(Axis::Level, (-10.0, 80.0), (20.0, 34.0));
        let margin = Margin {
            ends: 1.0,
            zoom: 1.2,
        };
        let strip = cut(&picture, 1.0, &line, Direction(0), margin).unwrap();
        assert!(strip.samples.iter().all(|&v| (v - 90.0).abs() < 0.01));
    }
}
