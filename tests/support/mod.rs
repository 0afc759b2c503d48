//! Builds job folders for tests out of a few shared pictures.

#[path = "../../photoproof-core/examples/make_demo/exif_block.rs"]
mod exif_block;
mod screen;
#[path = "../../photoproof-core/examples/make_demo/stamp.rs"]
mod stamp;

use std::path::{Path, PathBuf};

use chrono::NaiveDateTime;
use image::RgbImage;
use image::codecs::jpeg::JpegEncoder;
use image::imageops::{self, FilterType};
use serde::Deserialize;

/// A job folder in words: `fixtures/checks/<id>/{pass,fail}.toml`.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Case {
    /// What the case shows.
    #[allow(dead_code)]
    pub(crate) note: String,
    /// Text of `job.toml`.
    #[serde(default)]
    pub(crate) sheet: Option<String>,
    /// Text of `waivers.toml`.
    #[serde(default)]
    pub(crate) waivers: Option<String>,
    /// Photos of an earlier job in the ledger.
    #[serde(default)]
    pub(crate) earlier: Vec<CasePhoto>,
    /// How many jobs of the ledger have these photos, if not one.
    #[serde(default)]
    pub(crate) earlier_jobs: Option<usize>,
    /// Their vendor.
    #[serde(default)]
    pub(crate) earlier_vendor: Option<String>,
    /// The photos.
    pub(crate) photo: Vec<CasePhoto>,
}

/// One photo of a case.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct CasePhoto {
    path: PathBuf,
    picture: String,
    #[serde(default)]
    taken: Option<NaiveDateTime>,
    #[serde(default)]
    gps: Option<(f64, f64)>,
    #[serde(default)]
    direction: Option<f64>,
    #[serde(default)]
    offset: Option<String>,
    #[serde(default)]
    model: Option<String>,
    #[serde(default)]
    modified: Option<NaiveDateTime>,
    #[serde(default)]
    gps_time: Option<NaiveDateTime>,
    #[serde(default)]
    exposure: Option<(f64, f64, u16)>,
    #[serde(default)]
    stamp: Option<String>,
    #[serde(default)]
    edit: Edit,
    /// Taken as the file is, without an Exif block of ours.
    #[serde(default)]
    as_is: bool,
}

#[derive(Debug, Default, Deserialize, PartialEq, Eq, Clone, Copy)]
#[serde(rename_all = "lowercase")]
enum Edit {
    #[default]
    None,
    Mirrored,
    Blurred,
    Truncated,
    Small,
    Dark,
    Bright,
    Covered,
    Bars,
    Screen,
    Framed,
}

/// Root of the repository.
pub(crate) fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// Reads a case file.
pub(crate) fn case(file: &Path) -> Case {
    let text = std::fs::read_to_string(file).unwrap_or_else(|e| panic!("{}: {e}", file.display()));
    toml::from_str(&text).unwrap_or_else(|e| panic!("{}: {e}", file.display()))
}

/// Writes a job folder.
pub(crate) fn build(sheet: Option<&str>, photos: &[CasePhoto], folder: &Path) {
    if let Some(sheet) = sheet {
        std::fs::write(folder.join("job.toml"), sheet).expect("write job sheet");
    }
    for photo in photos {
        let file = folder.join(&photo.path);
        std::fs::create_dir_all(file.parent().expect("a folder")).expect("make folder");
        std::fs::write(&file, bytes(photo)).expect("write photo");
    }
}

fn edit(picture: &mut RgbImage, edit: Edit) {
    let (width, height) = picture.dimensions();
    let bar = height / 20;
    match edit {
        Edit::None | Edit::Truncated => {}
        Edit::Mirrored => imageops::flip_horizontal_in_place(picture),
        Edit::Blurred => *picture = imageops::blur(picture, 7.0),
        Edit::Small => *picture = imageops::resize(picture, 160, 120, FilterType::Triangle),
        Edit::Dark => picture.iter_mut().for_each(|v| *v /= 24),
        Edit::Bright => picture.iter_mut().for_each(|v| *v = v.saturating_mul(4)),
        Edit::Covered => *picture = RgbImage::from_pixel(width, height, image::Rgb([96, 52, 44])),
        Edit::Screen => {
            let screen = screen::Screen {
                pitch: 2.1,
                slant: [0.02, -0.03],
                turn: 0.02,
                blur: 0.7,
            };
            *picture = screen::photographed(picture, screen);
        }
        Edit::Framed => {
            let own = picture.clone();
            let rim = height / 40;
            let edge = |at: u32, side: u32| at.min(side - 1 - at);
            for (x, y, pixel) in picture.enumerate_pixels_mut() {
                let outside = edge(x, width).min(edge(y, height));
                let shown = |at: u32, side: u32| (at - 2 * rim) * side / (side - 4 * rim);
                *pixel = match outside / rim {
                    0 => image::Rgb(
                        [128, 120, 110].map(|level| level + (x / 5 * 7 + y / 5 * 3) as u8 % 40),
                    ),
                    1 => image::Rgb([22; 3]),
                    _ => *own.get_pixel(shown(x, width), shown(y, height)),
                };
            }
        }
        Edit::Bars => {
            for y in (0..bar).chain(height - bar..height) {
                for x in 0..width {
                    picture.put_pixel(x, y, image::Rgb([0; 3]));
                }
            }
        }
    }
}

fn bytes(photo: &CasePhoto) -> Vec<u8> {
    let source = root()
        .join("fixtures/pictures")
        .join(&photo.picture)
        .with_extension("jpg");
    let mut bytes = std::fs::read(&source).unwrap_or_else(|e| panic!("{}: {e}", source.display()));
    if photo.as_is {
        return bytes;
    }
    if !matches!(photo.edit, Edit::None | Edit::Truncated) {
        let mut picture = image::load_from_memory(&bytes).expect("decode").to_rgb8();
        edit(&mut picture, photo.edit);
        bytes.clear();
        JpegEncoder::new_with_quality(&mut bytes, 60)
            .encode_image(&picture)
            .expect("encode");
    }
    if let Some(text) = &photo.stamp {
        let small = image::load_from_memory(&bytes).expect("decode").to_rgb8();
        let mut picture = imageops::resize(&small, 1024, 768, FilterType::CatmullRom);
        stamp::burn_in(&mut picture, text);
        bytes.clear();
        JpegEncoder::new_with_quality(&mut bytes, 90)
            .encode_image(&picture)
            .expect("encode");
    }
    let facts = exif_block::Facts {
        taken: photo.taken,
        position: photo.gps,
        direction: photo.direction,
        focal_35mm: Some(if photo.picture.ends_with("after") {
            28
        } else {
            27
        }),
        offset: photo.offset.clone(),
        model: photo.model.clone(),
        modified: photo.modified,
        gps_time: photo.gps_time,
        exposure: photo.exposure,
    };
    exif_block::insert(&mut bytes, &facts).expect("insert Exif");
    if photo.edit == Edit::Truncated {
        bytes.truncate(bytes.len() / 2);
    }
    bytes
}
