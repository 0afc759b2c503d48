//! Sharpness and exposure on graded degradations of room photos: one table.
//!
//! `cargo run --release -p photoproof-core --example quality_report -- FOLDER...`
#![allow(clippy::unwrap_used, clippy::print_stdout, clippy::expect_used)]

use image::{RgbImage, imageops};
use photoproof_core::ingest::Pixels;
use photoproof_core::ingest::pixels::WORKING_LONG_SIDE;
use photoproof_core::measure::Quality;

type Edit = fn(&RgbImage) -> RgbImage;

fn motion(picture: &RgbImage, (dx, dy): (f32, f32)) -> RgbImage {
    let steps = dx.abs().max(dy.abs()) as i32;
    RgbImage::from_fn(picture.width(), picture.height(), |x, y| {
        let mut sum = [0u32; 3];
        for i in 0..steps {
            let t = i as f32 / steps as f32 - 0.5;
            let sx = (x as f32 + dx * t).clamp(0.0, picture.width() as f32 - 1.0) as u32;
            let sy = (y as f32 + dy * t).clamp(0.0, picture.height() as f32 - 1.0) as u32;
            for (s, v) in sum.iter_mut().zip(picture.get_pixel(sx, sy).0) {
                *s += u32::from(v);
            }
        }
        image::Rgb(sum.map(|s| (s / steps as u32) as u8))
    })
}

fn noise(picture: &RgbImage, sigma: f32) -> RgbImage {
    let mut state = 88172645463325252u64;
    let mut uniform = move || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state >> 40) as f32 / (1u64 << 24) as f32
    };
    let mut out = picture.clone();
    for pixel in out.pixels_mut() {
        for v in &mut pixel.0 {
            let gauss: f32 = (0..12).map(|_| uniform()).sum::<f32>() - 6.0;
            *v = (f32::from(*v) + gauss * sigma).clamp(0.0, 255.0) as u8;
        }
    }
    out
}

fn gain(picture: &RgbImage, gain: f32) -> RgbImage {
    let mut out = picture.clone();
    for pixel in out.pixels_mut() {
        for v in &mut pixel.0 {
            *v = (255.0 * ((f32::from(*v) / 255.0).powf(2.2) * gain).powf(1.0 / 2.2))
                .clamp(0.0, 255.0) as u8;
        }
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

const EDITS: &[(&str, Edit)] = &[
    ("original", |p| p.clone()),
    ("jpeg 40", |p| jpeg(p, 40)),
    ("half size", |p| {
        imageops::resize(
            p,
            p.width() / 2,
            p.height() / 2,
            imageops::FilterType::Triangle,
        )
    }),
    ("noise 6", |p| noise(p, 6.0)),
    ("noise 15", |p| noise(p, 15.0)),
    ("gain 0.25", |p| gain(p, 0.25)),
    ("gain 3", |p| gain(p, 3.0)),
    ("blur 1", |p| imageops::blur(p, 1.0)),
    ("blur 2", |p| imageops::blur(p, 2.0)),
    ("blur 3", |p| imageops::blur(p, 3.0)),
    ("blur 4", |p| imageops::blur(p, 4.0)),
    ("blur 6", |p| imageops::blur(p, 6.0)),
    ("blur 4, noise 6", |p| noise(&imageops::blur(p, 4.0), 6.0)),
    ("blur 4, noise 15", |p| noise(&imageops::blur(p, 4.0), 15.0)),
    ("blur 4, gain 0.25", |p| gain(&imageops::blur(p, 4.0), 0.25)),
    ("motion 10 across", |p| motion(p, (10.0, 0.0))),
    ("motion 16 across", |p| motion(p, (16.0, 0.0))),
    ("motion 16 up", |p| motion(p, (0.0, 16.0))),
    ("motion 16 slanted", |p| motion(p, (11.3, 11.3))),
    ("motion 24 slanted", |p| motion(p, (20.0, 13.3))),
    ("gain 0.05", |p| gain(p, 0.05)),
    ("gain 0.02", |p| gain(p, 0.02)),
    ("gain 8", |p| gain(p, 8.0)),
    ("gain 20", |p| gain(p, 20.0)),
];

fn working(picture: RgbImage) -> Pixels {
    let (width, height) = picture.dimensions();
    let scale = f64::from(WORKING_LONG_SIDE) / f64::from(width.max(height));
    let reduced = if scale < 1.0 {
        let size = |v: u32| (f64::from(v) * scale).round() as u32;
        imageops::resize(
            &picture,
            size(width),
            size(height),
            imageops::FilterType::Triangle,
        )
    } else {
        picture
    };
    Pixels::new(reduced, width, height)
}

#[allow(clippy::too_many_lines, reason = "prints one table")]
fn main() {
    let mut files: Vec<_> = std::env::args()
        .skip(1)
        .flat_map(|folder| std::fs::read_dir(folder).expect("a folder of pictures"))
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|e| e == "jpg"))
        .collect();
    files.sort();
    let limits = photoproof_core::Limits::default();
    let mut clean: Vec<f64> = Vec::new();
    println!(
        "{:20} {:>5} {:>6} {:>6} {:>6} {:>6} {:>6} {:>7} {:>6} {:>6} {:>6}",
        "edit", "n", "min", "p1", "median", "p99", "AUC", "below", "luma", "dark", "clip"
    );
    for (name, edit) in EDITS {
        let qualities: Vec<Quality> = files
            .iter()
            .map(|f| Quality::new(&working(edit(&image::open(f).unwrap().to_rgb8()))))
            .collect();
        let mut sharp: Vec<f64> = qualities.iter().map(|q| q.sharpness).collect();
        sharp.sort_by(f64::total_cmp);
        if clean.is_empty() {
            clean = sharp.clone();
            for (f, q) in files.iter().zip(&qualities) {
                if q.sharpness < sharp[sharp.len() / 20 + 1] {
                    println!("  least sharp original: {} {:.0}", f.display(), q.sharpness);
                }
            }
        }
        let wins: f64 = sharp
            .iter()
            .map(|s| {
                clean
                    .iter()
                    .map(|c| {
                        if c > s {
                            1.0
                        } else if c == s {
                            0.5
                        } else {
                            0.0
                        }
                    })
                    .sum::<f64>()
            })
            .sum();
        let auc = wins / (sharp.len() * clean.len()) as f64;
        let below =
            sharp.iter().filter(|&&s| s < limits.min_sharpness).count() as f64 / sharp.len() as f64;
        let p = |share: f64| sharp[((sharp.len() - 1) as f64 * share) as usize];
        let mid = |get: fn(&Quality) -> f64| {
            let mut v: Vec<f64> = qualities.iter().map(get).collect();
            v.sort_by(f64::total_cmp);
            v[v.len() / 2]
        };
        println!(
            "{name:20} {:5} {:6.0} {:6.0} {:6.0} {:6.0} {auc:6.3} {:6.1}% {:6.3} {:6.3} {:6.3}",
            sharp.len(),
            p(0.0),
            p(0.01),
            p(0.5),
            p(0.99),
            100.0 * below,
            mid(|q| q.mean_luma),
            mid(|q| q.dark_share),
            mid(|q| q.clipped_share)
        );
    }
}
