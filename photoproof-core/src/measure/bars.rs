//! Bars of one colour along two opposite sides, but for text and symbols in them: a picture shown inside another.

use image::RgbImage;

/// Largest difference of a pixel in a bar from the bar's colour, levels per channel; compression keeps a
/// constant area constant.
const SAME: u8 = 3;
/// Share of a line with text and symbols, as a phone's screen shows them in its bars, that is near the bar's colour:
/// compression smears around them.
const NEAR: f64 = 0.5;
/// Share of the height or width that lines with text take at most until a line of one colour comes again.
const TEXT: f64 = 0.08;
/// Smallest difference of the picture beside the bar from the bar's colour, levels in any channel.
const OTHER: u8 = 24;
/// Pixels left out between bar and picture: blending, and the blocks of compression that hold both.
const GAP: u32 = 16;
/// Share of the line beside the bar that has to differ: a bar ends along a straight line.
const ENDS: f64 = 0.5;

type Colour = [u8; 3];

/// One side of a picture: lines counted from there inwards.
#[derive(Debug, Clone, Copy)]
pub(super) enum Side {
    Top,
    Bottom,
    Left,
    Right,
}

impl Side {
    /// Length of the lines along this side, and how many there are, of a picture of width and height.
    pub(super) fn size(self, (width, height): (u32, u32)) -> (u32, u32) {
        match self {
            Side::Top | Side::Bottom => (width, height),
            Side::Left | Side::Right => (height, width),
        }
    }

    /// The pixel at a place of the line `depth` lines inwards; `None` outside the picture.
    pub(super) fn place(
        self,
        (width, height): (u32, u32),
        along: u32,
        depth: u32,
    ) -> Option<(u32, u32)> {
        Some(match self {
            Side::Top => (along, depth),
            Side::Bottom => (along, height.checked_sub(depth + 1)?),
            Side::Left => (depth, along),
            Side::Right => (width.checked_sub(depth + 1)?, along),
        })
    }
}

/// Share of the height or the width, whichever is more, that two bars of one colour on opposite sides take
/// together, 0..=1; 0 without such a pair.
pub(super) fn bar_share(rgb: &RgbImage) -> f64 {
    let pairs = [
        (Side::Top, Side::Bottom, rgb.height()),
        (Side::Left, Side::Right, rgb.width()),
    ];
    pairs
        .into_iter()
        .filter_map(|(first, second, length)| {
            let (width, colour) = bar(rgb, first)?;
            let (other_width, other_colour) = bar(rgb, second)?;
            same(colour, other_colour, SAME)
                .then(|| f64::from(width + other_width) / f64::from(length))
        })
        .fold(0.0, f64::max)
}

/// Width and colour of the bar along one side.
fn bar(rgb: &RgbImage, side: Side) -> Option<(u32, Colour)> {
    let (_, lines) = side.size(rgb.dimensions());
    let colour = line(rgb, side, 0).next()?;
    let share = |depth: u32, tolerance: u8| {
        let (alike, all) = count(line(rgb, side, depth), |pixel| {
            same(pixel, colour, tolerance)
        });
        f64::from(alike) / f64::from(all.max(1))
    };
    let mut width = 0;
    for depth in 0..lines / 2 {
        if share(depth, SAME) == 1.0 {
            width = depth + 1;
        } else if f64::from(depth - width) >= TEXT * f64::from(lines) || share(depth, OTHER) < NEAR
        {
            break;
        }
    }
    if width == 0 || width >= lines / 2 {
        return None;
    }
    let beside = line(rgb, side, width + GAP);
    let (other, all) = count(beside, |pixel| !same(pixel, colour, OTHER));
    (f64::from(other) >= ENDS * f64::from(all.max(1))).then_some((width, colour))
}

/// Pixels that pass a test, and all of them.
fn count(pixels: impl Iterator<Item = Colour>, test: impl Fn(Colour) -> bool) -> (u32, u32) {
    pixels.fold((0, 0), |(passed, all), pixel| {
        (passed + u32::from(test(pixel)), all + 1)
    })
}

/// Pixels of the line `depth` lines inwards from `side`; none outside the picture.
fn line(rgb: &RgbImage, side: Side, depth: u32) -> impl Iterator<Item = Colour> + '_ {
    let (length, _) = side.size(rgb.dimensions());
    (0..length).filter_map(move |along| {
        let (x, y) = side.place(rgb.dimensions(), along, depth)?;
        rgb.get_pixel_checked(x, y).map(|pixel| pixel.0)
    })
}

fn same(a: Colour, b: Colour, tolerance: u8) -> bool {
    a.iter().zip(b).all(|(&a, b)| a.abs_diff(b) <= tolerance)
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::Rgb;

    /// A chequered picture with black bars of `top`, `bottom`, `left` and `right` pixels.
    fn picture([top, bottom, left, right]: [u32; 4]) -> RgbImage {
        RgbImage::from_fn(300, 200, |x, y| {
            let inside = x >= left && x < 300 - right && y >= top && y < 200 - bottom;
            Rgb(if !inside {
                [0; 3]
            } else if (x / 7 + y / 9) % 3 == 0 {
                [90, 80, 70]
            } else {
                [180, 170, 160]
            })
        })
    }

    #[test]
    fn bars_are_measured_on_opposite_sides() {
        assert_eq!(bar_share(&picture([20, 30, 0, 0])), 0.25);
        assert_eq!(bar_share(&picture([0, 0, 15, 30])), 0.15);
        assert_eq!(bar_share(&picture([20, 20, 60, 60])), 0.4);
    }

    /// Draws symbols that cover `share` of some lines of the bars above and below.
    fn with_symbols(mut picture: RgbImage, share: f64) -> RgbImage {
        for y in (6..14).chain(182..190) {
            for x in (0..300).filter(|x| f64::from(x % 20) < 20.0 * share) {
                picture.put_pixel(x, y, Rgb([235; 3]));
            }
        }
        picture
    }

    #[test]
    fn text_and_symbols_in_bars_are_part_of_them() {
        let bars = picture([20, 30, 0, 0]);
        assert_eq!(bar_share(&with_symbols(bars.clone(), 0.4)), 0.25);
        // More than text covers: the bars end there, and what lies beside them is of their colour.
        assert_eq!(bar_share(&with_symbols(bars, 0.7)), 0.0);
    }

    #[test]
    fn one_bar_or_none_is_no_pair() {
        assert_eq!(bar_share(&picture([20, 0, 0, 0])), 0.0);
        assert_eq!(bar_share(&picture([0, 0, 30, 0])), 0.0);
        assert_eq!(bar_share(&picture([0; 4])), 0.0);
    }

    #[test]
    fn a_dark_ceiling_and_floor_with_soft_ends_are_no_bars() {
        let soft = RgbImage::from_fn(300, 200, |_, y| {
            let from_edge = y.min(199 - y);
            Rgb([from_edge.saturating_sub(20).min(200) as u8; 3])
        });
        assert_eq!(bar_share(&soft), 0.0);
    }

    #[test]
    fn a_picture_of_one_colour_or_none_has_no_bars() {
        assert_eq!(bar_share(&RgbImage::new(50, 40)), 0.0);
        assert_eq!(bar_share(&RgbImage::new(1, 1)), 0.0);
        assert_eq!(bar_share(&RgbImage::new(0, 0)), 0.0);
    }
}
