//! Sharpness, exposure and emptiness of one photo.
//!
//! Sharpness is the width of edges, not the amount of them, so that a good photo of a plain room is
//! sharp. At an edge blurred by a Gaussian of standard deviation s the gradient of a picture smoothed
//! by t peaks at c / sqrt(2 pi (s^2 + t^2)); the ratio of two such peaks gives s without the contrast
//! c (Elder and Zucker, "Local Scale Control for Edge Detection and Blur Estimation", PAMI 20(7),
//! 1998; Zhuo and Sim, "Defocus map estimation from a single image", Pattern Recognition 44, 2011).

use serde::{Deserialize, Serialize};

use crate::ingest::Pixels;
use crate::measure::bars::bar_share;
use crate::measure::bezel::frame_share;
use crate::measure::moire::moire_share;
use crate::measure::plane::Plane;

/// Fine and coarse smoothing, working pixels. The fine one keeps noise out of the ratio.
const FINE: f32 = 1.0;
const COARSE: f32 = 2.5;
/// Directions of the gradient that are judged apart: motion blur leaves edges along it sharp.
const DIRECTIONS: usize = 4;
/// Tiles along the long side.
const TILES: usize = 8;
/// Edge points a tile needs in one direction before its median counts.
const MIN_TILE_POINTS: usize = 10;
/// Smallest coarse gradient of an edge, luma levels per pixel: a step of about 10 levels.
const MIN_GRADIENT: f32 = 1.5;
/// Edge blur below this is not told apart; 10-90 % rise of 1 pixel.
const MIN_SIGMA: f32 = 0.4;
/// Edge blur above this is not told apart from shading.
const MAX_SIGMA: f32 = 12.0;
/// A Gaussian edge rises from 10 % to 90 % over 2.563 standard deviations.
const RISE: f32 = 2.563;
/// Tiles with edges that a direction needs before tiles are told apart.
const MIN_TILES: usize = 3;
/// Pixels within this many levels of the median of each channel have the picture's main colour.
const ONE_COLOUR: u8 = 16;

/// Sharpness and exposure, measured on the working picture.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Quality {
    /// Sharpness of the sharpest regions in the direction where they are least sharp: how many edge
    /// widths (10-90 % rise) fit across the long side of the picture. Free of contrast and of picture
    /// size; about 700 for a crisp photo at 1024 pixels; 0 when the picture has no edge at all, which is
    /// not the same as blurred.
    pub sharpness: f64,
    /// Mean luma, 0..=1.
    pub mean_luma: f64,
    /// Share of pixels at or near black (luma <= 4 of 255), 0..=1.
    pub dark_share: f64,
    /// Share of pixels at or near white (luma >= 251 of 255), 0..=1.
    pub clipped_share: f64,
    /// Share of pixels within 16 levels of the picture's median in each channel, 0..=1: at most 0.61 in
    /// photos of rooms, near 1 when the lens is covered or a bare surface fills the frame.
    pub one_colour_share: f64,
    /// Share of the height or width that two bars of one colour (text and symbols in them aside) on opposite
    /// sides take together, 0..=1; 0 without such a pair.
    pub bar_share: f64,
    /// Share of the photo outside the inner edge of a dark frame with straight sides, 0..=1; 0 without one.
    pub frame_share: f64,
    /// Share of the picture over which coloured bands of two fine grids lie, 0..=1: at most 0.06 in photos of rooms.
    pub moire_share: f64,
}

impl Quality {
    /// Measures one working picture.
    #[must_use]
    pub fn new(pixels: &Pixels) -> Self {
        let luma = pixels.gray.as_raw();
        let count = luma.len().max(1) as f64;
        let mut of_level = [0u32; 256];
        for &level in luma {
            of_level[usize::from(level)] += 1;
        }
        let levels = || (0u32..).zip(of_level);
        let sum: f64 = levels()
            .map(|(level, n)| f64::from(level) * f64::from(n))
            .sum();
        let share = |among: std::ops::Range<u32>| {
            let counted = levels().filter(|(level, _)| among.contains(level));
            f64::from(counted.map(|(_, n)| n).sum::<u32>()) / count
        };
        Self {
            sharpness: sharpness(&Plane::from_gray(&pixels.gray)),
            mean_luma: sum / count / 255.0,
            dark_share: share(0..5),
            clipped_share: share(251..256),
            one_colour_share: one_colour_share(&pixels.rgb),
            bar_share: bar_share(&pixels.rgb),
            frame_share: frame_share(&pixels.gray),
            moire_share: moire_share(&pixels.rgb),
        }
    }
}

/// Share of pixels near the median colour, on every second row.
fn one_colour_share(rgb: &image::RgbImage) -> f64 {
    let stride = 3 * rgb.width().max(1) as usize;
    let rows = || rgb.as_raw().chunks_exact(stride).step_by(2);
    let mut counts = [[0u32; 256]; 3];
    for row in rows() {
        for pixel in row.chunks_exact(3) {
            for (count, &v) in counts.iter_mut().zip(pixel) {
                count[usize::from(v)] += 1;
            }
        }
    }
    let median = counts.map(|count| {
        let half = count.iter().sum::<u32>() / 2;
        let mut below = 0;
        let first = count.iter().position(|n| {
            below += n;
            below > half
        });
        first.unwrap_or(0) as u8
    });
    let near = |pixel: &&[u8]| {
        let mut channels = pixel.iter().zip(median);
        channels.all(|(&v, m)| v.abs_diff(m) <= ONE_COLOUR)
    };
    let found: usize = rows()
        .map(|row| row.chunks_exact(3).filter(near).count())
        .sum();
    let all: usize = rows().map(|row| row.len() / 3).sum();
    found as f64 / all.max(1) as f64
}

/// Edge widths across the long side, see [`Quality::sharpness`].
fn sharpness(plane: &Plane) -> f64 {
    let long = plane.width.max(plane.height);
    let sigma = edge_blur(plane);
    sigma.map_or(0.0, |sigma| long as f64 / f64::from(RISE * sigma))
}

/// Blur of the sharpest regions in the least sharp direction, standard deviation in pixels.
fn edge_blur(plane: &Plane) -> Option<f32> {
    let tile = plane.width.max(plane.height).div_ceil(TILES).max(1);
    let columns = plane.width.div_ceil(tile);
    let rows = plane.height.div_ceil(tile);
    let mut points = vec![Vec::new(); columns * rows * DIRECTIONS];
    for edge in edges(plane) {
        let at = (edge.y / tile * columns + edge.x / tile) * DIRECTIONS + edge.direction;
        if let Some(list) = points.get_mut(at) {
            list.push(edge.sigma);
        }
    }
    let judged = |lists: &mut [Vec<f32>], least: usize, share: f64| {
        (0..DIRECTIONS)
            .filter_map(|direction| {
                let mut medians: Vec<f32> = lists
                    .iter_mut()
                    .skip(direction)
                    .step_by(DIRECTIONS)
                    .filter(|list| list.len() >= MIN_TILE_POINTS)
                    .map(|list| quantile(list, 0.5))
                    .collect();
                (medians.len() >= least).then(|| quantile(&mut medians, share))
            })
            .reduce(f32::max)
    };
    // One sharp tile can be an overlay; a quarter of the tiles with edges cannot. A bare wall with a single
    // switch has no more than that one tile.
    judged(&mut points, MIN_TILES, 0.25).or_else(|| judged(&mut points, 1, 0.0))
}

fn quantile(values: &mut [f32], share: f64) -> f32 {
    values.sort_by(f32::total_cmp);
    let at = (values.len() as f64 * share) as usize;
    values.get(at).copied().unwrap_or(0.0)
}

struct Edge {
    x: usize,
    y: usize,
    direction: usize,
    sigma: f32,
}

/// Points on edges with the blur of the edge there.
fn edges(plane: &Plane) -> Vec<Edge> {
    let fine = plane.blurred(FINE);
    let coarse = plane.blurred(COARSE);
    // Gradient noise after smoothing by t: n / (sqrt(8 pi) t^2) per component.
    let noise = plane.noise() / (8.0 * std::f32::consts::PI).sqrt() / (COARSE * COARSE);
    let least = MIN_GRADIENT.max(8.0 * noise);
    let mut found = Vec::new();
    for y in 2..plane.height.saturating_sub(2) {
        for x in steep(&coarse, y, least) {
            found.extend(edge_at(&fine, &coarse, (x, y), least));
        }
    }
    found
}

/// Columns of row `y` where the gradient is about `least` or more: few, and quick to find.
fn steep(plane: &Plane, y: usize, least: f32) -> impl Iterator<Item = usize> {
    let row = |y: usize| {
        let start = y * plane.width;
        plane
            .data
            .get(start..start + plane.width)
            .unwrap_or_default()
    };
    let (above, here, below) = (row(y - 1), row(y), row(y + 1));
    // Twice the central difference; a little less than asked, so that rounding loses no edge.
    let enough = 4.0 * least * least * 0.999;
    let inner = plane.width.saturating_sub(4);
    let columns = here
        .windows(3)
        .zip(above.iter().skip(1))
        .zip(below.iter().skip(1));
    columns
        .enumerate()
        .skip(1)
        .take(inner)
        .filter_map(move |(before, ((across, above), below))| {
            let (dx, dy) = (across[2] - across[0], below - above);
            (dx * dx + dy * dy >= enough).then_some(before + 1)
        })
}

/// Central differences at a sample that is none of the frame's outermost.
fn gradient(plane: &Plane, x: usize, y: usize) -> (f32, f32) {
    let at = |x: usize, y: usize| plane.data.get(y * plane.width + x).copied().unwrap_or(0.0);
    (
        (at(x + 1, y) - at(x - 1, y)) / 2.0,
        (at(x, y + 1) - at(x, y - 1)) / 2.0,
    )
}

fn edge_at(fine: &Plane, coarse: &Plane, at: (usize, usize), least: f32) -> Option<Edge> {
    let (x, y) = at;
    let (gx, gy) = gradient(coarse, x, y);
    let strength = (gx * gx + gy * gy).sqrt();
    if strength < least {
        return None;
    }
    let (ux, uy) = (gx / strength, gy / strength);
    // The crest of the coarse gradient only: neighbours across the edge are weaker.
    let nearest = |v: f32| isize::from(v >= 0.5) - isize::from(v <= -0.5);
    let (dx, dy) = (nearest(ux), nearest(uy));
    // Two samples lie between the frame and the ones that are judged.
    let along = |plane: &Plane, step: isize| {
        let x = x.saturating_add_signed(step * dx);
        let (gx, gy) = gradient(plane, x, y.saturating_add_signed(step * dy));
        gx * ux + gy * uy
    };
    if along(coarse, 1) > strength || along(coarse, -1) >= strength {
        return None;
    }
    // Crest positions of the two scales may differ by a pixel.
    let peak = [-1, 0, 1]
        .map(|step| along(fine, step))
        .into_iter()
        .fold(0.0, f32::max);
    let ratio = (peak / strength).powi(2);
    // (s^2 + COARSE^2) / (s^2 + FINE^2) = ratio, solved for s^2.
    let variance = if ratio <= 1.0 {
        MAX_SIGMA * MAX_SIGMA
    } else {
        (COARSE * COARSE - ratio * FINE * FINE) / (ratio - 1.0)
    };
    let turn = uy.atan2(ux).rem_euclid(std::f32::consts::PI) / std::f32::consts::PI;
    Some(Edge {
        x: at.0,
        y: at.1,
        direction: (turn * DIRECTIONS as f32).round() as usize % DIRECTIONS,
        sigma: variance.max(0.0).sqrt().clamp(MIN_SIGMA, MAX_SIGMA),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::{GrayImage, Luma};

    /// A grid of dark squares on a wall, blurred by `sigma`, with contrast `contrast`.
    fn wall(sigma: f32, contrast: u8) -> Plane {
        let gray = GrayImage::from_fn(640, 480, |x, y| {
            let inside = x % 80 < 40 && y % 80 < 40;
            Luma([if inside { 120 } else { 120 + contrast }])
        });
        Plane::from_gray(&gray).blurred(sigma)
    }

    #[test]
    fn edge_blur_is_the_blur_that_was_applied() {
        for sigma in [1.0f32, 2.0, 4.0] {
            let found = edge_blur(&wall(sigma, 80)).unwrap();
            // A central difference is a box of two pixels: it adds a variance of 4/12.
            let expected = (sigma * sigma + 1.0 / 3.0).sqrt();
            assert!(
                (found / expected - 1.0).abs() < 0.2,
                "{sigma} measured as {found}"
            );
        }
    }

    #[test]
    fn contrast_does_not_change_sharpness() {
        let (strong, weak) = (sharpness(&wall(1.5, 100)), sharpness(&wall(1.5, 25)));
        assert!((strong / weak - 1.0).abs() < 0.05, "{strong} {weak}");
    }

    #[test]
    fn a_picture_without_edges_has_no_sharpness() {
        let plane = Plane::from_gray(&GrayImage::from_pixel(300, 200, Luma([128])));
        assert_eq!(sharpness(&plane), 0.0);
        assert_eq!(sharpness(&Plane::zeros(0, 0)), 0.0);
    }

    #[test]
    fn a_bare_wall_with_one_switch_is_as_sharp_as_the_switch() {
        let wall = |sigma: f32| {
            let gray = GrayImage::from_fn(640, 480, |x, y| {
                let switch = (330..370).contains(&x) && (250..300).contains(&y);
                Luma([if switch { 210 } else { 160 }])
            });
            sharpness(&Plane::from_gray(&gray).blurred(sigma))
        };
        assert!(wall(0.7) > 220.0, "{}", wall(0.7));
        let blurred = wall(4.0);
        assert!(blurred > 0.0 && blurred < 100.0, "{blurred}");
    }

    #[test]
    fn the_share_of_the_main_colour_ignores_noise_and_counts_the_rest() {
        let rgb = image::RgbImage::from_fn(100, 80, |x, y| {
            let noise = ((x * 7 + y * 13) % 9) as u8;
            image::Rgb(if x < 20 {
                [30, 40, 200]
            } else {
                [160 + noise; 3]
            })
        });
        assert!((Quality::new(&Pixels::new(rgb, 100, 80)).one_colour_share - 0.8).abs() < 1e-9);
        let empty = Pixels::new(image::RgbImage::new(0, 0), 0, 0);
        assert_eq!(Quality::new(&empty).one_colour_share, 0.0);
    }

    #[test]
    fn exposure_shares_count_pixels() {
        let rgb = image::RgbImage::from_fn(10, 10, |x, _| {
            image::Rgb(if x < 3 {
                [0; 3]
            } else if x < 5 {
                [255; 3]
            } else {
                [100; 3]
            })
        });
        let quality = Quality::new(&Pixels::new(rgb, 10, 10));
        assert!((quality.dark_share - 0.3).abs() < 1e-9);
        assert!((quality.clipped_share - 0.2).abs() < 1e-9);
        assert!((quality.mean_luma - (0.2 + 0.5 * 100.0 / 255.0)).abs() < 1e-6);
    }
}
