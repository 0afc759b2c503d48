//! Gaussian blur of a picture, compiled for each instruction set.
//!
//! Plain multiplications and additions in a fixed order: the values are the same on every processor.

use pulp::{Arch, Simd, WithSimd};

/// Kernel radius in units of sigma; at 3 the cut-off tail is 0.3 %.
const RADIUS_SIGMAS: f32 = 3.0;

/// Largest kernel radius.
const MAX_RADIUS: usize = 16;

/// 2 to the power `x`, the same on every platform to the last bit (series for exp, double precision).
pub(super) fn exp2(x: f32) -> f32 {
    let whole = f64::from(x).floor();
    let z = (f64::from(x) - whole) * std::f64::consts::LN_2;
    let mut term = 1.0_f64;
    let mut sum = 1.0_f64;
    for n in 1..20 {
        term *= z / f64::from(n);
        sum += term;
    }
    (sum * 2.0_f64.powi(whole as i32)) as f32
}

/// Half of a symmetric kernel: the middle weight, then outwards; the whole sums to 1.
fn kernel(sigma: f32) -> Vec<f32> {
    let radius = ((sigma * RADIUS_SIGMAS).ceil() as usize).clamp(1, MAX_RADIUS);
    let falloff = -0.5 / (f64::from(sigma) * f64::from(sigma)) / std::f64::consts::LN_2;
    let half: Vec<f64> = (0..=radius)
        .map(|k| f64::from(exp2((falloff * (k * k) as f64) as f32)))
        .collect();
    let total = half[0] + 2.0 * half[1..].iter().sum::<f64>();
    half.iter().map(|w| (w / total) as f32).collect()
}

/// Registers of pixels computed together: their sums stay there. Each is named below: loops over arrays of registers
/// keep them in memory.
const REGISTERS: usize = 4;

/// Gaussian blur of standard deviation `sigma` (above 0) of rows of `width` samples; the kernel ends at three
/// standard deviations, edges are mirrored.
pub(super) fn blurred(samples: &[f32], width: usize, sigma: f32) -> Vec<f32> {
    if width == 0 || samples.len() < width {
        return samples.to_vec();
    }
    let source = Rows { samples, width };
    let half = kernel(sigma);
    Arch::new().dispatch(Blur {
        source,
        half: &half,
    })
}

/// Samples, row by row.
#[derive(Clone, Copy)]
struct Rows<'a> {
    samples: &'a [f32],
    width: usize,
}

impl<'a> Rows<'a> {
    fn height(self) -> usize {
        self.samples.len() / self.width
    }

    fn row(self, y: usize) -> &'a [f32] {
        &self.samples[y * self.width..(y + 1) * self.width]
    }
}

/// One blur, compiled for each instruction set.
struct Blur<'a> {
    source: Rows<'a>,
    half: &'a [f32],
}

impl WithSimd for Blur<'_> {
    type Output = Vec<f32>;

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) -> Vec<f32> {
        blur_rows(simd, self.source, self.half)
    }
}

#[inline(always)]
fn blur_rows<S: Simd>(simd: S, source: Rows<'_>, half: &[f32]) -> Vec<f32> {
    let radius = half.len() - 1;
    let width = source.width;
    let mut padded = vec![0.0_f32; width + 2 * radius];
    let mut row = vec![0.0_f32; width];
    let mut result = Vec::with_capacity(width * source.height());
    for y in 0..source.height() {
        vertical(simd, source, half, (y, &mut padded[radius..radius + width]));
        for k in 1..=radius {
            padded[radius - k] = padded[radius + mirrored(-(k as isize), width)];
            padded[radius + width - 1 + k] =
                padded[radius + mirrored((width - 1 + k) as isize, width)];
        }
        horizontal(simd, &padded, half, &mut row);
        result.extend_from_slice(&row);
    }
    result
}

#[inline(always)]
fn vertical<S: Simd>(simd: S, source: Rows<'_>, half: &[f32], (y, out): (usize, &mut [f32])) {
    let middle = source.row(y);
    let mut pairs: [(&[f32], &[f32]); MAX_RADIUS] = [(middle, middle); MAX_RADIUS];
    let pairs = &mut pairs[..half.len() - 1];
    for (k, pair) in (1..).zip(pairs.iter_mut()) {
        let above = mirrored(y as isize - k as isize, source.height());
        let below = mirrored((y + k) as isize, source.height());
        *pair = (source.row(above), source.row(below));
    }
    in_runs(simd, out, (half, middle), |k, x, length| {
        let (above, below) = pairs[k - 1];
        (&above[x..x + length], &below[x..x + length])
    });
}

#[inline(always)]
fn horizontal<S: Simd>(simd: S, padded: &[f32], half: &[f32], out: &mut [f32]) {
    let radius = half.len() - 1;
    in_runs(simd, out, (half, &padded[radius..]), |k, x, length| {
        let (left, right) = (radius - k + x, radius + k + x);
        (&padded[left..left + length], &padded[right..right + length])
    });
}

/// Writes the weighted sum of `middle` and of the pairs that `pair` gives for distance, column and
/// length: whole runs first, then the rest pixel by pixel.
#[inline(always)]
fn in_runs<'a, S: Simd>(
    simd: S,
    out: &mut [f32],
    (half, middle): (&[f32], &[f32]),
    pair: impl Fn(usize, usize, usize) -> (&'a [f32], &'a [f32]),
) {
    let run = REGISTERS * S::F32_LANES;
    let whole = out.len() / run * run;
    for (number, out) in out.chunks_exact_mut(run).enumerate() {
        let x = number * run;
        let ([m0, m1, m2, m3], [o0, o1, o2, o3]) = (
            S::as_simd_f32s(&middle[x..x + run]).0,
            S::as_mut_simd_f32s(out).0,
        ) else {
            continue;
        };
        let weight = simd.splat_f32s(half[0]);
        let mut s0 = simd.mul_f32s(weight, *m0);
        let mut s1 = simd.mul_f32s(weight, *m1);
        let mut s2 = simd.mul_f32s(weight, *m2);
        let mut s3 = simd.mul_f32s(weight, *m3);
        for (k, &w) in half.iter().enumerate().skip(1) {
            let weight = simd.splat_f32s(w);
            let (a, b) = pair(k, x, run);
            let ([a0, a1, a2, a3], [b0, b1, b2, b3]) = (S::as_simd_f32s(a).0, S::as_simd_f32s(b).0)
            else {
                continue;
            };
            s0 = simd.add_f32s(s0, simd.mul_f32s(weight, simd.add_f32s(*a0, *b0)));
            s1 = simd.add_f32s(s1, simd.mul_f32s(weight, simd.add_f32s(*a1, *b1)));
            s2 = simd.add_f32s(s2, simd.mul_f32s(weight, simd.add_f32s(*a2, *b2)));
            s3 = simd.add_f32s(s3, simd.mul_f32s(weight, simd.add_f32s(*a3, *b3)));
        }
        (*o0, *o1, *o2, *o3) = (s0, s1, s2, s3);
    }
    for x in whole..out.len() {
        let mut sum = half[0] * middle[x];
        for (k, &w) in half.iter().enumerate().skip(1) {
            let (a, b) = pair(k, x, 1);
            sum += w * (a[0] + b[0]);
        }
        out[x] = sum;
    }
}

/// Index mirrored into `0..length` about the outer edges (edge samples repeat).
fn mirrored(index: isize, length: usize) -> usize {
    let length = length as isize;
    let period = 2 * length;
    let i = index.rem_euclid(period);
    (if i < length { i } else { period - 1 - i }) as usize
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_instruction_set_gives_the_same_bits() {
        let mut state = 1_u32;
        let mut next = || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (state >> 8) as f32 / 16_777_216.0
        };
        let samples: Vec<f32> = (0..107 * 61).map(|_| next()).collect();
        let source = Rows {
            samples: &samples,
            width: 107,
        };
        for sigma in [0.8, 1.6, 3.3] {
            let half = kernel(sigma);
            let blur = || Blur {
                source,
                half: &half,
            };
            let bits = |data: Vec<f32>| -> Vec<u32> { data.iter().map(|v| v.to_bits()).collect() };
            let plain = bits(Arch::Scalar.dispatch(blur()));
            assert_eq!(plain, bits(Arch::new().dispatch(blur())), "sigma {sigma}");
        }
    }

    #[test]
    fn kernels_sum_to_one_and_edges_repeat() {
        for sigma in [0.3, 1.0, 2.5, 9.0] {
            let half = kernel(sigma);
            let sum = half[0] + 2.0 * half[1..].iter().sum::<f32>();
            assert!((sum - 1.0).abs() < 1e-6, "{sigma}: {sum}");
        }
        assert_eq!(
            [-3, -1, 0, 4, 5, 7].map(|i| mirrored(i, 5)),
            [2, 0, 0, 4, 4, 2]
        );
        assert_eq!([-2, 0, 3].map(|i| mirrored(i, 1)), [0, 0, 0]);
    }
}
