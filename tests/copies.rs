//! Copies are found whatever was done to them; second exposures of one view are none.
//!
//! The full table comes from `examples/copies_report`.
#![allow(
    clippy::print_stdout,
    clippy::print_stderr,
    clippy::unwrap_used,
    clippy::expect_used
)]

#[path = "support/shared.rs"]
mod shared;

use std::path::{Path, PathBuf};

use image::{RgbImage, imageops};
use photoproof_core::ingest::{IngestOptions, Pixels, read_photo, read_photo_bytes};
use photoproof_core::measure::{
    CopyKind, PhotoMeasures, compare_copies, find_copies, measure_photo, measure_pixels,
};
use shared::shared;

fn measured(path: &Path) -> Option<PhotoMeasures> {
    let (photo, pixels) = read_photo(path, "photo", &IngestOptions::default()).ok()?;
    Some(measure_photo(&photo, &pixels))
}

fn of(picture: RgbImage, name: &str) -> PhotoMeasures {
    let (width, height) = picture.dimensions();
    measure_pixels(name.to_owned(), &Pixels::new(picture, width, height))
}

/// An invented room: wall, window, skirting, boards and some grain.
fn room(seed: u32) -> RgbImage {
    RgbImage::from_fn(640, 480, |x, y| {
        let grain = (x.wrapping_mul(7919) ^ y.wrapping_mul(104_729) ^ seed.wrapping_mul(31_337))
            .wrapping_mul(2_654_435_761)
            >> 29;
        let (wx, wy) = (60 + seed % 5 * 70, 40 + seed % 3 * 30);
        let base = if y > 340 {
            90 + ((x + y * 2 + seed * 13) / 37 % 4) * 22 + (y / 23 % 2) * 15
        } else if (wx..wx + 180).contains(&x) && (wy..wy + 200).contains(&y) {
            let leaf = ((x * 3 + seed * 7) / 11 * 5 + y / 9 * 3) % 13;
            if (x - wx) % 88 < 6 || (y - wy) % 96 < 6 {
                60
            } else {
                150 + leaf * 8
            }
        } else if y > 325 {
            50
        } else {
            185 + x / 40
                - y / 50
                - if (x / 7 + y / 9 + seed).is_multiple_of(41) {
                    40
                } else {
                    0
                }
        };
        let v = (base + grain).min(255) as u8;
        image::Rgb([v, v.saturating_sub(10), v.saturating_sub(25)])
    })
}

#[test]
fn named_edits_of_real_photos_are_found() {
    let Some(root) = shared("real/pdq") else {
        return;
    };
    let list = std::fs::read_to_string(root.join("pairs.jsonl")).unwrap();
    let (mut missed, mut compared) = (Vec::new(), 0);
    for line in list.lines() {
        let pair: serde_json::Value = serde_json::from_str(line).unwrap();
        let side = |key: &str| measured(&root.join(pair[key].as_str().unwrap()));
        // Formats that ingest refuses (CMYK, 32-bit) are no matter of copies.
        let (Some(a), Some(b)) = (side("a"), side("b")) else {
            continue;
        };
        compared += 1;
        if compare_copies(&a, &b).is_none() {
            missed.push(pair["op"].as_str().unwrap().to_owned());
        }
    }
    assert!(compared >= 24, "only {compared} pairs were readable");
    // Known weakness: very strong sharpening, and a square of 128 pixels out of a wide photo.
    missed.retain(|op| op != "sharpen-a-lot" && op != "square-128x128");
    assert!(missed.is_empty(), "missed: {missed:?}");
}

#[test]
fn four_exposures_of_one_room_are_not_copies() {
    let Some(root) = shared("real/exposure_house/house") else {
        return;
    };
    let photos: Vec<PhotoMeasures> = ["A.jpg", "B.jpg", "C.jpg", "D.jpg"]
        .iter()
        .map(|name| measured(&root.join(name)).unwrap())
        .collect();
    let found = find_copies(&photos.iter().collect()).unwrap();
    assert!(found.is_empty(), "{found:?}");
}

#[test]
fn before_and_after_of_one_view_are_not_copies() {
    let Some(root) = shared("scenes/house-101") else {
        return;
    };
    let mut names: Vec<PathBuf> = std::fs::read_dir(root)
        .unwrap()
        .map(|e| e.unwrap().path())
        .filter(|p| {
            p.to_string_lossy().contains("_living_") || p.to_string_lossy().contains("bathroom")
        })
        .collect();
    names.sort();
    let photos: Vec<PhotoMeasures> = names.iter().filter_map(|p| measured(p)).collect();
    assert!(photos.len() >= 20);
    let found = find_copies(&photos.iter().collect()).unwrap();
    assert!(found.is_empty(), "{found:?}");
}

/// A picture with sensor noise of its own, about three luma levels strong.
fn noisy(picture: &RgbImage, seed: u64) -> RgbImage {
    let mut state = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1;
    let mut draw = || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state >> 40) as i32 % 5 - 2
    };
    let mut out = picture.clone();
    for pixel in out.pixels_mut() {
        let noise = draw() + draw() + draw();
        pixel.0 = pixel.0.map(|v| (i32::from(v) + noise).clamp(0, 255) as u8);
    }
    out
}

fn saved(picture: &RgbImage, quality: u8) -> Vec<u8> {
    let mut file = Vec::new();
    image::codecs::jpeg::JpegEncoder::new_with_quality(&mut file, quality)
        .encode_image(picture)
        .unwrap();
    file
}

#[test]
fn a_copy_saved_without_its_noise_is_told_from_another_exposure_saved_alike() {
    let of_file = |file: &[u8]| {
        let (photo, pixels) = read_photo_bytes(file, "a.jpg", &IngestOptions::default()).unwrap();
        measure_photo(&photo, &pixels)
    };
    let again = |file: &[u8]| saved(&image::load_from_memory(file).unwrap().to_rgb8(), 30);
    for seed in 1..6 {
        let view = imageops::blur(&room(seed), 0.8);
        let [first, second] = [3, 4].map(|exposure| saved(&noisy(&view, exposure), 90));
        let original = of_file(&first);
        let copy = compare_copies(&original, &of_file(&again(&first))).unwrap();
        assert_eq!(copy.kind, CopyKind::Edited, "{seed}");
        let other = compare_copies(&original, &of_file(&again(&second)));
        assert!(other.is_none_or(|other| !other.is_confirmed()), "{seed}");
    }
}

type Edit = fn(&RgbImage) -> RgbImage;

#[test]
fn two_exposures_from_one_spot_are_not_copies_and_a_copy_of_either_is() {
    let view = imageops::blur(&room(1), 0.8);
    let (first, second) = (noisy(&view, 3), noisy(&view, 4));
    let a = of(first.clone(), "a");
    let part: Edit = |picture| imageops::crop_imm(picture, 70, 50, 500, 380).to_image();
    let brighter: Edit = |picture| imageops::brighten(picture, 9);
    let edits: [(&str, Edit); 3] = [
        ("whole", brighter),
        ("part", part),
        ("mirrored", |p| imageops::flip_horizontal(p)),
    ];
    for (name, edit) in edits {
        let copy = compare_copies(&a, &of(edit(&first), name));
        assert_eq!(copy.map(|c| c.kind), Some(CopyKind::Edited), "{name}");
        let other = compare_copies(&a, &of(edit(&second), name));
        assert_eq!(other, None, "{name}");
    }
}

#[test]
fn without_noise_a_copy_and_a_second_exposure_are_not_told_apart() {
    let coarse = |picture: &RgbImage| {
        let file = saved(picture, 20);
        image::load_from_memory(&file).unwrap().to_rgb8()
    };
    let view = coarse(&noisy(&imageops::blur(&room(1), 0.8), 3));
    let a = of(view.clone(), "a");
    let found = compare_copies(&a, &of(coarse(&imageops::brighten(&view, 3)), "b")).unwrap();
    assert_eq!(found.kind, CopyKind::Unsure);
    assert!(!found.is_confirmed());
}

#[test]
fn the_same_page_with_another_picture_is_not_a_copy() {
    let page = |seed: u32, x: i64| {
        let mut page = RgbImage::from_fn(1200, 1000, |_, y| {
            image::Rgb([if y % 40 < 3 { 150 } else { 240 }; 3])
        });
        imageops::replace(&mut page, &room(seed), x, 300);
        page
    };
    let pages: Vec<PhotoMeasures> = [(1, 100), (2, 100), (3, 400)]
        .iter()
        .map(|(seed, x)| of(page(*seed, *x), &format!("page {seed}")))
        .collect();
    let found = find_copies(&pages.iter().collect()).unwrap();
    assert!(found.is_empty(), "{found:?}");
}

#[test]
fn a_verdict_says_what_was_done() {
    let original = room(1);
    let a = of(original.clone(), "a");
    let mirrored = compare_copies(&a, &of(imageops::flip_horizontal(&original), "b")).unwrap();
    assert_eq!(
        (mirrored.kind, mirrored.transform.as_str()),
        (CopyKind::Edited, "mirrored")
    );
    let turned = compare_copies(&a, &of(imageops::rotate90(&original), "b")).unwrap();
    assert_eq!(turned.transform, "turned 90");
    let part = imageops::crop_imm(&original, 40, 30, 520, 400).to_image();
    let cropped = compare_copies(&a, &of(part, "b")).unwrap();
    let truth = 520.0 * 400.0 / (640.0 * 480.0);
    assert!((cropped.crop - truth).abs() < 0.03, "{cropped:?}");
    assert!((cropped.resized - 1.0).abs() < 0.01, "{cropped:?}");
    let small = imageops::resize(&original, 320, 240, imageops::FilterType::Triangle);
    let resized = compare_copies(&a, &of(small, "b")).unwrap();
    assert!((resized.resized - 0.5).abs() < 0.01, "{resized:?}");
}

#[test]
fn digests_tell_same_bytes_and_same_pixels() {
    let a = of(room(2), "a");
    assert_eq!(
        compare_copies(&a, &of(room(2), "a")).unwrap().kind,
        CopyKind::SameBytes
    );
    assert_eq!(
        compare_copies(&a, &of(room(2), "b")).unwrap().kind,
        CopyKind::SamePixels
    );
}

#[test]
fn different_rooms_and_empty_pictures_are_not_copies() {
    let mut photos: Vec<PhotoMeasures> =
        (0..6).map(|i| of(room(i), &format!("room {i}"))).collect();
    photos.push(of(
        RgbImage::from_pixel(640, 480, image::Rgb([200; 3])),
        "wall",
    ));
    photos.push(of(
        RgbImage::from_pixel(640, 480, image::Rgb([90; 3])),
        "other wall",
    ));
    photos.push(of(RgbImage::from_pixel(1, 1, image::Rgb([90; 3])), "dot"));
    let found = find_copies(&photos.iter().collect()).unwrap();
    assert!(found.is_empty(), "{found:?}");
}

#[test]
fn the_search_does_not_depend_on_the_order_of_photos() {
    let first: Vec<PhotoMeasures> = (0..4).map(|i| of(room(i), &format!("room {i}"))).collect();
    let mut all: Vec<&PhotoMeasures> = first.iter().collect();
    let copy = of(imageops::rotate180(&room(2)), "copy");
    all.push(&copy);
    let forward: Vec<(usize, usize)> = find_copies(&all.iter().copied().collect())
        .unwrap()
        .iter()
        .map(|f| (f.0, f.1))
        .collect();
    all.reverse();
    let backward: Vec<(usize, usize)> = find_copies(&all.iter().copied().collect())
        .unwrap()
        .iter()
        .map(|f| (4 - f.1, 4 - f.0))
        .collect();
    assert_eq!(forward, vec![(2, 4)]);
    assert_eq!(forward, backward);
}
