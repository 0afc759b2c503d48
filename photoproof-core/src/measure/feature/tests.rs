//! Tests of the whole feature chain.

use image::imageops::{flip_horizontal, rotate90};
use image::{GrayImage, Luma};

use super::*;

/// Picture of Gaussian blobs: column, row (centre of the first pixel 0.5, 0.5), deviation, height.
fn blobs(width: u32, height: u32, list: &[(f64, f64, f64, f64)]) -> GrayImage {
    let mut values = vec![120.0; (width * height) as usize];
    for &(cx, cy, sigma, top) in list {
        let reach = |centre: f64, side: u32| {
            let end = (centre + 5.0 * sigma).clamp(0.0, f64::from(side)) as u32;
            (centre - 5.0 * sigma).max(0.0) as u32..end
        };
        for y in reach(cy, height) {
            for x in reach(cx, width) {
                let (dx, dy) = (f64::from(x) + 0.5 - cx, f64::from(y) + 0.5 - cy);
                values[(y * width + x) as usize] +=
                    top * (-0.5 * (dx * dx + dy * dy) / (sigma * sigma)).exp();
            }
        }
    }
    GrayImage::from_fn(width, height, |x, y| {
        Luma([values[(y * width + x) as usize].round().clamp(0.0, 255.0) as u8])
    })
}

/// Blobs of many sizes from a fixed linear congruential sequence, moved by (`dx`, `dy`).
fn texture(width: u32, height: u32, mut state: u64, (dx, dy): (f64, f64)) -> GrayImage {
    let mut next = || {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (state >> 40) as f64 / f64::from(1_u32 << 24)
    };
    let list: Vec<_> = (0..220)
        .map(|_| {
            let x = (1.3 * next() - 0.15) * f64::from(width) + dx;
            let y = (1.3 * next() - 0.15) * f64::from(height) + dy;
            (x, y, 1.5 + 5.0 * next() * next(), 140.0 * (next() - 0.5))
        })
        .collect();
    blobs(width, height, &list)
}

fn features(gray: &GrayImage) -> Features {
    Features::from_gray(gray, None)
}

fn distance(a: &Feature, b: &Feature) -> f32 {
    let pairs = a.descriptor.iter().zip(&b.descriptor);
    let sum: f32 = pairs
        .map(|(&p, &q)| (f32::from(p) - f32::from(q)).powi(2))
        .sum();
    (sum / describe::UNIT_SQUARED).sqrt()
}

#[test]
fn focal_length_by_the_diagonal_rule() {
    // 36 mm x 24 mm frame, diagonal rule at 4032 x 3024: computed from the definition.
    for (mm, px) in [(13.0, 1514.3), (26.0, 3028.7), (77.0, 8969.5)] {
        let focal = focal_px(mm, 4032, 3024).unwrap();
        assert!((focal - px).abs() < 0.1, "{mm} mm gave {focal}");
    }
    assert_eq!(focal_px(0.0, 4032, 3024), None);
    assert_eq!(focal_px(f64::NAN, 4032, 3024), None);
    assert_eq!(focal_px(26.0, 0, 0), None);
}

#[test]
fn a_blob_is_found_at_its_place_and_scale() {
    // The difference of Gaussians with ratio k of a Gaussian blob of deviation s is most extreme at
    // s / sqrt(k): set the derivative of s^2 / (s^2 + k^2 t^2) - s^2 / (s^2 + t^2) to zero. The
    // picture is taken to have a blur of 0.5 pixels already.
    let k = 2.0_f64.powf(1.0 / FeatureOptions::default().levels as f64);
    for (x, y, s, top) in [(100.3, 80.7, 6.0, 100.0), (90.0, 101.5, 3.0, -90.0)] {
        let found = features(&blobs(200, 180, &[(x, y, s, top)]));
        let best = &found.list[0].keypoint;
        let expected = ((s * s - 0.25) / k).sqrt();
        assert!((f64::from(best.x) - x).abs() < 0.05, "column {}", best.x);
        assert!((f64::from(best.y) - y).abs() < 0.05, "row {}", best.y);
        let ratio = f64::from(best.scale) / expected;
        assert!(
            (ratio - 1.0).abs() < 0.03,
            "scale {} for {expected}",
            best.scale
        );
        assert_eq!(best.bright, top > 0.0);
    }
}

#[test]
fn flat_and_tiny_pictures_have_no_features() {
    for side in [(1, 1), (3, 3), (16, 16), (640, 2), (2, 640), (400, 300)] {
        let flat = GrayImage::from_pixel(side.0, side.1, Luma([90]));
        assert!(features(&flat).list.is_empty(), "{side:?}");
    }
    assert!(features(&GrayImage::new(0, 0)).list.is_empty());
}

#[test]
fn small_pictures_of_any_size_are_no_trouble() {
    let gray = texture(64, 48, 5, (0.0, 0.0));
    for width in 1..40 {
        for height in [1, 7, 12, 13, 16, 24, 31] {
            let cut = image::imageops::crop_imm(&gray, 20, 10, width, height);
            let found = features(&cut.to_image());
            for feature in &found.list {
                assert!((0.0..width as f32).contains(&feature.keypoint.x));
                assert!((0.0..height as f32).contains(&feature.keypoint.y));
            }
        }
    }
}

#[test]
fn at_most_the_asked_number_strongest_first_and_spread() {
    let gray = texture(400, 300, 9, (0.0, 0.0));
    let all = features(&gray);
    let options = FeatureOptions {
        max_features: 60,
        ..FeatureOptions::default()
    };
    let few = Features::with_options(&gray, None, &options);
    assert!(all.list.len() > 100, "only {}", all.list.len());
    assert_eq!(few.list.len(), 60);
    let strengths: Vec<f32> = few
        .list
        .iter()
        .map(|f| f.keypoint.response * f.keypoint.scale)
        .collect();
    assert!(strengths.is_sorted_by(|a, b| a >= b));
    let quarter = |f: &&Feature| f.keypoint.x < 200.0 && f.keypoint.y < 150.0;
    let share = few.list.iter().filter(quarter).count();
    assert!((8..=25).contains(&share), "{share} of 60 in one quarter");
}

#[test]
fn the_features_of_a_turned_picture_are_the_turned_features() {
    // 257 = 2^8 + 1 pixels: every octave samples the same pixels whichever way the picture lies.
    let gray = texture(257, 257, 3, (0.0, 0.0));
    let own = features(&gray);
    assert!(own.list.len() > 60, "only {}", own.list.len());
    for turn in Turn::ALL {
        let mut laid = if turn.mirrored {
            flip_horizontal(&gray)
        } else {
            gray.clone()
        };
        for _ in 0..turn.quarters {
            laid = rotate90(&laid);
        }
        let (seen, expected) = (features(&laid), own.turned(turn));
        let same = expected.list.iter().filter(|feature| {
            seen.list.iter().any(|other| {
                let (p, q) = (&feature.keypoint, &other.keypoint);
                (p.x - q.x).hypot(p.y - q.y) < 0.05 && distance(feature, other) < 0.05
            })
        });
        let share = same.count() as f32 / expected.list.len() as f32;
        assert!(share > 0.97, "{turn:?}: {share}");
    }
}

#[test]
fn turning_on_and_back_changes_nothing() {
    let own = features(&texture(200, 150, 3, (0.0, 0.0)));
    let quarter = |f: &Features| {
        f.turned(Turn {
            mirrored: false,
            quarters: 1,
        })
    };
    let back = quarter(&quarter(&quarter(&quarter(&own))));
    let descriptors = |f: &Features| -> Vec<_> { f.list.iter().map(|f| f.descriptor).collect() };
    assert_eq!(descriptors(&back), descriptors(&own));
    assert_eq!(descriptors(&own.mirrored().mirrored()), descriptors(&own));
    assert_eq!((quarter(&own).width, quarter(&own).height), (150, 200));
}

#[test]
fn a_picture_matches_itself_and_a_moved_one() {
    let own = features(&texture(320, 240, 4, (0.0, 0.0)));
    let every = MatchOptions::default();
    let with_itself = match_features(&own, &own, &every);
    assert!(with_itself.len() * 10 > own.list.len() * 9);
    assert!(with_itself.iter().all(|m| m.a == m.b && m.ratio < 0.01));
    let moved = features(&texture(320, 240, 4, (7.3, -4.6)));
    let matches = match_features(&own, &moved, &every);
    let right = matches.iter().filter(|m| {
        let (p, q) = (
            &own.list[m.a as usize].keypoint,
            &moved.list[m.b as usize].keypoint,
        );
        (q.x - p.x - 7.3).hypot(q.y - p.y + 4.6) < 1.0
    });
    let (right, all) = (right.count(), matches.len());
    assert!(right > 80 && right * 20 > all * 17, "{right} of {all}");
}

#[test]
fn light_and_contrast_hardly_matter() {
    let gray = texture(320, 240, 4, (0.0, 0.0));
    let mut dim = gray.clone();
    dim.pixels_mut()
        .for_each(|p| p.0[0] = (f32::from(p.0[0]) * 0.5 + 40.0) as u8);
    let (a, b) = (features(&gray), features(&dim));
    let matches = match_features(&a, &b, &MatchOptions::default());
    assert!(matches.len() * 10 > a.list.len() * 6, "{}", matches.len());
}

#[test]
fn matching_is_symmetric_and_repeatable() {
    let a = features(&texture(320, 240, 4, (0.0, 0.0)));
    let b = features(&texture(300, 260, 8, (3.0, 2.0)));
    let options = MatchOptions {
        max_ratio: 1.0,
        ..MatchOptions::default()
    };
    let forth = match_features(&a, &b, &options);
    let mut back = match_features(&b, &a, &options);
    for m in &mut back {
        std::mem::swap(&mut m.a, &mut m.b);
    }
    back.sort_by(|m, n| m.ratio.total_cmp(&n.ratio).then(m.a.cmp(&n.a)));
    assert!(!forth.is_empty());
    assert_eq!(forth, back);
    assert_eq!(forth, match_features(&a, &b, &options));
    assert_eq!(a, features(&texture(320, 240, 4, (0.0, 0.0))));
}

#[test]
fn guided_matching_finds_more_of_what_the_model_allows_and_nothing_else() {
    let a = features(&texture(320, 240, 4, (0.0, 0.0)));
    let b = features(&texture(320, 240, 4, (7.3, -4.6)));
    let near = |p: &Keypoint, q: &Keypoint| (q.x - p.x - 7.3).hypot(q.y - p.y + 4.6) < 2.0;
    let options = MatchOptions::default();
    let guided = match_guided(&a, &b, &options, &near);
    assert!(guided.len() >= match_features(&a, &b, &options).len() * 9 / 10);
    for m in &guided {
        assert!(near(
            &a.list[m.a as usize].keypoint,
            &b.list[m.b as usize].keypoint
        ));
    }
    assert!(match_guided(&a, &b, &options, &|_, _| false).is_empty());
}

#[test]
fn a_stamp_is_suspected_and_a_still_picture_is_not() {
    let options = MatchOptions::default();
    // Two unrelated pictures with the same mark in the lower right corner.
    let mark = texture(110, 40, 77, (0.0, 0.0));
    let stamped = |state| {
        let mut gray = texture(400, 300, state, (0.0, 0.0));
        image::imageops::replace(&mut gray, &mark, 280, 250);
        features(&gray)
    };
    let (a, b) = (stamped(21), stamped(22));
    let matches = match_features(&a, &b, &options);
    let suspects = overlay_suspects(&a, &b, &matches);
    let in_mark = |m: &&Match| {
        let p = &a.list[m.a as usize].keypoint;
        p.x > 285.0 && p.x < 385.0 && p.y > 255.0 && p.y < 285.0
    };
    assert!(matches.iter().filter(in_mark).count() >= 10);
    for (m, suspect) in matches.iter().zip(&suspects) {
        assert!(
            *suspect || !in_mark(&m),
            "{:?}",
            a.list[m.a as usize].keypoint
        );
    }
    let still = match_features(&a, &a, &options);
    assert!(frame_fixed(&a, &a, &still).iter().all(|&f| f));
    assert!(overlay_suspects(&a, &a, &still).iter().all(|&f| !f));
    let moved = features(&texture(400, 300, 21, (9.0, 4.0)));
    let matches = match_features(&a, &moved, &options);
    let fixed = frame_fixed(&a, &moved, &matches);
    assert!(fixed.iter().filter(|&&f| f).count() <= matches.len() / 20);
}
