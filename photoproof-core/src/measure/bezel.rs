//! A dark frame with straight sides around the picture: the rim of a screen that was photographed.

use image::GrayImage;

use crate::measure::bars::Side;

/// Brightest level of the rim, and how much brighter what it holds must be.
const DARK: u8 = 52;
const STEP: u8 = 12;
/// Thinnest and widest rim inside the photo, and how far from the edge of the photo its inner side may lie, shares of
/// the photo's height or width. A rim that begins at the edge may be as wide as that.
const THIN: f64 = 0.008;
const WIDE: f64 = 0.1;
const REACH: f64 = 0.25;
/// Part of a side that is looked at: corners are left out.
const MIDDLE: [f64; 2] = [0.15, 0.85];
/// Pixels from one look to the next, and fewest looks that tell a line.
const PITCH: usize = 4;
const LEAST_LOOKS: usize = 8;
/// Share of the looks that must lie on one line, how near, pixels, and how much the line may lean.
const AGREE: f64 = 0.8;
const NEAR: f64 = 3.0;
const LEAN: f64 = 0.15;
/// Sides that must have such a rim.
const SIDES: usize = 3;

/// Share of the photo outside the inner edge of a dark frame, 0..=1; 0 without one.
pub(super) fn frame_share(gray: &GrayImage) -> f64 {
    let depths = [Side::Top, Side::Bottom, Side::Left, Side::Right].map(|side| rim(gray, side));
    if depths.iter().flatten().count() < SIDES {
        return 0.0;
    }
    let [top, bottom, left, right] = depths.map(|depth| depth.unwrap_or(0.0));
    1.0 - (1.0 - top - bottom) * (1.0 - left - right)
}

/// How far inwards the inner edge of a straight rim lies along one side, share of the height or width.
fn rim(gray: &GrayImage, side: Side) -> Option<f64> {
    let (length, lines) = side.size(gray.dimensions());
    let [first, last] = MIDDLE.map(|share| (share * f64::from(length)) as u32);
    let looks: Vec<u32> = (first..last).step_by(PITCH).collect();
    let ends: Vec<[f64; 2]> = looks
        .iter()
        .filter_map(|&along| {
            let end = inner_end(gray, side, along, f64::from(lines))?;
            Some([f64::from(along), f64::from(end)])
        })
        .collect();
    let needed = (AGREE * looks.len() as f64).ceil() as usize;
    if ends.len() < needed.max(LEAST_LOOKS) {
        return None;
    }
    let half = ends.len() / 2;
    let opposite = ends.iter().zip(ends.iter().skip(half));
    let lean = median(opposite.map(|(a, b)| (b[1] - a[1]) / (b[0] - a[0])))?;
    let start = median(ends.iter().map(|[along, end]| end - lean * along))?;
    let on_line = ends
        .iter()
        .filter(|[along, end]| (end - lean * along - start).abs() <= NEAR);
    let middle = start + lean * f64::from(length) / 2.0;
    (lean.abs() <= LEAN && on_line.count() >= needed).then(|| middle / f64::from(lines))
}

/// Pixels from the photo's edge to the end of the first dark run of a rim's width.
fn inner_end(gray: &GrayImage, side: Side, along: u32, lines: f64) -> Option<u32> {
    let [thin, wide, reach] = [THIN, WIDE, REACH].map(|share| (share * lines) as u32);
    let level = |depth: u32| {
        let (x, y) = side.place(gray.dimensions(), along, depth)?;
        gray.get_pixel_checked(x, y).map(|pixel| pixel.0[0])
    };
    let mut begin = None;
    for depth in 0..=reach {
        let is_dark = level(depth)? <= DARK;
        match (is_dark, begin) {
            (true, None) => begin = Some(depth),
            (false, Some(from)) => {
                let run = depth - from;
                let beyond = level(depth + 2)?;
                if run >= thin.max(2) && (run <= wide || from == 0) && beyond > DARK + STEP {
                    return Some(depth);
                }
                begin = None;
            }
            _ => {}
        }
    }
    None
}

fn median(values: impl Iterator<Item = f64>) -> Option<f64> {
    let mut values: Vec<f64> = values.filter(|value| value.is_finite()).collect();
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied()
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::Luma;

    /// A bright picture within a dark rim of `rim` pixels, `margin` pixels from the photo's edges, its sides leaning by
    /// `lean`; `sides` of them, from the top clockwise, have a rim.
    fn screen(margin: f32, rim: f32, lean: f32, sides: usize) -> GrayImage {
        GrayImage::from_fn(640, 480, |x, y| {
            let (x, y) = (x as f32, y as f32);
            let depths = [
                y - lean * x,
                640.0 - x - lean * y,
                480.0 - y + lean * x,
                x + lean * y,
            ];
            let within =
                |from: f32, to: f32| depths.iter().take(sides).any(|d| (from..to).contains(d));
            Luma([if within(-100.0, margin) {
                120
            } else if within(margin, margin + rim) {
                20
            } else {
                100 + ((x / 9.0) as u8 + (y / 7.0) as u8) % 5 * 30
            }])
        })
    }

    #[test]
    fn a_rim_on_three_or_four_sides_is_a_frame() {
        let share = |margin, rim| {
            1.0 - (1.0 - 2.0 * (margin + rim) / 480.0) * (1.0 - 2.0 * (margin + rim) / 640.0)
        };
        for (margin, rim) in [(0.0, 20.0), (30.0, 12.0)] {
            let found = frame_share(&screen(margin, rim, 0.0, 4));
            assert!(
                (found - f64::from(share(margin, rim))).abs() < 0.01,
                "{found}"
            );
        }
        assert!(frame_share(&screen(20.0, 14.0, 0.03, 4)) > 0.05);
        assert!(frame_share(&screen(20.0, 14.0, 0.0, 3)) > 0.05);
    }

    #[test]
    fn two_dark_edges_none_or_a_black_picture_are_no_frame() {
        assert_eq!(frame_share(&screen(0.0, 20.0, 0.0, 2)), 0.0);
        assert_eq!(frame_share(&screen(0.0, 0.0, 0.0, 4)), 0.0);
        assert_eq!(frame_share(&GrayImage::new(640, 480)), 0.0);
        assert_eq!(frame_share(&GrayImage::new(0, 0)), 0.0);
    }
}
