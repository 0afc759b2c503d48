//! PDQ, the public 256-bit picture hash, as a baseline: Facebook, "The TMK+PDQF Video-Hashing Algorithm and the PDQ
//! Image-Hashing Algorithm" (2019). Steps and constants are written from memory; `check` holds them to a published
//! hash.

use image::RgbImage;

/// Side of the reduced picture, and of the block of frequencies.
const SIDE: usize = 64;
const KEPT: usize = 16;

/// Distance up to which its authors call two pictures alike, and the quality below which a hash is not used.
pub(crate) const ALIKE: u32 = 31;
pub(crate) const LEAST_QUALITY: u32 = 50;

#[derive(Debug, Clone, Copy)]
pub(crate) struct Pdq {
    words: [u16; KEPT],
    quality: u32,
}

impl Pdq {
    pub(crate) fn alike(&self, other: &Self) -> bool {
        let words = self.words.iter().zip(&other.words);
        let distance: u32 = words.map(|(a, b)| (a ^ b).count_ones()).sum();
        self.quality >= LEAST_QUALITY && other.quality >= LEAST_QUALITY && distance <= ALIKE
    }

    pub(crate) fn of(picture: &RgbImage) -> Self {
        let (width, height) = (picture.width() as usize, picture.height() as usize);
        let luma = |p: &image::Rgb<u8>| {
            let [r, g, b] = p.0.map(f32::from);
            0.299 * r + 0.587 * g + 0.114 * b
        };
        let mut plane: Vec<f32> = picture.pixels().map(luma).collect();
        let window = |side: usize| side.div_ceil(2 * SIDE);
        for _ in 0..2 {
            for row in plane.chunks_mut(width) {
                box_filter(row, window(width));
            }
            for x in 0..width {
                let mut column: Vec<f32> = plane.iter().skip(x).step_by(width).copied().collect();
                box_filter(&mut column, window(height));
                let to = plane.iter_mut().skip(x).step_by(width);
                to.zip(column).for_each(|(to, from)| *to = from);
            }
        }
        let at = |i: usize, side: usize| ((i as f64 + 0.5) * side as f64 / SIDE as f64) as usize;
        let small: Vec<Vec<f32>> = (0..SIDE)
            .map(|y| {
                let row = at(y, height) * width;
                (0..SIDE).map(|x| plane[row + at(x, width)]).collect()
            })
            .collect();
        Self {
            words: words(&small),
            quality: quality(&small),
        }
    }

    /// As it is written: the last word first.
    fn hex(&self) -> String {
        self.words
            .iter()
            .rev()
            .map(|w| format!("{w:04x}"))
            .collect()
    }
}

/// Mean over a window that is cut off at the ends.
fn box_filter(line: &mut [f32], window: usize) {
    let (after, count) = ((window + 2) / 2, line.len());
    let before = window - after.min(window);
    let mut sums = vec![0.0f64];
    for value in line.iter() {
        sums.push(sums[sums.len() - 1] + f64::from(*value));
    }
    for (i, value) in line.iter_mut().enumerate() {
        let (from, to) = (i.saturating_sub(before), (i + after).min(count));
        *value = ((sums[to] - sums[from]) / (to - from) as f64) as f32;
    }
}

fn words(small: &[Vec<f32>]) -> [u16; KEPT] {
    let wave = |i: usize, j: usize| {
        let step = std::f64::consts::PI / (2 * SIDE) as f64;
        (step * (i + 1) as f64 * (2 * j + 1) as f64).cos()
    };
    let wave: Vec<Vec<f64>> = (0..KEPT)
        .map(|i| (0..SIDE).map(|j| wave(i, j)).collect())
        .collect();
    let along: Vec<Vec<f64>> = wave
        .iter()
        .map(|wave| {
            let column = |x: usize| (0..SIDE).map(|y| wave[y] * f64::from(small[y][x])).sum();
            (0..SIDE).map(column).collect()
        })
        .collect();
    let across = |row: &Vec<f64>| -> Vec<f64> {
        let sum = |wave: &Vec<f64>| row.iter().zip(wave).map(|(a, b)| a * b).sum();
        wave.iter().map(sum).collect()
    };
    let values: Vec<f64> = along.iter().flat_map(across).collect();
    let mut sorted = values.clone();
    sorted.sort_by(f64::total_cmp);
    let median = sorted[values.len() / 2 - 1];
    let mut words = [0; KEPT];
    for (k, value) in values.iter().enumerate() {
        words[k / KEPT] |= u16::from(*value > median) << (k % KEPT);
    }
    words
}

fn quality(small: &[Vec<f32>]) -> u32 {
    let step = |a: f32, b: f32| ((a - b) * 100.0 / 255.0).trunc().abs() as u32;
    let down = small
        .windows(2)
        .flat_map(|rows| rows[0].iter().zip(&rows[1]));
    let down: u32 = down.map(|(a, b)| step(*a, *b)).sum();
    let across = small.iter().flat_map(|row| row.windows(2));
    let across: u32 = across.map(|pair| step(pair[0], pair[1])).sum();
    ((down + across) / 90).min(100)
}

/// Holds this to the reference's hash of its own test picture `aaa-orig.jpg`; other decoders and reductions change
/// up to ten bits.
pub(crate) fn check(picture: &RgbImage) -> u32 {
    const REFERENCE: &str = "f8f8f0cee0f4a84f06370a22038f63f0b36e2ed596621e1d33e6b39c4e9c9b22";
    let bits =
        |a: char, b: char| (a.to_digit(16).unwrap_or(0) ^ b.to_digit(16).unwrap_or(0)).count_ones();
    let hex = Pdq::of(picture).hex();
    hex.chars()
        .zip(REFERENCE.chars())
        .map(|(a, b)| bits(a, b))
        .sum()
}
