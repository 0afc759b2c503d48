//! Writes the hand-made reports as pages, for the browser tests: `sample_reports DIR`.

use std::collections::BTreeMap;
use std::error::Error;
use std::io::Cursor;
use std::path::Path;

use image::{DynamicImage, Rgb, RgbImage};
use photoproof_core::phase::Phase;
use photoproof_core::report::{self, Thumbnail, Thumbnails, v1};

#[path = "reports.rs"]
mod reports;

const WIDTH: u32 = 480;
const HEIGHT: u32 = 360;

fn main() -> Result<(), Box<dyn Error>> {
    let folder = std::env::args().nth(1).ok_or("usage: sample_reports DIR")?;
    let folder = Path::new(&folder);
    std::fs::create_dir_all(folder)?;
    let jobs = [
        ("clean", reports::clean()),
        ("flawed", reports::flawed()),
        ("hostile", reports::hostile()),
        ("large", reports::large(170)),
    ];
    for (name, job) in &jobs {
        let pictures = thumbnails(job)?;
        let page = report::html::render(job, &pictures)?;
        std::fs::write(folder.join(format!("{name}.html")), page)?;
        let files = [
            ("json", report::json::render(job)),
            ("sarif", report::sarif::render(job)),
            ("xml", report::junit::render(job)),
            (
                "txt",
                report::text::render(job, &report::text::TextOptions::default()),
            ),
        ];
        for (ending, text) in files {
            std::fs::write(folder.join(format!("{name}.{ending}")), text)?;
        }
    }
    let all: Vec<v1::Report> = jobs.into_iter().map(|(_, job)| job).collect();
    let links = all
        .iter()
        .map(|job| (job.job.id.clone(), "flawed.html".to_owned()))
        .collect();
    std::fs::write(
        folder.join("index.html"),
        report::index::html(&all, &links)?,
    )?;
    Ok(())
}

/// A drawn room for every photo: the same room in all phases, debris before, half of it during; later phases
/// are drawn through the pair's plane map, so that an aligned pair must coincide.
fn thumbnails(job: &v1::Report) -> Result<Thumbnails, Box<dyn Error>> {
    let mut pictures = Thumbnails::new();
    let mut drawn = BTreeMap::new();
    for (number, photo) in job.photos.iter().enumerate() {
        let map = if photo.phase == Some(Phase::Before) {
            IDENTITY
        } else {
            map_of(job, &photo.path)
        };
        let room = photo
            .area
            .as_deref()
            .unwrap_or_default()
            .bytes()
            .map(u32::from)
            .sum::<u32>();
        // Rooms that look alike share a picture; drawing hundreds takes long.
        let look = (room, photo.phase, map.map(|row| row.map(f64::to_bits)));
        if let Some(same) = drawn.get(&look) {
            pictures.insert(photo.path.clone(), Thumbnail::clone(same));
            continue;
        }
        let picture = draw(room, photo.phase, &map, number as u32);
        let mut jpeg = Cursor::new(Vec::new());
        DynamicImage::ImageRgb8(picture).write_to(&mut jpeg, image::ImageFormat::Jpeg)?;
        let thumbnail = Thumbnail {
            jpeg: jpeg.into_inner(),
            width: WIDTH,
            height: HEIGHT,
        };
        drawn.insert(look, thumbnail.clone());
        pictures.insert(photo.path.clone(), thumbnail);
    }
    Ok(pictures)
}

type Map = [[f64; 3]; 3];
const IDENTITY: Map = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];

fn map_of(job: &v1::Report, path: &str) -> Map {
    let pairs = job.view_sets.iter().flat_map(|set| &set.pairs);
    pairs
        .filter(|pair| pair.b == path)
        .find_map(|pair| pair.alignment)
        .unwrap_or(IDENTITY)
}

/// The picture seen through `map` (base to picture): every pixel looks up its place in the base room.
fn draw(room: u32, phase: Option<Phase>, map: &Map, noise: u32) -> RgbImage {
    let inverse = adjugate(map);
    RgbImage::from_fn(WIDTH, HEIGHT, |x, y| {
        let (u, v) = (
            f64::from(x) / f64::from(WIDTH),
            f64::from(y) / f64::from(WIDTH),
        );
        let row = |r: [f64; 3]| r[0] * u + r[1] * v + r[2];
        let w = row(inverse[2]);
        let (u, v) = (row(inverse[0]) / w, row(inverse[1]) / w);
        let grain = ((x * 7 + y * 13 + noise * 29) % 11) as i32 - 5;
        Rgb(base(room, phase, u, v).map(|c| (i32::from(c) + grain).clamp(0, 255) as u8))
    })
}

fn adjugate(m: &Map) -> Map {
    let [[a, b, c], [d, e, f], [g, h, i]] = *m;
    [
        [e * i - f * h, c * h - b * i, b * f - c * e],
        [f * g - d * i, a * i - c * g, c * d - a * f],
        [d * h - e * g, b * g - a * h, a * e - b * d],
    ]
}

/// Colour of the room at (u, v), both over the picture width.
fn base(room: u32, phase: Option<Phase>, u: f64, v: f64) -> [u8; 3] {
    let inside = |x0: f64, y0: f64, x1: f64, y1: f64| u > x0 && u < x1 && v > y0 && v < y1;
    let tone = (room * 37 % 60) as u8;
    let debris = match phase {
        Some(Phase::After) => 0,
        Some(Phase::During) => 2,
        _ => 5,
    };
    for pile in 0..debris {
        let x = 0.12 + 0.15 * f64::from(pile) + f64::from(room % 7) * 0.01;
        if inside(x, 0.52 - 0.03 * f64::from(pile % 3), x + 0.13, 0.68) {
            return [90 + 20 * pile as u8, 70 + 9 * pile as u8, 50];
        }
    }
    if inside(0.1, 0.12, 0.36, 0.38) {
        let bar = (u - 0.23).abs() < 0.008 || (v - 0.25).abs() < 0.008;
        return if bar {
            [235, 232, 225]
        } else {
            [160, 190, 215]
        };
    }
    if inside(0.66, 0.14, 0.86, 0.6) {
        return if inside(0.825, 0.37, 0.845, 0.39) {
            [60, 55, 50]
        } else {
            [142, 108, 78]
        };
    }
    if v > 0.6 {
        return [150 - tone / 2, 132, 112];
    }
    if v > 0.575 {
        [240, 238, 232]
    } else {
        [205 - tone / 3, 198, 182 + tone / 4]
    }
}
