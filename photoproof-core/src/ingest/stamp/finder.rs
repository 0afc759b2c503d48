//! Finds lines of text that lie over a picture near its border.

use image::RgbImage;

use super::net::{Convolution, Depthwise, Map, Shape};
use super::place::{Axis, Line, Spot, lines};

/// Points of the picture for one point of the net's answer, both ways.
pub(super) const CELL: usize = 8;

/// Channels of the inner maps.
const WIDTH: usize = 32;

/// Dilations of the inner steps.
const DILATIONS: [usize; 5] = [1, 2, 4, 2, 1];

/// Unit of the distances in the answer, pixels.
const EDGE_UNIT: f32 = 16.0;

/// Share of the short side that is searched along each border.
const BAND: f64 = 0.24;

/// A band is at least this broad, pixels.
const LEAST_BAND: usize = 112;

/// Log odds from which a cell counts as text: a stamp lost is worse than a line read in vain.
const LEAST_TEXT: f32 = -0.8;

/// The net that tells text from everything else.
#[derive(Debug)]
pub(super) struct Finder {
    stem: Convolution,
    half: Convolution,
    steps: Vec<(Depthwise, Convolution)>,
    out: Convolution,
}

impl Finder {
    /// Takes the weights in the order of the training program.
    pub(super) fn read(numbers: &mut dyn Iterator<Item = f32>) -> Self {
        let layer = |side: usize, stride: usize, channels: (usize, usize)| Shape {
            kernel: (side, side),
            padding: (0, 0),
            stride,
            dilation: 1,
            channels,
        };
        Self {
            stem: Convolution::read(layer(4, 4, (3, 16)), numbers),
            half: Convolution::read(layer(2, 2, (16, WIDTH)), numbers),
            steps: DILATIONS
                .iter()
                .map(|&dilation| {
                    let deep = Depthwise::read(WIDTH, dilation, numbers);
                    (
                        deep,
                        Convolution::read(layer(1, 1, (WIDTH, WIDTH)), numbers),
                    )
                })
                .collect(),
            out: Convolution::read(layer(1, 1, (WIDTH, 11)), numbers),
        }
    }

    /// Answer for one piece: text, distances to the two long edges, eight directions.
    fn answer(&self, piece: &Map) -> Map {
        let mut map = self.stem.apply(piece).rectified();
        map = self.half.apply(&map).rectified();
        for (deep, mix) in &self.steps {
            let more = mix.apply(&deep.apply(&map).rectified()).rectified();
            map = map.plus(&more);
        }
        self.out.apply(&map)
    }

    /// Lines of text in the bands along the four borders, surest first. Coordinates in pixels of `picture`.
    pub(super) fn lines(&self, picture: &RgbImage) -> Vec<Line> {
        let mut spots = Vec::new();
        for (x, y, width, height) in bands(picture.width() as usize, picture.height() as usize) {
            let map = self.answer(&piece(picture, (x, y), (width, height)));
            for row in 0..map.height {
                for column in 0..map.width {
                    spots.extend(spot(map.at(row, column), |across| {
                        let place = if across { row } else { column };
                        let corner = if across { y } else { x };
                        (corner + place * CELL + CELL / 2) as f32
                    }));
                }
            }
        }
        lines(spots)
    }
}

/// Rectangles (x, y, width, height) that cover the border without overlap of their cells.
fn bands(width: usize, height: usize) -> Vec<(usize, usize, usize, usize)> {
    let band = (width.min(height) as f64 * BAND) as usize / CELL * CELL;
    let band = band.max(LEAST_BAND);
    if height < 3 * band || width < 3 * band {
        return vec![(0, 0, width, height)];
    }
    let lower = height - band;
    let middle = (lower - band) / CELL * CELL;
    let right = width - band;
    vec![
        (0, 0, width, band),
        (0, lower, width, band),
        (0, band, band, middle),
        (right, band, band, middle),
    ]
}

/// The piece as the net wants it; sides are filled up to whole cells with grey.
fn piece(picture: &RgbImage, (x, y): (usize, usize), (width, height): (usize, usize)) -> Map {
    let mut map = Map::zeros(
        height.next_multiple_of(CELL),
        width.next_multiple_of(CELL),
        3,
    );
    let samples = picture.as_raw();
    let line = picture.width() as usize * 3;
    let target_line = map.width * 3;
    for (row, target) in map
        .data
        .chunks_exact_mut(target_line)
        .take(height)
        .enumerate()
    {
        let start = (y + row) * line + x * 3;
        let source = samples.get(start..start + width * 3).unwrap_or_default();
        for (value, &sample) in target.iter_mut().zip(source) {
            *value = f32::from(sample) / 255.0 - 0.5;
        }
    }
    map
}

/// One cell of the answer, if it is text. `centre(true)` is its row, `centre(false)` its column, pixels.
fn spot(answer: &[f32], centre: impl Fn(bool) -> f32) -> Option<Spot> {
    let (&[text, near, far], directions) = answer.split_first_chunk::<3>()?;
    if text <= LEAST_TEXT {
        return None;
    }
    let most = directions.iter().copied().fold(f32::MIN, f32::max);
    let mut chances = [0.0f32; 8];
    for (chance, value) in chances.iter_mut().zip(directions) {
        *chance = (value - most).exp();
    }
    let sum: f32 = chances.iter().sum();
    chances.iter_mut().for_each(|chance| *chance /= sum);
    let level: f32 = chances.iter().take(4).sum();
    let axis = if level >= 0.5 {
        Axis::Level
    } else {
        Axis::Upright
    };
    let (along, across) = match axis {
        Axis::Level => (centre(false), centre(true)),
        Axis::Upright => (centre(true), centre(false)),
    };
    Some(Spot {
        axis,
        along,
        near: across - near.max(0.05) * EDGE_UNIT,
        far: across + far.max(0.05) * EDGE_UNIT,
        chance: 1.0 / (1.0 + (-text).exp()),
        directions: chances,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bands_cover_the_border_once() {
        for (width, height) in [
            (1024, 768),
            (768, 1024),
            (1000, 563),
            (640, 480),
            (300, 200),
        ] {
            let bands = bands(width, height);
            let covered = |px: usize, py: usize| {
                bands
                    .iter()
                    .filter(|(x, y, w, h)| (*x..x + w).contains(&px) && (*y..y + h).contains(&py))
                    .count()
            };
            for (x, y) in [
                (0, 0),
                (width - 1, 0),
                (0, height - 1),
                (width - 1, height - 1),
            ] {
                assert_eq!(covered(x, y), 1);
            }
            assert_eq!(covered(width / 2, 3), 1);
            assert_eq!(covered(3, height / 2), 1);
        }
    }
}
