//! Builds `demo-data/` from rendered pictures: two jobs of an invented crew, one complete and one with ten
//! flaws; and the small shared pictures of the tests. Run it again after a change:
//!
//! ```text
//! cargo run --example make_demo -p photoproof-core -- ../shared/scenes/house-101 .
//! ```
#![allow(clippy::print_stdout)]

mod exif_block;
mod plan;
mod stamp;

use std::error::Error;
use std::path::Path;

use image::codecs::jpeg::JpegEncoder;
use image::imageops::{self, FilterType};
use image::{ExtendedColorType, RgbImage};

use plan::{Edit, Shot};

const WIDTH: u32 = 1024;
const HEIGHT: u32 = 768;
const QUALITY: u8 = 80;

fn main() -> Result<(), Box<dyn Error>> {
    let mut args = std::env::args().skip(1);
    let (Some(scenes), Some(out)) = (args.next(), args.next()) else {
        return Err("usage: make_demo SCENE_FOLDER REPOSITORY".into());
    };
    for job in plan::jobs() {
        let folder = Path::new(&out).join("demo-data").join(job.name);
        if folder.exists() {
            std::fs::remove_dir_all(&folder)?;
        }
        std::fs::create_dir_all(&folder)?;
        std::fs::write(folder.join("job.toml"), job.sheet)?;
        for (index, shot) in job.shots.iter().enumerate() {
            let file = folder.join(&shot.path);
            std::fs::create_dir_all(file.parent().ok_or("a shot has no folder")?)?;
            std::fs::write(&file, picture(Path::new(&scenes), shot, index)?)?;
        }
        println!("{}: {} files", folder.display(), job.shots.len());
    }
    test_pictures(
        Path::new(&scenes),
        &Path::new(&out).join("fixtures/pictures"),
    )
}

/// Writes the shared pictures of the tests, 640 pixels wide.
fn test_pictures(scenes: &Path, folder: &Path) -> Result<(), Box<dyn Error>> {
    std::fs::create_dir_all(folder)?;
    for (name, source) in plan::TEST_PICTURES {
        let picture = image::open(scenes.join(format!("{source}.jpg")))?.to_rgb8();
        let small = imageops::resize(&picture, 640, 480, FilterType::Triangle);
        std::fs::write(folder.join(format!("{name}.jpg")), encode(&small, 78)?)?;
    }
    let (name, source, [left, top, width, height]) = plan::BARE_WALL;
    let picture = image::open(scenes.join(format!("{source}.jpg")))?.to_rgb8();
    let part = imageops::crop_imm(&picture, left, top, width, height).to_image();
    let wall = imageops::resize(&part, 640, 480, FilterType::Triangle);
    std::fs::write(folder.join(format!("{name}.jpg")), encode(&wall, 78)?)?;
    println!(
        "{}: {} pictures",
        folder.display(),
        plan::TEST_PICTURES.len() + 1
    );
    Ok(())
}

/// The bytes of one demo file.
fn picture(scenes: &Path, shot: &Shot, index: usize) -> Result<Vec<u8>, Box<dyn Error>> {
    let source = image::open(scenes.join(format!("{}.jpg", shot.source)))?.to_rgb8();
    let mut picture = imageops::resize(&source, WIDTH, HEIGHT, FilterType::Triangle);
    let mut quality = QUALITY;
    match shot.edit {
        Edit::Mirrored => {
            imageops::flip_horizontal_in_place(&mut picture);
            quality = 45;
        }
        Edit::Blurred => picture = imageops::blur(&picture, 7.0),
        Edit::None | Edit::Truncated => {}
    }
    if shot.stamped {
        stamp::burn_in(
            &mut picture,
            &shot.taken.format("%Y-%m-%d %H:%M").to_string(),
        );
    }
    let mut bytes = encode(&picture, quality)?;
    // A few metres of scatter around the site, the same on every run.
    let scatter = |step: usize| ((index * step) % 17) as f64 * 2e-6 - 16e-6;
    let facts = exif_block::Facts {
        taken: Some(shot.taken),
        offset: Some("-06:00".to_owned()),
        position: Some((plan::LATITUDE + scatter(5), plan::LONGITUDE + scatter(7))),
        focal_35mm: Some(shot.focal_35mm),
        ..exif_block::Facts::default()
    };
    exif_block::insert(&mut bytes, &facts)?;
    if shot.edit == Edit::Truncated {
        bytes.truncate(bytes.len() * 2 / 5);
    }
    Ok(bytes)
}

fn encode(picture: &RgbImage, quality: u8) -> Result<Vec<u8>, Box<dyn Error>> {
    let mut bytes = Vec::new();
    JpegEncoder::new_with_quality(&mut bytes, quality).encode(
        picture.as_raw(),
        picture.width(),
        picture.height(),
        ExtendedColorType::Rgb8,
    )?;
    Ok(bytes)
}
