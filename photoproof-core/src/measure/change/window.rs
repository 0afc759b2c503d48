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

/// Sums that are kept side by side: registers hold so many, and the order of additions is the same on every processor.
const LANES: usize = 4;

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
    let mut sums = [[0.0f32; LANES]; 5];
    for row in 0..side {
        let p = a
            .data
            .get(first + row * a.width..first + row * a.width + side)?;
        let q = b
            .data
            .get(second + row * b.width..second + row * b.width + side)?;
        let (p, p_rest) = p.as_chunks::<LANES>();
        let (q, q_rest) = q.as_chunks::<LANES>();
        for (p, q) in p.iter().zip(q) {
            for lane in 0..LANES {
                add(&mut sums, lane, p[lane], q[lane]);
            }
        }
        for (lane, (p, q)) in p_rest.iter().zip(q_rest).enumerate() {
            add(&mut sums, lane, *p, *q);
        }
    }
    let [sa, sb, saa, sbb, sab] = sums.map(|lanes| lanes.iter().sum::<f32>());
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

/// Adds a sample of each window to the sums of a lane: of both, of their squares, of their products.
#[inline(always)]
fn add([sa, sb, saa, sbb, sab]: &mut [[f32; LANES]; 5], lane: usize, p: f32, q: f32) {
    sa[lane] += p;
    sb[lane] += q;
    saa[lane] += p * p;
    sbb[lane] += q * q;
    sab[lane] += p * q;
}

fn corner(plane: &Plane, x: isize, y: isize, side: usize) -> Option<usize> {
    let (x, y) = (usize::try_from(x).ok()?, usize::try_from(y).ok()?);
    (x + side <= plane.width && y + side <= plane.height).then_some(y * plane.width + x)
}
