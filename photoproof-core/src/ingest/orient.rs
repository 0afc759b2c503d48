//! The eight values of Exif Orientation (CIPA DC-008, tag 0x0112).

use image::RgbImage;
use image::imageops::{flip_horizontal, flip_vertical, rotate90, rotate180, rotate270};

/// Turns a stored picture upright. `None` and 1 leave it as it is.
pub(crate) fn upright(stored: RgbImage, orientation: Option<u16>) -> RgbImage {
    match orientation {
        Some(2) => flip_horizontal(&stored),
        Some(3) => rotate180(&stored),
        Some(4) => flip_vertical(&stored),
        Some(5) => flip_horizontal(&rotate90(&stored)),
        Some(6) => rotate90(&stored),
        Some(7) => flip_horizontal(&rotate270(&stored)),
        Some(8) => rotate270(&stored),
        _ => stored,
    }
}

/// Where a rectangle of the stored picture lies in the upright one: left, top, right and bottom, shares of width and height.
pub(crate) fn upright_rectangle(
    [left, top, right, bottom]: [f64; 4],
    orientation: Option<u16>,
) -> [f64; 4] {
    let [[a, b], [c, d]] = [[left, top], [right, bottom]].map(|at| upright_place(at, orientation));
    [a.min(c), b.min(d), a.max(c), b.max(d)]
}

/// Where a place of the stored picture, shares of its width and height, lies in the upright one.
fn upright_place([x, y]: [f64; 2], orientation: Option<u16>) -> [f64; 2] {
    match orientation {
        Some(2) => [1.0 - x, y],
        Some(3) => [1.0 - x, 1.0 - y],
        Some(4) => [x, 1.0 - y],
        Some(5) => [y, x],
        Some(6) => [1.0 - y, x],
        Some(7) => [1.0 - y, 1.0 - x],
        Some(8) => [y, 1.0 - x],
        _ => [x, y],
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Where the first row and the first column of the stored picture belong, word for word from the
    /// standard: 1 top left, 2 top right, 3 bottom right, 4 bottom left, 5 left top, 6 right top,
    /// 7 right bottom, 8 left bottom.
    #[test]
    fn every_value_puts_row_and_column_where_the_standard_says() {
        // Stored 3 x 2; (0,0) marked 1, (2,0) marked 2, (0,1) marked 3.
        let stored = RgbImage::from_fn(3, 2, |x, y| image::Rgb([(x + 3 * y) as u8; 3]));
        let first = |upright: &RgbImage, x: u32, y: u32| upright.get_pixel(x, y).0[0];
        // For each value: upright size, and upright position of stored (0,0), (2,0) and (0,1).
        type Case = (u16, (u32, u32), (u32, u32), (u32, u32), (u32, u32));
        let cases: [Case; 8] = [
            (1, (3, 2), (0, 0), (2, 0), (0, 1)),
            (2, (3, 2), (2, 0), (0, 0), (2, 1)),
            (3, (3, 2), (2, 1), (0, 1), (2, 0)),
            (4, (3, 2), (0, 1), (2, 1), (0, 0)),
            (5, (2, 3), (0, 0), (0, 2), (1, 0)),
            (6, (2, 3), (1, 0), (1, 2), (0, 0)),
            (7, (2, 3), (1, 2), (1, 0), (0, 2)),
            (8, (2, 3), (0, 2), (0, 0), (1, 2)),
        ];
        for (value, size, origin, row_end, column_end) in cases {
            let turned = upright(stored.clone(), Some(value));
            assert_eq!(turned.dimensions(), size, "{value}");
            assert_eq!(first(&turned, origin.0, origin.1), 0, "{value}");
            let corner = |place, (x, y): (u32, u32)| {
                let [u, v] = upright_place(place, Some(value));
                assert_eq!((u > 0.5, v > 0.5), (x > 0, y > 0), "{value}");
            };
            corner([0.0, 0.0], origin);
            corner([1.0, 0.0], row_end);
            corner([0.0, 1.0], column_end);
            assert_eq!(first(&turned, row_end.0, row_end.1), 2, "{value}");
            assert_eq!(first(&turned, column_end.0, column_end.1), 3, "{value}");
        }
        assert_eq!(upright(stored.clone(), None), stored);
    }
}
