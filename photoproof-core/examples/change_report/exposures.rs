//! Two exposures of the same unchanged view, made from one picture: exposure, white balance, noise, a light
//! that falls off, sharpness, JPEG and a slightly moved and turned frame.

use std::collections::BTreeMap;

use image::{Rgb, RgbImage};
use photoproof_core::ingest::Pixels;
use photoproof_core::measure::change::Change;
use photoproof_core::measure::{Viewpoint, measure_pixels};
use rayon::prelude::*;

use crate::Measured;

struct Exposure {
    name: &'static str,
    gain: [f32; 3],
    noise: f32,
    blur: f32,
    fall_off: f32,
    moved: bool,
}

const fn exposure(name: &'static str, gain: [f32; 3], noise: f32) -> Exposure {
    Exposure {
        name,
        gain,
        noise,
        blur: 0.0,
        fall_off: 0.0,
        moved: true,
    }
}

const EXPOSURES: &[Exposure] = &[
    exposure("noise 5", [1.0, 1.0, 1.0], 5.0),
    exposure("one stop darker", [0.5, 0.5, 0.5], 5.0),
    exposure("two thirds brighter", [1.6, 1.6, 1.6], 4.0),
    exposure("warm", [1.15, 1.0, 0.8], 4.0),
    exposure("cold, darker", [0.6, 0.7, 0.85], 5.0),
    Exposure {
        blur: 1.6,
        ..exposure("softer", [1.0, 1.0, 1.0], 4.0)
    },
    Exposure {
        fall_off: 0.5,
        ..exposure("lamp on one side", [1.1, 1.0, 0.9], 4.0)
    },
    Exposure {
        moved: false,
        ..exposure("same frame", [0.8, 0.8, 0.8], 4.0)
    },
];

fn expose(picture: &RgbImage, how: &Exposure, seed: u64) -> RgbImage {
    let (width, height) = picture.dimensions();
    let (sin, cos) = if how.moved {
        (1.2f32.to_radians().sin(), 1.2f32.to_radians().cos())
    } else {
        (0.0, 1.0)
    };
    let zoom = if how.moved { 1.04 } else { 1.0 };
    let source = if how.blur > 0.0 {
        image::imageops::blur(picture, how.blur)
    } else {
        picture.clone()
    };
    let mut state = 0x9e37_79b9_7f4a_7c15u64 ^ seed;
    let mut uniform = move || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state >> 40) as f32 / (1u64 << 24) as f32
    };
    let mut out = RgbImage::new(width, height);
    for (x, y, pixel) in out.enumerate_pixels_mut() {
        let (cx, cy) = (width as f32 / 2.0, height as f32 / 2.0);
        let (dx, dy) = ((x as f32 - cx) / zoom, (y as f32 - cy) / zoom);
        let shift = if how.moved { 0.012 * width as f32 } else { 0.0 };
        let sx = (cx + cos * dx - sin * dy + shift).clamp(0.0, width as f32 - 1.0);
        let sy = (cy + sin * dx + cos * dy - shift).clamp(0.0, height as f32 - 1.0);
        let value = image::imageops::interpolate_bilinear(&source, sx, sy).map_or([0; 3], |p| p.0);
        let lamp = 1.0 + how.fall_off * (x as f32 / width as f32 - 0.5) * 2.0;
        let light = std::array::from_fn(|i| {
            let linear = (f32::from(value[i]) / 255.0).powf(2.2) * how.gain[i] * lamp;
            let gauss: f32 = (0..6).map(|_| uniform()).sum::<f32>() * 1.41 - 4.24;
            (255.0 * linear.powf(1.0 / 2.2) + how.noise * gauss).clamp(0.0, 255.0) as u8
        });
        *pixel = Rgb(light);
    }
    out
}

fn jpeg(picture: &RgbImage, quality: u8) -> RgbImage {
    let mut bytes = Vec::new();
    image::codecs::jpeg::JpegEncoder::new_with_quality(&mut bytes, quality)
        .encode_image(picture)
        .unwrap();
    image::load_from_memory(&bytes).unwrap().to_rgb8()
}

pub(crate) fn print(photos: &BTreeMap<String, Measured>) {
    let photos: Vec<&Measured> = photos.values().step_by(3).collect();
    println!("\nchanged share of two exposures of one unchanged view");
    println!(
        "{:20} {:>4} {:>8} {:>8} {:>8} {:>8}",
        "second exposure", "n", "median", "p98", "max", "under 3%"
    );
    for (seed, how) in EXPOSURES.iter().enumerate() {
        let mut shares: Vec<f64> = photos
            .par_iter()
            .filter_map(|m| {
                let picture = jpeg(&expose(&m.pixels.rgb, how, seed as u64), 75);
                let (width, height) = picture.dimensions();
                let mut second =
                    measure_pixels("second".into(), &Pixels::new(picture, width, height));
                second.features.focal_px = m.measures.features.focal_px;
                let viewpoint = Viewpoint::between(&m.measures.features, &second.features);
                let Viewpoint::Shift(shift) = viewpoint else {
                    return None;
                };
                let change = Change::between(&m.measures.small, &second.small, &shift)?;
                if change.share > 0.05 {
                    println!(
                        "  {} {}: {:.1} %",
                        how.name,
                        m.photo.path,
                        100.0 * change.share
                    );
                }
                Some(change.share)
            })
            .collect();
        shares.sort_by(f64::total_cmp);
        let at = |share: f64| shares[((shares.len() - 1) as f64 * share).round() as usize] * 100.0;
        println!(
            "{:20} {:4} {:7.2}% {:7.2}% {:7.2}% {:7.1}%",
            how.name,
            shares.len(),
            at(0.5),
            at(0.98),
            at(1.0),
            100.0 * shares.iter().filter(|s| **s < 0.03).count() as f64 / shares.len() as f64
        );
    }
}
