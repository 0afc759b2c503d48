//! The few layers that the two nets need, on maps of (row, column, channel) in 32-bit floats.
//!
//! Plain loops in a fixed order: the same numbers on every processor and for any number of threads.
//! `pulp` compiles them for the widest registers found at run time.

use pulp::{Arch, Simd, WithSimd};

/// Channels computed at a time; every layer's outputs are padded to a multiple of it.
const LANES: usize = 16;

/// Columns computed at a time.
const COLUMNS: usize = 4;

/// A map of `height` x `width` points with `channels` values each.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Map {
    pub(super) height: usize,
    pub(super) width: usize,
    pub(super) channels: usize,
    pub(super) data: Vec<f32>,
}

impl Map {
    /// A map of zeros.
    pub(super) fn zeros(height: usize, width: usize, channels: usize) -> Self {
        Self {
            height,
            width,
            channels,
            data: vec![0.0; height * width * channels],
        }
    }

    /// The same with `rows` rows and `columns` columns of zeros on every side.
    fn padded(&self, rows: usize, columns: usize) -> Self {
        let mut out = Self::zeros(
            self.height + 2 * rows,
            self.width + 2 * columns,
            self.channels,
        );
        let length = self.width * self.channels;
        let targets = out
            .data
            .chunks_exact_mut((self.width + 2 * columns) * self.channels)
            .skip(rows);
        for (target, source) in targets.zip(self.data.chunks_exact(length)) {
            if let Some(middle) =
                target.get_mut(columns * self.channels..columns * self.channels + length)
            {
                middle.copy_from_slice(source);
            }
        }
        out
    }

    /// Values of the point at row `y`, column `x`.
    pub(super) fn at(&self, y: usize, x: usize) -> &[f32] {
        let start = (y * self.width + x) * self.channels;
        self.data
            .get(start..start + self.channels)
            .unwrap_or_default()
    }

    /// Negative values become 0.
    pub(super) fn rectified(mut self) -> Self {
        self.data
            .iter_mut()
            .for_each(|value| *value = value.max(0.0));
        self
    }

    /// Adds `other` of the same shape.
    pub(super) fn plus(mut self, other: &Self) -> Self {
        for (value, more) in self.data.iter_mut().zip(&other.data) {
            *value += more;
        }
        self
    }

    /// Largest value of each `rows` x `columns` cell; incomplete cells are dropped.
    pub(super) fn pooled(&self, rows: usize, columns: usize) -> Self {
        let mut out = Self::zeros(self.height / rows, self.width / columns, self.channels);
        let width = out.width;
        for (index, point) in out.data.chunks_exact_mut(self.channels).enumerate() {
            let (y, x) = (index / width * rows, index % width * columns);
            point.copy_from_slice(self.at(y, x));
            for dy in 0..rows {
                for dx in 0..columns {
                    for (most, &value) in point.iter_mut().zip(self.at(y + dy, x + dx)) {
                        *most = most.max(value);
                    }
                }
            }
        }
        out
    }
}

/// Shape of a convolution that mixes channels.
#[derive(Debug, Clone, Copy)]
pub(super) struct Shape {
    /// Rows and columns of the kernel.
    pub(super) kernel: (usize, usize),
    /// Rows and columns of zeros around the input.
    pub(super) padding: (usize, usize),
    /// Step between outputs, both ways.
    pub(super) stride: usize,
    /// Step between the columns of the kernel, columns of the input.
    pub(super) dilation: usize,
    /// Channels in and out.
    pub(super) channels: (usize, usize),
}

/// A convolution that mixes channels (LeCun et al., 1998, section II.A), batch normalisation folded in.
#[derive(Debug, Clone)]
pub(super) struct Convolution {
    shape: Shape,
    /// Blocks of [`LANES`] outputs; in each, one row of weights per input value.
    weights: Vec<Vec<[f32; LANES]>>,
    biases: Vec<[f32; LANES]>,
}

impl Convolution {
    /// Takes weights (output, input, row, column) and biases off the front of `numbers`.
    pub(super) fn read(shape: Shape, numbers: &mut dyn Iterator<Item = f32>) -> Self {
        let (rows, columns) = shape.kernel;
        let (inputs, outputs) = shape.channels;
        let blocks = outputs.div_ceil(LANES);
        let mut weights = vec![vec![[0.0; LANES]; rows * columns * inputs]; blocks];
        let mut biases = vec![[0.0; LANES]; blocks];
        for output in 0..outputs {
            for input in 0..inputs {
                for place in 0..rows * columns {
                    let weight = numbers.next().unwrap_or(0.0);
                    weights[output / LANES][place * inputs + input][output % LANES] = weight;
                }
            }
        }
        for output in 0..outputs {
            biases[output / LANES][output % LANES] = numbers.next().unwrap_or(0.0);
        }
        Self {
            shape,
            weights,
            biases,
        }
    }

    /// Applies the layer.
    pub(super) fn apply(&self, input: &Map) -> Map {
        let (rows, columns) = self.shape.kernel;
        let stride = self.shape.stride;
        let owned;
        let input = if self.shape.padding == (0, 0) {
            input
        } else {
            owned = input.padded(self.shape.padding.0, self.shape.padding.1);
            &owned
        };
        let reach = (columns - 1) * self.shape.dilation + 1;
        if input.height < rows || input.width < reach || input.channels != self.shape.channels.0 {
            return Map::zeros(0, 0, self.shape.channels.1);
        }
        let height = (input.height - rows) / stride + 1;
        let width = (input.width - reach) / stride + 1;
        let mut out = Map::zeros(height, width, self.shape.channels.1);
        Arch::new().dispatch(Fill(self, input, &mut out));
        out
    }

    #[inline(always)]
    fn fill<S: Simd>(&self, simd: S, input: &Map, out: &mut Map) {
        let line = input.width * input.channels;
        let step = self.shape.stride * input.channels;
        let outputs = out.channels;
        let row_length = (out.width * outputs).max(1);
        for (y, row) in out.data.chunks_exact_mut(row_length).enumerate() {
            let Some(source) = input.data.get(y * self.shape.stride * line..) else {
                continue;
            };
            for (group, points) in row.chunks_mut(COLUMNS * outputs).enumerate() {
                let count = points.len() / outputs;
                // A short last group computes its last point again.
                let starts: [usize; COLUMNS] =
                    std::array::from_fn(|i| (group * COLUMNS + i.min(count - 1)) * step);
                let window = Window {
                    source,
                    line,
                    starts,
                };
                for (block, (weights, bias)) in self.weights.iter().zip(&self.biases).enumerate() {
                    let mut sums = [*bias; COLUMNS];
                    match LANES / S::F32_LANES {
                        1 => self.add_up::<S, 1>(simd, &window, (weights, 0), &mut sums),
                        2 => self.add_up::<S, 2>(simd, &window, (weights, 0), &mut sums),
                        registers => {
                            for first in 0..registers {
                                self.add_up::<S, 1>(simd, &window, (weights, first), &mut sums);
                            }
                        }
                    }
                    for (point, sums) in points.chunks_exact_mut(outputs).zip(&sums) {
                        for (value, sum) in point.iter_mut().skip(block * LANES).zip(sums) {
                            *value = *sum;
                        }
                    }
                }
            }
        }
    }

    /// Adds the weighted inputs to `N` registers of each point's sums, from register `first` on. The sums stay in
    /// registers meanwhile; plain loops over lanes are left one number at a time by the compiler.
    #[inline(always)]
    fn add_up<S: Simd, const N: usize>(
        &self,
        simd: S,
        window: &Window<'_>,
        (weights, first): (&[[f32; LANES]], usize),
        sums: &mut [[f32; LANES]; COLUMNS],
    ) {
        let (columns, inputs) = (self.shape.kernel.1, self.shape.channels.0);
        // Neighbouring columns lie in a row of the input, those of a dilated kernel do not.
        let (pieces, length) = match self.shape.dilation {
            1 => (1, columns * inputs),
            _ => (columns, inputs),
        };
        let registers = |lanes: &[f32; LANES]| -> [S::f32s; N] {
            let (all, _) = S::as_simd_f32s(lanes);
            std::array::from_fn(|i| all[first + i])
        };
        let mut kept = sums.each_ref().map(registers);
        for (index, weights) in weights.chunks_exact(length).enumerate() {
            let (ky, kx) = (index / pieces, index % pieces);
            let offset = ky * window.line + kx * self.shape.dilation * inputs;
            let part = |start: usize| {
                let start = start + offset;
                let part = window.source.get(start..start + length);
                part.unwrap_or_default()
            };
            let [a, b, c, d] = window.starts.map(part);
            for ((((weights, &a), &b), &c), &d) in weights.iter().zip(a).zip(b).zip(c).zip(d) {
                let weights = registers(weights);
                for (kept, value) in kept.iter_mut().zip([a, b, c, d]) {
                    let value = simd.splat_f32s(value);
                    for (sum, weight) in kept.iter_mut().zip(weights) {
                        // No fused step: the same numbers on every processor.
                        *sum = simd.add_f32s(*sum, simd.mul_f32s(value, weight));
                    }
                }
            }
        }
        for (sums, kept) in sums.iter_mut().zip(kept) {
            let (all, _) = S::as_mut_simd_f32s(sums);
            for (sum, kept) in all.iter_mut().skip(first).zip(kept) {
                *sum = kept;
            }
        }
    }
}

/// Where the inputs of neighbouring points begin.
struct Window<'a> {
    /// The input from the first row of the kernel on.
    source: &'a [f32],
    /// Values in a row of the input.
    line: usize,
    starts: [usize; COLUMNS],
}

/// A 3 x 3 convolution of each channel by itself, with holes of `dilation` - 1 points.
#[derive(Debug, Clone)]
pub(super) struct Depthwise {
    channels: usize,
    dilation: usize,
    /// Nine rows of one weight per channel.
    weights: Vec<Vec<f32>>,
    biases: Vec<f32>,
}

impl Depthwise {
    /// Takes weights (channel, row, column) and biases off the front of `numbers`.
    pub(super) fn read(
        channels: usize,
        dilation: usize,
        numbers: &mut dyn Iterator<Item = f32>,
    ) -> Self {
        let mut weights = vec![vec![0.0; channels]; 9];
        for channel in 0..channels {
            for place in &mut weights {
                place[channel] = numbers.next().unwrap_or(0.0);
            }
        }
        Self {
            channels,
            dilation,
            weights,
            biases: numbers.take(channels).collect(),
        }
    }

    /// Applies the layer; the shape stays.
    pub(super) fn apply(&self, input: &Map) -> Map {
        let padded = input.padded(self.dilation, self.dilation);
        let mut out = Map::zeros(input.height, input.width, self.channels);
        if input.channels == self.channels {
            Arch::new().dispatch(Fill(self, &padded, &mut out));
        }
        out
    }

    #[inline(always)]
    fn fill(&self, padded: &Map, out: &mut Map) {
        let length = (out.width * self.channels).max(1);
        for (y, row) in out.data.chunks_exact_mut(length).enumerate() {
            for point in row.chunks_exact_mut(self.channels) {
                point.copy_from_slice(&self.biases);
            }
            for (place, weights) in self.weights.iter().enumerate() {
                let (dy, dx) = (place / 3 * self.dilation, place % 3 * self.dilation);
                let start = ((y + dy) * padded.width + dx) * self.channels;
                let source = padded.data.get(start..start + length).unwrap_or_default();
                let points = row.chunks_exact_mut(self.channels);
                for (point, source) in points.zip(source.chunks_exact(self.channels)) {
                    for ((sum, weight), value) in point.iter_mut().zip(weights).zip(source) {
                        *sum += weight * value;
                    }
                }
            }
        }
    }
}

/// A layer, what it is applied to, and where to. A closure would do but for its code, which a compiler may keep apart,
/// built for the narrow registers of any processor.
struct Fill<'a, L>(&'a L, &'a Map, &'a mut Map);

impl WithSimd for Fill<'_, Convolution> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) {
        self.0.fill(simd, self.1, self.2);
    }
}

impl WithSimd for Fill<'_, Depthwise> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) {
        self.0.fill(self.1, self.2);
    }
}

/// Numbers of a file of 16-bit floats (IEEE 754-2019, binary16), little endian.
pub(super) fn halves(bytes: &[u8]) -> impl Iterator<Item = f32> {
    bytes.chunks_exact(2).map(|pair| {
        let bits = u16::from_le_bytes([pair[0], pair[1]]);
        let sign = if bits >> 15 == 1 { -1.0 } else { 1.0 };
        let (exponent, fraction) = (i32::from(bits >> 10 & 31), f32::from(bits & 1023));
        match exponent {
            0 => sign * fraction * 2f32.powi(-24),
            _ => sign * (1.0 + fraction / 1024.0) * 2f32.powi(exponent - 15),
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn halves_read_as_the_standard_says() {
        // 1.0, -2.0, 65504 (largest), 2^-24 (smallest), 0.333251953125: IEEE 754-2019, table 3.5.
        let bytes = [0x00, 0x3C, 0x00, 0xC0, 0xFF, 0x7B, 0x01, 0x00, 0x55, 0x35];
        let read: Vec<f32> = halves(&bytes).collect();
        assert_eq!(read, [1.0, -2.0, 65504.0, 2f32.powi(-24), 0.333_251_95]);
    }

    #[test]
    fn a_convolution_is_the_sum_over_its_window() {
        let shape = Shape {
            kernel: (3, 3),
            padding: (1, 1),
            stride: 1,
            dilation: 1,
            channels: (1, 2),
        };
        // Output 0: the sum of the window. Output 1: the point to the right, plus a half.
        let mut numbers = vec![1.0; 9];
        numbers.extend([0.0, 0.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0]);
        numbers.extend([0.0, 0.5]);
        let layer = Convolution::read(shape, &mut numbers.into_iter());
        let input = Map {
            height: 2,
            width: 5,
            channels: 1,
            data: vec![1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0],
        };
        let out = layer.apply(&input);
        assert_eq!((out.height, out.width), (2, 5));
        assert_eq!(out.at(0, 0), [16.0, 2.5]);
        assert_eq!(out.at(1, 3), [39.0, 10.5]);
        assert_eq!(out.at(1, 4), [28.0, 0.5]);
    }

    #[test]
    fn a_dilated_convolution_skips_columns() {
        let shape = Shape {
            kernel: (1, 3),
            padding: (0, 2),
            stride: 1,
            dilation: 2,
            channels: (2, 1),
        };
        // Of channel 0 the points two to the left and two to the right, of channel 1 the point itself.
        let numbers = vec![1.0, 0.0, 100.0, 0.0, 10.0, 0.0, 0.5];
        let layer = Convolution::read(shape, &mut numbers.into_iter());
        let input = Map {
            height: 1,
            width: 4,
            channels: 2,
            data: vec![1.0, 5.0, 2.0, 6.0, 3.0, 7.0, 4.0, 8.0],
        };
        let out = layer.apply(&input);
        assert_eq!(out.data, [350.5, 460.5, 71.5, 82.5]);
    }

    #[test]
    fn a_depthwise_layer_keeps_channels_apart() {
        let mut numbers = vec![0.0; 18];
        numbers[3] = 1.0; // channel 0: the point two to the left
        numbers[9 + 4] = 2.0; // channel 1: the point itself, doubled
        numbers.extend([0.0, 1.0]);
        let layer = Depthwise::read(2, 2, &mut numbers.into_iter());
        let input = Map {
            height: 1,
            width: 4,
            channels: 2,
            data: vec![1.0, 10.0, 2.0, 20.0, 3.0, 30.0, 4.0, 40.0],
        };
        let out = layer.apply(&input);
        assert_eq!(out.data, [0.0, 21.0, 0.0, 41.0, 1.0, 61.0, 2.0, 81.0]);
    }
}
