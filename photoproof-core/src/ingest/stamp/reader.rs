//! Reads one line of text.

use super::beam::texts;
use super::net::{Convolution, Map, Shape};

/// Rows of a line as the net takes it.
pub(super) const LINE_HEIGHT: usize = 24;

/// Rows that the digits fill.
pub(super) const DIGIT_HEIGHT: f32 = 16.0;

/// What the net can answer, in the order of its outputs after "nothing". `*` is any other character.
const SYMBOLS: &[u8; 44] = b" 0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ/-.:,'*";

/// Spread below which a line counts as flat, levels.
const LEAST_SPREAD: f32 = 8.0;

/// A line of pixels, 24 rows.
#[derive(Debug, Clone)]
pub(super) struct Strip {
    pub(super) width: usize,
    /// Red, green, blue, row by row, 0..=255.
    pub(super) samples: Vec<f32>,
}

/// One text that a line may say.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Reading {
    /// Upper case; `*` for characters outside the alphabet.
    pub(super) text: String,
    /// Probability that the net gives to exactly this text, 0..=1.
    pub(super) chance: f64,
}

/// The net that reads.
#[derive(Debug)]
pub(super) struct Reader {
    layers: [Convolution; 12],
}

impl Reader {
    /// Takes the weights in the order of the training program.
    pub(super) fn read(numbers: &mut dyn Iterator<Item = f32>) -> Self {
        let mut layer = |kernel, padding: (usize, usize), channels| {
            // Zeros at both ends as far as the kernel reaches: five columns reach two of its steps.
            let (stride, dilation) = (1, (padding.1 / 2).max(1));
            Convolution::read(
                Shape {
                    kernel,
                    padding,
                    stride,
                    dilation,
                    channels,
                },
                numbers,
            )
        };
        Self {
            layers: [
                layer((3, 3), (1, 1), (3, 20)),
                layer((3, 3), (1, 1), (20, 40)),
                layer((3, 3), (1, 1), (40, 64)),
                layer((3, 3), (1, 1), (64, 80)),
                layer((3, 1), (0, 0), (80, 128)),
                layer((1, 5), (0, 2), (128, 128)),
                layer((1, 5), (0, 2), (128, 128)),
                layer((1, 5), (0, 2), (128, 128)),
                layer((1, 5), (0, 4), (128, 128)),
                layer((1, 5), (0, 8), (128, 128)),
                layer((1, 5), (0, 16), (128, 128)),
                layer((1, 1), (0, 0), (128, SYMBOLS.len() + 1)),
            ],
        }
    }

    /// Reads a line: the likeliest texts, likeliest first.
    pub(super) fn line(&self, strip: &Strip) -> Vec<Reading> {
        let texts = texts(&self.frames(&normalised(strip)));
        texts
            .into_iter()
            .map(|(codes, chance)| {
                let letters = codes.iter().filter_map(|&code| SYMBOLS.get(code - 1));
                let text: String = letters.map(|&byte| char::from(byte)).collect();
                Reading {
                    text: text.split_whitespace().collect::<Vec<_>>().join(" "),
                    chance,
                }
            })
            .collect()
    }

    /// Probabilities of every symbol for every second column.
    fn frames(&self, line: &Map) -> Vec<Vec<f64>> {
        let [a, b, c, d, e, context @ .., out] = &self.layers;
        let map = a.apply(line).rectified().pooled(2, 2);
        let map = b.apply(&map).rectified().pooled(2, 1);
        let map = c.apply(&map).rectified().pooled(2, 1);
        let map = d.apply(&map).rectified();
        let mut map = e.apply(&map).rectified();
        for layer in context {
            let more = layer.apply(&map).rectified();
            map = map.plus(&more);
        }
        let map = out.apply(&map);
        map.data
            .chunks_exact(map.channels.max(1))
            .map(probabilities)
            .collect()
    }
}

/// Mean of each channel to 0, spread of all values to 1.
fn normalised(strip: &Strip) -> Map {
    let count = (strip.samples.len() / 3).max(1) as f32;
    let mut means = [0.0f32; 3];
    for pixel in strip.samples.chunks_exact(3) {
        for (mean, value) in means.iter_mut().zip(pixel) {
            *mean += value / count;
        }
    }
    let middle = means.iter().sum::<f32>() / 3.0;
    let spread = strip
        .samples
        .iter()
        .map(|value| (value - middle).powi(2))
        .sum::<f32>();
    let spread = (spread / (3.0 * count)).sqrt().max(LEAST_SPREAD);
    let mut map = Map::zeros(LINE_HEIGHT, strip.width, 3);
    for (point, pixel) in map
        .data
        .chunks_exact_mut(3)
        .zip(strip.samples.chunks_exact(3))
    {
        for ((value, sample), mean) in point.iter_mut().zip(pixel).zip(means) {
            *value = (sample - mean) / spread;
        }
    }
    map
}

fn probabilities(scores: &[f32]) -> Vec<f64> {
    let most = scores.iter().copied().fold(f32::MIN, f32::max);
    let sum: f64 = scores.iter().map(|&s| f64::from(s - most).exp()).sum();
    scores
        .iter()
        .map(|&s| f64::from(s - most).exp() / sum)
        .collect()
}
