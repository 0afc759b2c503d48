//! Likeness of two square windows: zero-mean normalised cross-correlation (Lewis, "Fast Normalized
//! Cross-Correlation", Vision Interface, 1995).

use crate::measure::plane::Plane;

/// A shift in pixels.
pub(super) type Shift = (isize, isize);

/// Two windows compared.
#[derive(Debug, Clone, Copy)]
pub(super) struct Likeness {
    /// Correlation, -1..=1; contrasts of the size of the noise count as none.
    pub(super) correlation: f32,
    /// Mean of each window, luma levels.
    pub(super) mean: [f32; 2],
    /// Standard deviation of each window, luma levels.
    pub(super) contrast: [f32; 2],
}

/// Standard deviation that counts as noise, luma levels.
const NOISE: f32 = 2.0;

/// Compares the window of a at (`x`, `y`) of half side `half` with that of b moved by `shift`; `None` if
/// either leaves its picture or meets a hole.
pub(super) fn compare(
    a: &Plane,
    b: &Plane,
    (x, y): Shift,
    half: isize,
    shift: Shift,
) -> Option<Likeness> {
    let side = 2 * half as usize;
    let first = corner(a, x - half, y - half, side)?;
    let second = corner(b, x + shift.0 - half, y + shift.1 - half, side)?;
    let (mut sa, mut sb, mut saa, mut sbb, mut sab) = (0.0f32, 0.0f32, 0.0f32, 0.0f32, 0.0f32);
    for row in 0..side {
        let p = a
            .data
            .get(first + row * a.width..first + row * a.width + side)?;
        let q = b
            .data
            .get(second + row * b.width..second + row * b.width + side)?;
        for (&p, &q) in p.iter().zip(q) {
            sa += p;
            sb += q;
            saa += p * p;
            sbb += q * q;
            sab += p * q;
        }
    }
    let n = (side * side) as f32;
    let (ma, mb) = (sa / n, sb / n);
    let va = (saa / n - ma * ma).max(0.0);
    let vb = (sbb / n - mb * mb).max(0.0);
    let correlation = (sab / n - ma * mb) / ((va + NOISE * NOISE) * (vb + NOISE * NOISE)).sqrt();
    mb.is_finite().then_some(Likeness {
        correlation,
        mean: [ma, mb],
        contrast: [va.sqrt(), vb.sqrt()],
    })
}

fn corner(plane: &Plane, x: isize, y: isize, side: usize) -> Option<usize> {
    let (x, y) = (usize::try_from(x).ok()?, usize::try_from(y).ok()?);
    (x + side <= plane.width && y + side <= plane.height).then_some(y * plane.width + x)
}
