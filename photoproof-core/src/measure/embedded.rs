//! How well the thumbnail inside a file agrees with its picture.
//!
//! Both are averaged to 32 x 24 cells. A thumbnail may lie on its side, may have bars where its shape is not that
//! of the picture, or may show its middle; what fits best counts. Tone is evened out by a line.

use image::GrayImage;
use image::imageops::{rotate90, thumbnail};
use serde::{Deserialize, Serialize};

/// Agreement of a thumbnail with its picture.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct EmbeddedMatch {
    /// Correlation of the two over 32 x 24 cells, -1..=1.
    pub correlation: f64,
    /// Mean difference in the block of 4 x 4 cells that differs most, after tone is evened out, in standard
    /// deviations of the thumbnail.
    pub worst_block: f64,
}

const COLUMNS: usize = 32;
const ROWS: usize = 24;
const BLOCK: usize = 4;

/// Long side to which the picture is reduced first, pixels.
const LONG_SIDE: u32 = 320;

/// Least standard deviation of a picture that has anything to compare, levels of 256.
const LEAST_CONTRAST: f64 = 8.0;

/// Relative difference of two shapes that counts as one.
const SAME_SHAPE: f64 = 0.01;

impl EmbeddedMatch {
    /// Compares an upright thumbnail with the upright picture; `None` where one of them is too small or too even.
    #[must_use]
    pub fn between(embedded: &GrayImage, picture: &GrayImage) -> Option<Self> {
        let smallest = |image: &GrayImage| image.width().min(image.height());
        if smallest(embedded) < ROWS as u32 || smallest(picture) < 2 * ROWS as u32 {
            return None;
        }
        let picture = reduced(picture);
        let mut best: Option<(f64, Cells, Cells)> = None;
        let mut turned = embedded.clone();
        for _ in 0..4 {
            for (own, shown) in frames(size(&turned), size(&picture)) {
                let (a, b) = (cells(&turned, own), cells(&picture, shown));
                let found = correlation(&a, &b);
                if best.as_ref().is_none_or(|(most, ..)| found > *most) {
                    best = Some((found, a, b));
                }
            }
            turned = rotate90(&turned);
        }
        let (correlation, a, b) = best?;
        if deviation(&a) < LEAST_CONTRAST || deviation(&b) < LEAST_CONTRAST {
            return None;
        }
        Some(Self {
            correlation,
            worst_block: worst_block(&a, &b),
        })
    }
}

type Cells = Vec<f64>;

/// Left, top, right, bottom, pixels.
type Frame = [f64; 4];

fn size(image: &GrayImage) -> (f64, f64) {
    (f64::from(image.width()), f64::from(image.height()))
}

fn reduced(picture: &GrayImage) -> GrayImage {
    let (width, height) = picture.dimensions();
    let long = width.max(height);
    if long <= LONG_SIDE {
        return picture.clone();
    }
    let side = |full: u32| (full * LONG_SIDE / long).max(1);
    thumbnail(picture, side(width), side(height))
}

/// Which part of a thumbnail may show which part of the picture: all of it, all between bars, or its middle.
fn frames((tw, th): (f64, f64), (pw, ph): (f64, f64)) -> Vec<(Frame, Frame)> {
    let (own, whole) = ([0.0, 0.0, tw, th], [0.0, 0.0, pw, ph]);
    let mut frames = vec![(own, whole)];
    let shape = (pw / ph) / (tw / th);
    if shape > 1.0 + SAME_SHAPE {
        let bar = th * (1.0 - 1.0 / shape) / 2.0;
        frames.push(([0.0, bar, tw, th - bar], whole));
        let cut = pw * (1.0 - 1.0 / shape) / 2.0;
        frames.push((own, [cut, 0.0, pw - cut, ph]));
    } else if shape < 1.0 - SAME_SHAPE {
        let bar = tw * (1.0 - shape) / 2.0;
        frames.push(([bar, 0.0, tw - bar, th], whole));
        let cut = ph * (1.0 - shape) / 2.0;
        frames.push((own, [0.0, cut, pw, ph - cut]));
    }
    frames
}

/// Means of the cells of a frame; parts of pixels count as parts.
fn cells(image: &GrayImage, [left, top, right, bottom]: Frame) -> Cells {
    let columns = spans(left, right, COLUMNS, image.width());
    let rows = spans(top, bottom, ROWS, image.height());
    let mut means = Vec::with_capacity(COLUMNS * ROWS);
    for row in &rows {
        for column in &columns {
            let (mut sum, mut weight) = (0.0, 0.0);
            for &(y, share_y) in row {
                for &(x, share_x) in column {
                    let share = share_x * share_y;
                    sum += share * f64::from(image.get_pixel(x, y).0[0]);
                    weight += share;
                }
            }
            means.push(if weight > 0.0 { sum / weight } else { 0.0 });
        }
    }
    means
}

/// The pixels of each of `count` equal parts from `start` to `end`, with the share that lies inside.
fn spans(start: f64, end: f64, count: usize, size: u32) -> Vec<Vec<(u32, f64)>> {
    let step = (end - start) / count as f64;
    let part = |index: usize| {
        let (low, high) = (
            start + step * index as f64,
            start + step * (index + 1) as f64,
        );
        let pixels = (low.max(0.0) as u32)..(high.ceil().max(0.0) as u32).min(size);
        pixels
            .map(|pixel| {
                let at = f64::from(pixel);
                (pixel, (high.min(at + 1.0) - low.max(at)).max(0.0))
            })
            .collect()
    };
    (0..count).map(part).collect()
}

fn mean(cells: &[f64]) -> f64 {
    cells.iter().sum::<f64>() / cells.len().max(1) as f64
}

fn deviation(cells: &[f64]) -> f64 {
    let mean = mean(cells);
    let squares = cells.iter().map(|value| (value - mean).powi(2));
    (squares.sum::<f64>() / cells.len().max(1) as f64).sqrt()
}

fn covariance(a: &[f64], b: &[f64]) -> f64 {
    let (x, y) = (mean(a), mean(b));
    let products = a.iter().zip(b).map(|(p, q)| (p - x) * (q - y));
    products.sum::<f64>() / a.len().max(1) as f64
}

fn correlation(a: &[f64], b: &[f64]) -> f64 {
    let scale = deviation(a) * deviation(b);
    if scale > 1e-9 {
        covariance(a, b) / scale
    } else {
        0.0
    }
}

fn worst_block(a: &[f64], b: &[f64]) -> f64 {
    let gain = covariance(a, b) / deviation(b).powi(2);
    let (x, y) = (mean(a), mean(b));
    let apart = |(p, q): (&f64, &f64)| ((p - x) - gain * (q - y)).abs();
    let differences: Vec<f64> = a.iter().zip(b).map(apart).collect();
    let mut sums = vec![0.0; (COLUMNS / BLOCK) * (ROWS / BLOCK)];
    for (index, difference) in differences.iter().enumerate() {
        let block = (index / COLUMNS / BLOCK) * (COLUMNS / BLOCK) + (index % COLUMNS) / BLOCK;
        if let Some(sum) = sums.get_mut(block) {
            *sum += difference;
        }
    }
    let most = sums.into_iter().fold(0.0, f64::max);
    most / (BLOCK * BLOCK) as f64 / deviation(a)
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::imageops::{FilterType, resize, rotate270};

    fn scene(seed: u32) -> GrayImage {
        GrayImage::from_fn(640, 480, |x, y| {
            let wave = |v: u32, k: u32| (f64::from(v * k + seed * 97) / 90.0).sin() * 50.0;
            image::Luma([(128.0 + wave(x, 1 + seed % 3) + wave(y, 2) + wave(x + y, seed)) as u8])
        })
    }

    fn small(picture: &GrayImage) -> GrayImage {
        resize(picture, 160, 120, FilterType::Triangle)
    }

    #[test]
    fn own_thumbnails_agree_turned_barred_and_cut_ones_too() {
        let picture = scene(1);
        let own = small(&picture);
        let mut barred = GrayImage::new(160, 160);
        image::imageops::replace(&mut barred, &own, 0, 20);
        let middle = image::imageops::crop_imm(&own, 20, 0, 120, 120).to_image();
        for thumb in [own.clone(), rotate270(&own), barred, middle] {
            let found = EmbeddedMatch::between(&thumb, &picture).unwrap();
            assert!(found.correlation > 0.97, "{found:?}");
            assert!(found.worst_block < 0.5, "{found:?}");
        }
    }

    #[test]
    fn other_pictures_and_changed_parts_do_not_agree() {
        let picture = scene(1);
        let other = EmbeddedMatch::between(&small(&scene(5)), &picture).unwrap();
        assert!(other.correlation < 0.8, "{other:?}");
        let mut edited = picture.clone();
        let patch = GrayImage::from_pixel(160, 120, image::Luma([250]));
        image::imageops::replace(&mut edited, &patch, 300, 200);
        let part = EmbeddedMatch::between(&small(&picture), &edited).unwrap();
        assert!(part.worst_block > 0.7, "{part:?}");
    }

    #[test]
    fn even_and_tiny_pictures_say_nothing() {
        let even = GrayImage::from_pixel(640, 480, image::Luma([90]));
        assert_eq!(EmbeddedMatch::between(&small(&even), &even), None);
        assert_eq!(
            EmbeddedMatch::between(&GrayImage::new(3, 3), &scene(1)),
            None
        );
    }
}
