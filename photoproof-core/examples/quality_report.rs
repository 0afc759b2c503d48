//! Sharpness, exposure and bars on graded degradations of room photos: one table.
//!
//! Pictures are reduced to the working size (long side 1024) before an edit, so that its strength is in working
//! pixels; those of less than 640 pixels are left out. Folders are searched to any depth.
//!
//! `cargo run --release -p photoproof-core --example quality_report -- [--unedited] [--only WORD] FOLDER...`
//! `--only` leaves out the edits without that word in their names, except that the originals stay.
#![allow(clippy::unwrap_used, clippy::print_stdout, clippy::expect_used)]

#[path = "../../tests/support/screen.rs"]
mod screen;

use image::{RgbImage, imageops};
use photoproof_core::ingest::Pixels;
use photoproof_core::ingest::pixels::WORKING_LONG_SIDE;
use photoproof_core::measure::Quality;
use rayon::prelude::*;
use screen::{Screen, photographed};

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

/// A finger on the lens: the picture's mean colour with heavy shading and noise.
fn covered(picture: &RgbImage) -> RgbImage {
    let blurred = imageops::blur(&imageops::thumbnail(picture, 64, 48), 16.0);
    let (width, height) = picture.dimensions();
    let smooth = imageops::resize(&blurred, width, height, imageops::FilterType::CatmullRom);
    noise(&gain(&smooth, 0.3), 4.0)
}

/// The picture at 84 % of its size within a dark rim, on a grey table; the rim, a share of the width, and its slant.
fn in_a_rim(picture: &RgbImage, rim: f32, lean: [f32; 2]) -> RgbImage {
    let (width, height) = picture.dimensions();
    let middle = [width, height].map(|side| side as f32 / 2.0);
    let framed = RgbImage::from_fn(width, height, |x, y| {
        let (x, y) = (x as f32 - middle[0], y as f32 - middle[1]);
        let (u, v) = ((x + lean[0] * y) / 0.84, (y + lean[1] * x) / 0.84);
        let outside = (u.abs() - middle[0]).max(v.abs() - middle[1]);
        if outside < 0.0 {
            *picture.get_pixel((u + middle[0]) as u32, (v + middle[1]) as u32)
        } else if outside < rim * width as f32 {
            image::Rgb([24, 23, 22])
        } else {
            image::Rgb([128, 120, 110])
        }
    });
    jpeg(&noise(&imageops::blur(&framed, 0.8), 3.0), 75)
}

/// Colours smoothed over eight pixels of the camera against their noise, then saved at 60.
fn muted(picture: &RgbImage) -> RgbImage {
    let smooth = imageops::blur(picture, 1.0);
    let luma =
        |[r, g, b]: [u8; 3]| 0.299 * f32::from(r) + 0.587 * f32::from(g) + 0.114 * f32::from(b);
    let mut out = smooth.clone();
    for ((pixel, own), soft) in out.pixels_mut().zip(picture.pixels()).zip(smooth.pixels()) {
        let more = luma(own.0) - luma(soft.0);
        pixel.0 = soft
            .0
            .map(|level| (f32::from(level) + more).clamp(0.0, 255.0) as u8);
    }
    jpeg(&out, 60)
}

/// Made small, `long_side` pixels, and large again.
fn enlarged(picture: &RgbImage, long_side: u32) -> RgbImage {
    let (width, height) = picture.dimensions();
    let small = imageops::resize(
        picture,
        long_side,
        long_side * height / width,
        imageops::FilterType::Triangle,
    );
    imageops::resize(&small, width, height, imageops::FilterType::CatmullRom)
}

/// Grey bars above and below that take `share` of the height each.
fn bars(picture: &RgbImage, share: f32) -> RgbImage {
    let (width, height) = picture.dimensions();
    let bar = (height as f32 * share).round() as u32;
    RgbImage::from_fn(width, height, |x, y| {
        if y < bar || y >= height - bar {
            image::Rgb([24; 3])
        } else {
            *picture.get_pixel(x, y)
        }
    })
}

/// Bars with rows of small marks, as the screen of a phone shows a photo of its gallery.
fn screen_of_a_phone(picture: &RgbImage) -> RgbImage {
    let mut screen = bars(picture, 0.12);
    let (width, height) = screen.dimensions();
    let row = height / 40;
    for top in [row, height - 3 * row] {
        for y in top..top + row {
            for x in (row..width - row).filter(|x| (x / 4 * 7 + y / 4 * 5) % 11 < 3) {
                screen.put_pixel(x, y, image::Rgb([220; 3]));
            }
        }
    }
    jpeg(&screen, 75)
}

const EDITS: &[(&str, Edit)] = &[
    ("original", |p| p.clone()),
    ("jpeg 40", |p| jpeg(p, 40)),
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
    ("gain 0.01", |p| gain(p, 0.01)),
    ("gain 8", |p| gain(p, 8.0)),
    ("gain 20", |p| gain(p, 20.0)),
    ("covered lens", covered),
    ("enlarged from 200", |p| enlarged(p, 200)),
    ("enlarged from 320", |p| enlarged(p, 320)),
    ("enlarged from 480", |p| enlarged(p, 480)),
    ("bars 2 x 3 %", |p| jpeg(&bars(p, 0.03), 75)),
    ("bars 2 x 12 %", |p| jpeg(&bars(p, 0.12), 75)),
    ("bars with marks", screen_of_a_phone),
    ("rim 2 %", |p| in_a_rim(p, 0.02, [0.0, 0.0])),
    ("rim 4 %, leaning", |p| in_a_rim(p, 0.04, [0.03, -0.02])),
    ("rim up to the edge", |p| in_a_rim(p, 0.3, [0.0, 0.0])),
    ("screen, pitch 1.3", |p| on_a_screen(p, 1.3)),
    ("screen, pitch 1.7", |p| on_a_screen(p, 1.7)),
    ("screen, pitch 2.1", |p| on_a_screen(p, 2.1)),
    ("screen, pitch 2.3", |p| on_a_screen(p, 2.3)),
    ("screen, pitch 2.7", |p| on_a_screen(p, 2.7)),
    ("screen, pitch 3.1", |p| on_a_screen(p, 3.1)),
    ("screen, pitch 3.6", |p| on_a_screen(p, 3.6)),
    ("screen, pitch 4.2", |p| on_a_screen(p, 4.2)),
    ("screen, muted 1.3", |p| muted(&on_a_screen(p, 1.3))),
    ("screen, muted 2.1", |p| muted(&on_a_screen(p, 2.1))),
    ("screen, muted 3.1", |p| muted(&on_a_screen(p, 3.1))),
    ("screen, muted 4.2", |p| muted(&on_a_screen(p, 4.2))),
];

/// Of the edits that take seconds, every fourth picture is enough.
const SLOW: &str = "screen, ";

/// A photo of a screen; `pitch` is the size of the screen's pixels in pixels of the camera.
fn on_a_screen(picture: &RgbImage, pitch: f32) -> RgbImage {
    let screen = Screen {
        pitch,
        slant: [0.1, -0.15],
        turn: 0.026,
        blur: 0.7,
    };
    jpeg(&photographed(picture, screen), 90)
}

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

/// Pictures below a folder, by name.
fn pictures(folder: &std::path::Path) -> Vec<std::path::PathBuf> {
    let mut found = Vec::new();
    for entry in std::fs::read_dir(folder).expect("a folder of pictures") {
        let path = entry.unwrap().path();
        if path.is_dir() {
            found.extend(pictures(&path));
        } else if path.extension().is_some_and(|e| e == "jpg") {
            found.push(path);
        }
    }
    found.sort();
    found
}

/// Share of pairs in which the clean picture is the sharper one: the area under the ROC curve.
fn area_under_curve(clean: &[f64], edited: &[f64]) -> f64 {
    let won = |c: &f64, s: &f64| f64::from(u8::from(c > s)) + 0.5 * f64::from(u8::from(c == s));
    let wins: f64 = edited
        .iter()
        .flat_map(|s| clean.iter().map(move |c| won(c, s)))
        .sum();
    wins / (edited.len() * clean.len()).max(1) as f64
}

/// One line: sharpness, then the share of pictures that miss each limit.
fn print(name: &str, qualities: &[Quality], clean: &[f64]) {
    let limits = photoproof_core::Limits::default();
    let mut sharp: Vec<f64> = qualities.iter().map(|q| q.sharpness).collect();
    sharp.sort_by(f64::total_cmp);
    let p = |share: f64| sharp[((sharp.len() - 1) as f64 * share) as usize];
    let miss = |test: &dyn Fn(&Quality) -> bool| {
        let count = qualities.iter().filter(|q| test(q)).count();
        100.0 * count as f64 / qualities.len() as f64
    };
    let of = [
        miss(&|q| q.sharpness < limits.min_sharpness),
        miss(&|q| q.sharpness <= 0.0),
        miss(&|q| q.mean_luma < limits.min_mean_luma),
        miss(&|q| q.dark_share > limits.max_dark_share),
        miss(&|q| q.clipped_share > limits.max_clipped_share),
        miss(&|q| q.one_colour_share > limits.max_one_colour_share),
        miss(&|q| q.bar_share >= 0.02),
        miss(&|q| q.frame_share > 0.0),
        miss(&|q| q.moire_share >= 0.1),
    ];
    print!(
        "{name:18} {:4} {:5.0} {:5.0} {:5.0} {:6.3}",
        sharp.len(),
        p(0.0),
        p(0.5),
        p(1.0),
        area_under_curve(clean, &sharp)
    );
    for share in of {
        print!(" {share:6.1}");
    }
    println!();
}

fn main() {
    let (mut unedited, mut only, mut folders) = (false, None, Vec::new());
    let mut arguments = std::env::args().skip(1);
    while let Some(argument) = arguments.next() {
        match argument.as_str() {
            "--unedited" => unedited = true,
            "--only" => only = arguments.next(),
            _ => folders.push(argument),
        }
    }
    let files: Vec<_> = folders
        .iter()
        .flat_map(|folder| pictures(std::path::Path::new(folder)))
        .filter(|f| image::image_dimensions(f).is_ok_and(|(w, h)| w.max(h) >= 640))
        .collect();
    let originals: Vec<RgbImage> = files
        .iter()
        .map(|f| working(image::open(f).unwrap().to_rgb8()).rgb)
        .collect();
    println!(
        "{:18} {:>4} {:>5} {:>5} {:>5} {:>6} {:>6} {:>6} {:>6} {:>6} {:>6} {:>6} {:>6} {:>6} {:>6}",
        "edit",
        "n",
        "min",
        "med",
        "max",
        "AUC",
        "sharp%",
        "noedge",
        "luma%",
        "black%",
        "clip%",
        "one%",
        "bars%",
        "frame%",
        "moire%"
    );
    let mut clean: Vec<f64> = Vec::new();
    let wanted =
        |name: &str| name == "original" || only.as_ref().is_none_or(|word| name.contains(word));
    for (name, edit) in EDITS.iter().filter(|(name, _)| wanted(name)) {
        let step = if name.starts_with(SLOW) { 4 } else { 1 };
        let qualities: Vec<Quality> = originals
            .par_iter()
            .step_by(step)
            .map(|picture| Quality::new(&working(edit(picture))))
            .collect();
        if clean.is_empty() {
            clean = qualities.iter().map(|q| q.sharpness).collect();
        }
        print(name, &qualities, &clean);
        if unedited {
            for (file, quality) in files.iter().zip(&qualities) {
                println!("  {} {quality:?}", file.display());
            }
            return;
        }
    }
}
