//! A date stamp as cameras burn it in: amber digits of our own 5 x 7 dots at the lower right.

use image::{Rgb, RgbImage};

const DOT: u32 = 4;
const AMBER: Rgb<u8> = Rgb([255, 176, 32]);
const DARK: Rgb<u8> = Rgb([40, 24, 0]);

/// Rows of each glyph, top first; the lowest five bits are the dots.
fn glyph(letter: char) -> [u8; 7] {
    match letter {
        '0' => [14, 17, 19, 21, 25, 17, 14],
        '1' => [4, 12, 4, 4, 4, 4, 14],
        '2' => [14, 17, 1, 2, 4, 8, 31],
        '3' => [31, 2, 4, 2, 1, 17, 14],
        '4' => [2, 6, 10, 18, 31, 2, 2],
        '5' => [31, 16, 30, 1, 1, 17, 14],
        '6' => [6, 8, 16, 30, 17, 17, 14],
        '7' => [31, 1, 2, 4, 8, 8, 8],
        '8' => [14, 17, 17, 14, 17, 17, 14],
        '9' => [14, 17, 17, 15, 1, 2, 12],
        ':' => [0, 4, 4, 0, 4, 4, 0],
        '-' => [0, 0, 0, 31, 0, 0, 0],
        _ => [0; 7],
    }
}

/// Draws `text` with a one-dot margin from the lower right corner.
pub(crate) fn burn_in(picture: &mut RgbImage, text: &str) {
    let letters = u32::try_from(text.chars().count()).unwrap_or(0);
    let left = picture.width().saturating_sub(letters * 6 * DOT + 6 * DOT);
    let top = picture.height().saturating_sub(12 * DOT);
    for (offset, colour) in [(2, DARK), (0, AMBER)] {
        for (place, letter) in (0u32..).zip(text.chars()) {
            for (row, bits) in (0u32..).zip(glyph(letter)) {
                for column in (0..5u32).filter(|column| bits >> (4 - column) & 1 == 1) {
                    let x = left + (place * 6 + column) * DOT + offset;
                    dot(picture, x, top + row * DOT + offset, colour);
                }
            }
        }
    }
}

fn dot(picture: &mut RgbImage, left: u32, top: u32, colour: Rgb<u8>) {
    for y in top..top + DOT {
        for x in left..left + DOT {
            if x < picture.width() && y < picture.height() {
                picture.put_pixel(x, y, colour);
            }
        }
    }
}
