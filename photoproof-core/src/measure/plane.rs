//! A floating-point luma plane with the few filters that quality and copy measures share.
//!
//! Coordinates as in [`feature`](crate::measure::feature): the centre of the top left sample is
//! (0.5, 0.5).

use image::GrayImage;

use crate::measure::blur::blurred;

/// Luma samples, row by row, 0..=255.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Plane {
    pub(crate) width: usize,
    pub(crate) height: usize,
    pub(crate) data: Vec<f32>,
}

impl Plane {
    /// A plane of zeros.
    pub(crate) fn zeros(width: usize, height: usize) -> Self {
        Self {
            width,
            height,
            data: vec![0.0; width * height],
        }
    }

    /// Copies an 8-bit picture.
    pub(crate) fn from_gray(gray: &GrayImage) -> Self {
        Self {
            width: gray.width() as usize,
            height: gray.height() as usize,
            data: gray.as_raw().iter().map(|&v| f32::from(v)).collect(),
        }
    }

    /// Sample at column `x`, row `y`, coordinates clamped to the frame; 0 for an empty plane.
    pub(crate) fn at(&self, x: isize, y: isize) -> f32 {
        let x = x.clamp(0, self.width as isize - 1) as usize;
        let y = y.clamp(0, self.height as isize - 1) as usize;
        self.data.get(y * self.width + x).copied().unwrap_or(0.0)
    }

    /// Gaussian blur of standard deviation `sigma` samples; edges are mirrored.
    pub(crate) fn blurred(&self, sigma: f32) -> Self {
        if sigma <= 0.0 || self.data.is_empty() {
            return self.clone();
        }
        Self {
            width: self.width,
            height: self.height,
            data: blurred(&self.data, self.width, sigma),
        }
    }

    /// This plane seen from a frame of `width` x `height` samples whose points `place` leads to; not-a-number
    /// where it shows nothing.
    pub(crate) fn resampled(
        &self,
        (width, height): (usize, usize),
        place: impl Fn([f64; 2]) -> Option<[f64; 2]>,
    ) -> Self {
        let mut out = Self::zeros(width, height);
        for (index, value) in out.data.iter_mut().enumerate() {
            let at = [(index % width) as f64 + 0.5, (index / width) as f64 + 0.5];
            *value = place(at)
                .and_then(|[x, y]| self.sample(x, y))
                .unwrap_or(f32::NAN);
        }
        out
    }

    /// Bilinear sample at (`x`, `y`); `None` outside the centres of the border samples.
    pub(crate) fn sample(&self, x: f64, y: f64) -> Option<f32> {
        let (x, y) = (x - 0.5, y - 0.5);
        let inside = |value: f64, side: usize| value >= 0.0 && value < side as f64;
        if !inside(x, self.width) || !inside(y, self.height) {
            return None;
        }
        // Conversions from and to 32 bits are the quick ones.
        let (column, row) = (x as i32, y as i32);
        let (fx, fy) = ((x - f64::from(column)) as f32, (y - f64::from(row)) as f32);
        let (column, row) = (column as usize, row as usize);
        if column + 1 >= self.width || row + 1 >= self.height {
            return None;
        }
        let start = row * self.width + column;
        let (&[a, b], rest) = self.data.get(start..)?.split_first_chunk()?;
        let (&[c, d], _) = rest.get(self.width - 2..)?.split_first_chunk()?;
        let (upper, lower) = (a + (b - a) * fx, c + (d - c) * fx);
        Some(upper + (lower - upper) * fy)
    }

    /// Standard deviation of the noise, luma levels (Immerkaer, "Fast Noise Variance Estimation",
    /// CVIU 64(2), 1996), taken as the lowest quartile over tiles so that texture does not count.
    pub(crate) fn noise(&self) -> f32 {
        self.noise_between(f32::NEG_INFINITY, f32::INFINITY)
    }

    /// Like [`noise`](Self::noise), over tiles whose mean luma is from `low` to `high`; 0 where there are none.
    pub(crate) fn noise_between(&self, low: f32, high: f32) -> f32 {
        const TILE: usize = 32;
        let mut tiles = Vec::new();
        for ty in (1..self.height.saturating_sub(TILE + 1)).step_by(TILE) {
            for tx in (1..self.width.saturating_sub(TILE + 1)).step_by(TILE) {
                let (mut sum, mut luma) = (0.0f32, 0.0f32);
                for y in ty..ty + TILE {
                    for x in tx..tx + TILE {
                        luma += self.data.get(y * self.width + x).copied().unwrap_or(0.0);
                        sum += self.laplacian_difference(x, y).abs();
                    }
                }
                let count = (TILE * TILE) as f32;
                if (low..=high).contains(&(luma / count)) {
                    tiles.push((std::f32::consts::PI / 2.0).sqrt() * sum / (6.0 * count));
                }
            }
        }
        tiles.sort_by(f32::total_cmp);
        tiles.get(tiles.len() / 4).copied().unwrap_or(0.0)
    }

    fn laplacian_difference(&self, x: usize, y: usize) -> f32 {
        let row = |dy: usize| {
            let start = (y + dy - 1) * self.width + x - 1;
            match self.data.get(start..start + 3) {
                Some(&[a, b, c]) => (a, b, c),
                _ => (0.0, 0.0, 0.0),
            }
        };
        let ((a, b, c), (d, e, f), (g, h, i)) = (row(0), row(1), row(2));
        a - 2.0 * b + c - 2.0 * d + 4.0 * e - 2.0 * f + g - 2.0 * h + i
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn blur_keeps_the_mean_of_a_flat_plane_and_the_shape() {
        let plane = Plane {
            width: 7,
            height: 5,
            data: vec![40.0; 35],
        };
        let blurred = plane.blurred(2.0);
        assert_eq!((blurred.width, blurred.height), (7, 5));
        assert!(blurred.data.iter().all(|v| (v - 40.0).abs() < 1e-3));
    }

    #[test]
    fn samples_sit_at_half_pixels() {
        let plane = Plane {
            width: 3,
            height: 2,
            data: vec![0.0, 10.0, 20.0, 30.0, 40.0, 50.0],
        };
        assert_eq!(plane.sample(0.5, 0.5), Some(0.0));
        assert_eq!(plane.sample(1.0, 1.0), Some(20.0));
        assert_eq!(plane.sample(0.4, 0.5), None);
        assert_eq!(plane.sample(2.6, 0.5), None);
    }
}
