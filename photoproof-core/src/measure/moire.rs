//! Moire: the coloured bands that arise where the grid of a screen meets that of a camera's sensor.
//!
//! A sensor samples each colour at another place, so the beat of two grids differs from colour to colour: it is at
//! least as strong in the ratios of the colours as in the brightness, unlike boards, tiles, leaves and cloth, whose
//! ratios hardly change with light and shade. It is periodic, and its period changes little from place to place.

use std::f32::consts::PI;
use std::sync::Arc;

use image::RgbImage;
use rustfft::num_complex::Complex32;
use rustfft::{Fft, FftPlanner};

/// Side of a tile, pixels: the picture is cut into whole ones.
const TILE: usize = 64;
/// Fewest waves across a tile that are looked for: longer ones are shape, not pattern.
const LOWEST: f32 = 3.5;
/// Share of a tile's energy, whitened by the square of the frequency as pictures fall off with it, within one
/// frequency of the strongest in each direction.
const MIN_COMPACT: f32 = 0.3;
/// Weakest pattern, hundredths of the ratio of two colours.
const MIN_AMPLITUDE: f32 = 0.7;
/// The pattern in the ratios of the colours against the one in the brightness.
const MIN_RATIO: f32 = 1.4;
/// How far the frequency of a tile may be from that of one beside it, waves a pixel, and how many beside it must agree.
const MAX_CHANGE: f32 = 0.08;
const MIN_NEIGHBOURS: usize = 2;
/// Level that counts as white; a tile with more of it than a third says nothing.
const WHITE: u8 = 250;
/// Added to a level before its logarithm is taken: noise of dark pixels is no colour.
const DARK: f32 = 24.0;

/// Share of the picture's tiles over which such bands lie, 0..=1.
pub(super) fn moire_share(rgb: &RgbImage) -> f64 {
    let [columns, rows] = [rgb.width(), rgb.height()].map(|side| side as usize / TILE);
    let mut transform = Transform::new();
    let at = |index: usize| [index % columns * TILE, index / columns * TILE];
    let all = columns * rows;
    // Every second tile tells whether there is anything: bands that matter cover many.
    let mut waves: Vec<Option<Wave>> = vec![None; all];
    for odd in [false, true] {
        for (index, slot) in waves.iter_mut().enumerate() {
            if ((index % columns + index / columns) % 2 == 1) == odd {
                *slot = transform.wave(rgb, at(index));
            }
        }
        if waves.iter().flatten().count() < MIN_NEIGHBOURS {
            return 0.0;
        }
    }
    let wave = |index: usize| waves.get(index).copied().flatten();
    let held = (0..all).filter(|&index| {
        wave(index).is_some_and(|own| {
            let beside = around(index, columns, rows).filter_map(wave);
            beside.filter(|&other| own.is_like(other)).count() >= MIN_NEIGHBOURS
        })
    });
    held.count() as f64 / all.max(1) as f64
}

/// The up to eight cells around one.
fn around(index: usize, columns: usize, rows: usize) -> impl Iterator<Item = usize> {
    let (x, y) = (index % columns, index / columns);
    let near = |at: usize, end: usize| at.saturating_sub(1)..(at + 2).min(end);
    near(y, rows)
        .flat_map(move |row| near(x, columns).map(move |column| row * columns + column))
        .filter(move |&other| other != index)
}

/// The pattern of a tile: waves a pixel, across and down; its sign says nothing.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Wave([f32; 2]);

impl Wave {
    fn is_like(self, other: Self) -> bool {
        let ([a, b], [c, d]) = (self.0, other.0);
        (a - c).hypot(b - d).min((a + c).hypot(b + d)) < MAX_CHANGE
    }
}

/// Tables of, and room for, the Fourier transforms of tiles.
struct Transform {
    fft: Arc<dyn Fft<f32>>,
    /// Hundredths of the natural logarithm of each level.
    logarithm: [f32; 256],
    /// Hann window, one direction.
    window: [f32; TILE],
    /// Sum of the squares of the window over a tile.
    energy: f32,
    /// A tile, and room to turn it.
    rows: Vec<Complex32>,
    columns: Vec<Complex32>,
    scratch: Vec<Complex32>,
}

impl Transform {
    fn new() -> Self {
        let fft = FftPlanner::new().plan_fft_forward(TILE);
        let mut logarithm = [0.0; 256];
        for (level, value) in (0_u16..).zip(&mut logarithm) {
            *value = 100.0 * (f32::from(level) + DARK).ln();
        }
        let mut window = [0.0; TILE];
        for (at, value) in window.iter_mut().enumerate() {
            *value = 0.5 - 0.5 * (2.0 * PI * (at as f32 + 1.0) / (TILE as f32 + 1.0)).cos();
        }
        let row: f32 = window.iter().map(|value| value * value).sum();
        Self {
            scratch: vec![Complex32::default(); fft.get_inplace_scratch_len()],
            fft,
            logarithm,
            window,
            energy: row * row,
            rows: Vec::new(),
            columns: vec![Complex32::default(); TILE * TILE],
        }
    }

    /// The pattern that dominates the colours of the tile at a place, if one does.
    fn wave(&mut self, rgb: &RgbImage, place: [usize; 2]) -> Option<Wave> {
        let pixels = tile(rgb, place);
        if pixels.clone().filter(|pixel| pixel[1] > WHITE).count() > TILE * TILE / 3 {
            return None;
        }
        let level = self.logarithm;
        let levels = pixels.map(|pixel| pixel.map(|value| level[usize::from(value)]));
        let ratios = levels
            .clone()
            .map(|[red, green, blue]| Complex32::new(red - green, blue - green));
        // A wave of amplitude a has a^2 / 2 of the window's energy.
        let least = MIN_AMPLITUDE * MIN_AMPLITUDE * self.energy / 2.0;
        if self.fill(ratios) < least {
            return None;
        }
        let colours = self.powers();
        let peak = peak(&colours)?;
        let power = power_at(&colours, peak);
        // The transform holds it twice, times the size of the tile.
        if power < least / 2.0 * (TILE * TILE) as f32 {
            return None;
        }
        self.fill(levels.map(|[_, green, _]| Complex32::new(green, 0.0)));
        let brightness = self.powers();
        let stands_out = power >= MIN_RATIO * MIN_RATIO * power_at(&brightness, peak);
        stands_out.then(|| Wave(peak.map(frequency)))
    }

    /// Takes the values of a tile, less their mean, within the window; gives their energy.
    fn fill(&mut self, values: impl Iterator<Item = Complex32>) -> f32 {
        self.rows.clear();
        self.rows.extend(values);
        let mean = self.rows.iter().sum::<Complex32>() / (TILE * TILE) as f32;
        let mut energy = 0.0;
        for (row, down) in self.rows.chunks_exact_mut(TILE).zip(self.window) {
            for (value, across) in row.iter_mut().zip(self.window) {
                *value = (*value - mean) * (across * down);
                energy += value.norm_sqr();
            }
        }
        energy
    }

    /// Power of the real and the imaginary picture together at each frequency, rows of frequencies down.
    fn powers(&mut self) -> Vec<f32> {
        for _ in 0..2 {
            self.fft
                .process_with_scratch(&mut self.rows, &mut self.scratch);
            transpose(&self.rows, &mut self.columns);
            std::mem::swap(&mut self.rows, &mut self.columns);
        }
        let own: Vec<f32> = self.rows.iter().map(Complex32::norm_sqr).collect();
        // Of two real pictures in one complex one, the opposite frequency holds the rest.
        let opposite = |at: usize| (TILE - at) % TILE;
        let mut powers = Vec::with_capacity(TILE * TILE);
        for (y, row) in own.chunks_exact(TILE).enumerate() {
            let other = own.chunks_exact(TILE).nth(opposite(y)).unwrap_or(row);
            let turned = other.iter().take(1).chain(other.iter().skip(1).rev());
            powers.extend(row.iter().zip(turned).map(|(a, b)| (a + b) / 2.0));
        }
        powers
    }
}

/// Pixels of a tile, row by row.
fn tile(rgb: &RgbImage, [left, top]: [usize; 2]) -> impl Iterator<Item = [u8; 3]> + Clone {
    let stride = 3 * rgb.width() as usize;
    (top..top + TILE).flat_map(move |y| {
        let start = y * stride + 3 * left;
        let row = rgb
            .as_raw()
            .get(start..start + 3 * TILE)
            .unwrap_or_default();
        row.chunks_exact(3)
            .map(|pixel| [pixel[0], pixel[1], pixel[2]])
    })
}

fn transpose(from: &[Complex32], to: &mut [Complex32]) {
    for (y, row) in from.chunks_exact(TILE).enumerate() {
        for (value, slot) in row.iter().zip(to.iter_mut().skip(y).step_by(TILE)) {
            *slot = *value;
        }
    }
}

/// Waves a pixel of a row or column of a transform, negative ones in its second half.
fn frequency(at: usize) -> f32 {
    let at = at as f32;
    let size = TILE as f32;
    if at < size / 2.0 {
        at / size
    } else {
        at / size - 1.0
    }
}

/// The frequency at which a pattern stands out of the others, as column and row; `None` where none does.
fn peak(powers: &[f32]) -> Option<[usize; 2]> {
    let mut whitened = vec![0.0; TILE * TILE];
    for (index, (value, power)) in whitened.iter_mut().zip(powers).enumerate() {
        let [x, y] = [index % TILE, index / TILE].map(frequency);
        let square = x * x + y * y;
        if square >= (LOWEST / TILE as f32).powi(2) && square <= 0.25 {
            *value = power * square;
        }
    }
    // Every pattern shows twice, at a frequency and its opposite: one half is enough.
    let whole = whitened.iter().sum::<f32>() / 2.0;
    let strongest = whitened.iter().copied().fold(0.0, f32::max);
    if 9.0 * strongest <= MIN_COMPACT * whole {
        return None;
    }
    let half = (0..=TILE / 2).flat_map(|y| (0..TILE).map(move |x| [x, y]));
    let sums = half.map(|at| (power_at(&whitened, at), at));
    let (most, at) = sums.max_by(|(a, _), (b, _)| a.total_cmp(b))?;
    (most > MIN_COMPACT * whole).then_some(at)
}

/// Power at a frequency and the eight around it.
fn power_at(powers: &[f32], [x, y]: [usize; 2]) -> f32 {
    let near = |at: usize| [TILE - 1, 0, 1].map(|step| (at + step) % TILE);
    let all = near(y)
        .into_iter()
        .flat_map(|y| near(x).map(|x| y * TILE + x));
    all.filter_map(|at| powers.get(at)).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A grey picture with waves of `period` pixels: of the colours against each other, and of all together.
    fn waves(period: f32, colours: f32, all: f32) -> RgbImage {
        RgbImage::from_fn(640, 480, |x, y| {
            let phase =
                2.0 * PI * (x as f32 + 0.3 * y as f32 + (y as f32 / 150.0).powi(2)) / period;
            let together = 1.0 + all * (phase + 1.0).sin();
            let of =
                |shift: f32| (128.0 * together * (1.0 + colours * (phase + shift).sin())) as u8;
            image::Rgb([of(0.0), 128, of(2.1)].map(
                |level| {
                    if colours == 0.0 { of(0.0) } else { level }
                },
            ))
        })
    }

    #[test]
    fn waves_of_the_colours_are_found_and_waves_of_the_brightness_are_not() {
        for period in [4.0, 7.0, 12.0] {
            let found = moire_share(&waves(period, 0.05, 0.0));
            assert!(found > 0.9, "{period}: {found}");
        }
        assert_eq!(moire_share(&waves(7.0, 0.0, 0.2)), 0.0);
        assert_eq!(moire_share(&waves(7.0, 0.002, 0.0)), 0.0);
    }

    #[test]
    fn a_pattern_in_one_corner_counts_as_its_part_of_the_picture() {
        let mut picture = RgbImage::from_pixel(640, 512, image::Rgb([128; 3]));
        let part = image::imageops::crop_imm(&waves(6.0, 0.05, 0.0), 0, 0, 256, 256).to_image();
        image::imageops::replace(&mut picture, &part, 0, 0);
        assert!((moire_share(&picture) - 16.0 / 80.0).abs() < 0.03);
    }

    #[test]
    fn a_picture_smaller_than_a_tile_has_none() {
        assert_eq!(moire_share(&RgbImage::new(0, 0)), 0.0);
        assert_eq!(moire_share(&RgbImage::new(700, 40)), 0.0);
    }
}
