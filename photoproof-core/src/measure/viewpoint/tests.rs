//! Synthetic two-view scenes with known motion, and identities of the literature.

use nalgebra::{Matrix3, Vector2, Vector3};
use proptest::prelude::*;

use super::camera::{Intrinsics, Motion, PixelMatch, rotation_angle, rotation_of};
use super::{Model, Viewpoint, ViewpointShift, between_matches, homography};
use crate::measure::feature::Frame;

/// A small deterministic generator for test scenes.
struct Noise(u64);

impl Noise {
    fn uniform(&mut self) -> f64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }

    fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.uniform()).sum::<f64>() - 6.0
    }
}

fn camera() -> Intrinsics {
    Intrinsics::new(1024, 768, Some(800.0))
}

/// A room: back wall at 4 m, floor 1.4 m below, side walls 2.2 m to either side.
fn depth_of(bearing: Vector2<f64>) -> f64 {
    let floor = if bearing.y > 1e-6 {
        1.4 / bearing.y
    } else {
        f64::INFINITY
    };
    let side = if bearing.x.abs() > 1e-6 {
        2.2 / bearing.x.abs()
    } else {
        f64::INFINITY
    };
    4.0f64.min(floor).min(side)
}

/// Matches of the room under `motion` (translation in metres) with noise in pixels and wrong matches.
fn room(motion: &Motion, count: usize, noise_px: f64, wrong: usize) -> Vec<PixelMatch> {
    let (camera, mut noise) = (camera(), Noise(7));
    let mut out = Vec::new();
    while out.len() < count {
        let a = [
            noise.uniform() * camera.width,
            noise.uniform() * camera.height,
        ];
        let bearing = camera.bearing(a);
        let x = Vector3::new(bearing.x, bearing.y, 1.0) * depth_of(bearing);
        let y = motion.rotation * x + motion.translation;
        let b = camera.pixel(Vector2::new(y.x / y.z, y.y / y.z));
        if y.z < 0.1 || !camera.contains(b) {
            continue;
        }
        let mut shake = |p: [f64; 2]| p.map(|v| v + noise_px * noise.normal());
        let (a, b) = (shake(a), shake(b));
        out.push(PixelMatch {
            a,
            b,
            ratio: 0.5 + 0.3 * noise.uniform(),
        });
    }
    for _ in 0..wrong {
        let mut anywhere = || {
            [
                noise.uniform() * camera.width,
                noise.uniform() * camera.height,
            ]
        };
        let (a, b) = (anywhere(), anywhere());
        out.push(PixelMatch {
            a,
            b,
            ratio: 0.6 + 0.3 * noise.uniform(),
        });
    }
    out
}

fn turned(right_deg: f64, up_deg: f64) -> Matrix3<f64> {
    // Camera b turned right by an angle sees points moved left: R = Ry(-angle) in x right, y down.
    let yaw = rotation_of(&Vector3::new(0.0, -right_deg.to_radians(), 0.0));
    let pitch = rotation_of(&Vector3::new(-up_deg.to_radians(), 0.0, 0.0));
    pitch * yaw
}

/// Motion of a camera that moves to `centre` (metres, a's axes) and turns.
fn moved(centre: [f64; 3], right_deg: f64, up_deg: f64) -> Motion {
    let rotation = turned(right_deg, up_deg);
    Motion {
        rotation,
        translation: -(rotation * Vector3::from(centre)),
    }
}

fn measure(matches: &[PixelMatch]) -> ViewpointShift {
    match between_matches(matches, [camera(); 2], [1000, 1000]) {
        Viewpoint::Shift(shift) => shift,
        other => panic!("no motion measured: {other:?}"),
    }
}

#[test]
fn a_pair_of_equal_photos_has_no_motion() {
    let shift = measure(&room(&Motion::identity(), 200, 0.0, 0));
    assert!(shift.rotation.get() < 0.01, "{shift:?}");
    assert!((shift.distance_ratio.unwrap().get() - 1.0).abs() < 1e-3);
    assert!(shift.overlap.get() > 0.99);
    assert_eq!(shift.model, Model::Homography);
    let h = shift.alignment;
    for (r, row) in h.iter().enumerate() {
        for (c, v) in row.iter().enumerate() {
            assert!((v - f64::from(u8::from(r == c))).abs() < 0.05, "{h:?}");
        }
    }
}

#[test]
fn a_part_is_carried_to_where_the_other_photo_shows_it() {
    let mut shift = measure(&room(&Motion::identity(), 200, 0.0, 0));
    let frame = |width, height| Frame {
        width,
        height,
        focal_px: None,
    };
    // A quarter of the frame to the right, into a frame of half the size.
    shift.alignment = [[0.5, 0.0, 125.0], [0.0, 0.5, 0.0], [0.0, 0.0, 1.0]];
    let to = |part| shift.carried(part, frame(1000, 800), frame(500, 400));
    let place = to([0.1, 0.2, 0.3, 0.6]).unwrap();
    for (edge, wanted) in place.iter().zip([0.35, 0.2, 0.55, 0.6]) {
        assert!((edge - wanted).abs() < 1e-12, "{place:?}");
    }
    assert_eq!(
        to([0.6, 0.0, 1.0, 1.0]).map(|[_, _, right, _]| right),
        Some(1.0)
    );
    assert_eq!(to([0.8, 0.0, 1.0, 1.0]), None);
}

#[test]
fn signs_of_turn_tilt_and_place() {
    let shift = measure(&room(&moved([0.3, 0.0, 0.0], 8.0, 3.0), 300, 0.3, 60));
    assert!((shift.turn_right.get() - 8.0).abs() < 0.3, "{shift:?}");
    assert!((shift.tilt_up.get() - 3.0).abs() < 0.3, "{shift:?}");
    // 0.3 m to the right at 4 m to the back wall.
    let [x, y, z] = shift.translation.unwrap();
    assert!(
        (x - 0.075).abs() < 0.01 && y.abs() < 0.01 && z.abs() < 0.01,
        "{shift:?}"
    );
}

#[test]
fn a_step_of_one_metre_at_four_metres_is_a_ratio_of_three_quarters() {
    let nearer = measure(&room(&moved([0.0, 0.0, 1.0], 0.0, 0.0), 300, 0.5, 100));
    assert!(
        (nearer.distance_ratio.unwrap().get() - 0.75).abs() < 0.02,
        "{nearer:?}"
    );
    let farther = measure(&room(&moved([0.0, 0.0, -1.0], 0.0, 0.0), 300, 0.5, 100));
    assert!(
        (farther.distance_ratio.unwrap().get() - 1.25).abs() < 0.03,
        "{farther:?}"
    );
    assert!(nearer.overlap.get() < 0.7 && farther.overlap.get() > 0.97);
}

#[test]
fn a_camera_that_only_turned_is_as_near_as_before() {
    for degrees in [1.0, 2.0, 5.0, 10.0, 25.0] {
        let shift = measure(&room(&moved([0.0; 3], degrees, 0.0), 200, 0.5, 50));
        assert!(
            (shift.rotation.get() - degrees).abs() < 0.25,
            "{degrees} {shift:?}"
        );
        assert!(
            (shift.distance_ratio.unwrap().get() - 1.0).abs() < 0.02,
            "{degrees} {shift:?}"
        );
    }
}

#[test]
fn more_noise_gives_larger_errors_and_says_so() {
    let motion = moved([0.2, 0.05, -0.3], -6.0, 1.0);
    let truth = rotation_angle(&motion.rotation).to_degrees();
    for (noise, bound) in [(0.2, 0.15), (0.7, 0.4), (1.5, 1.0)] {
        let shift = measure(&room(&motion, 250, noise, 120));
        let error = (shift.rotation.get() - truth).abs();
        assert!(error < bound, "noise {noise} px: {error} degrees");
        assert!(
            error < 6.0 * shift.rotation_sigma_deg + 0.05,
            "{error} {shift:?}"
        );
    }
}

#[test]
fn matches_without_structure_give_no_motion() {
    let mut wrong = room(&Motion::identity(), 0, 0.0, 250);
    let answer = between_matches(&wrong, [camera(); 2], [1000, 1000]);
    assert!(
        matches!(answer, Viewpoint::NoCommonStructure(_)),
        "{answer:?}"
    );
    let answer = between_matches(&wrong, [camera(); 2], [60, 1000]);
    assert!(matches!(answer, Viewpoint::Inconclusive(..)), "{answer:?}");
    wrong.truncate(5);
    let answer = between_matches(&wrong, [camera(); 2], [10, 10]);
    assert!(matches!(answer, Viewpoint::Inconclusive(..)), "{answer:?}");
}

#[test]
fn a_stamp_a_logo_and_a_border_carry_no_match() {
    let mut matches = room(&Motion::identity(), 0, 0.0, 120);
    let mut noise = Noise(3);
    for k in 0..120 {
        let along = noise.uniform();
        let place = match k % 4 {
            0 => [700.0 + 300.0 * along, 730.0 + 12.0 * noise.uniform()],
            1 => [30.0 + 90.0 * along, 20.0 + 60.0 * noise.uniform()],
            2 => [1024.0 * along, 4.0],
            _ => [1020.0, 768.0 * along],
        };
        matches.push(PixelMatch {
            a: place,
            b: place,
            ratio: 0.3,
        });
    }
    let answer = between_matches(&matches, [camera(); 2], [1000, 1000]);
    assert!(!matches!(answer, Viewpoint::Shift(_)), "{answer:?}");
    assert!(answer.evidence().overlay_matches >= 100);
}

#[test]
fn a_stamp_does_not_hide_the_motion_of_the_scene() {
    let motion = moved([0.1, 0.0, 0.2], 5.0, 0.0);
    let mut matches = room(&motion, 60, 0.5, 40);
    for k in 0..100 {
        let place = [700.0 + 3.0 * f64::from(k), 735.0 + f64::from(k % 7)];
        matches.push(PixelMatch {
            a: place,
            b: place,
            ratio: 0.3,
        });
    }
    let shift = measure(&matches);
    assert!((shift.turn_right.get() - 5.0).abs() < 0.5, "{shift:?}");
}

#[test]
fn too_many_or_broken_numbers_do_not_panic() {
    let nan = PixelMatch {
        a: [f64::NAN, 1.0],
        b: [f64::INFINITY, 2.0],
        ratio: f64::NAN,
    };
    let same = PixelMatch {
        a: [5.0, 5.0],
        b: [5.0, 5.0],
        ratio: 0.1,
    };
    for matches in [vec![nan; 50], vec![same; 50], Vec::new()] {
        let answer = between_matches(&matches, [camera(); 2], [1000, 1000]);
        assert!(!matches!(answer, Viewpoint::Shift(_)), "{answer:?}");
    }
}

/// Point map of the Oxford "graf" homography H1to3 (Mikolajczyk et al. 2005, as distributed with
/// OpenCV's samples, H1to3p.xml): corners and two inner points of the 800 x 640 picture.
#[test]
fn graf_homography_maps_published_points() {
    let h = Matrix3::<f64>::new(
        7.6285898e-01,
        -2.9922929e-01,
        2.2567123e+02,
        3.3443473e-01,
        1.0143901e+00,
        -7.6999973e+01,
        3.4663091e-04,
        -1.4364524e-05,
        1.0,
    );
    assert!((h.determinant() - 0.800_617_682_9_f64).abs() < 1e-9);
    for (from, to) in [
        ([0.0, 0.0], [225.6712, -77.0000]),
        ([799.0, 0.0], [654.0509, 148.9582]),
        ([799.0, 639.0], [507.9655, 661.3207]),
        ([0.0, 639.0], [34.7830, 576.4868]),
        ([400.0, 320.0], [383.6332, 336.2963]),
        ([100.0, 100.0], [263.2861, 56.0211]),
    ] {
        let q = homography::transfer(&h, &Vector2::from(from)).unwrap();
        assert!((q - Vector2::from(to)).norm() < 1e-3, "{from:?} {q:?}");
    }
}

/// Pure rotation: H = K R K^-1, and the picture centre moves by f tan(theta)
/// (Hartley and Zisserman 2004, section 8.4); values for f = 3024 px.
#[test]
fn a_turn_moves_the_centre_by_f_tan_theta() {
    let camera = Intrinsics::new(4032, 3024, Some(3024.0));
    let k = camera.matrix();
    for (degrees, shift) in [(1.0, 52.78), (2.0, 105.60), (5.0, 264.57), (10.0, 533.21)] {
        let h = k * turned(degrees, 0.0) * k.try_inverse().unwrap();
        let centre = Vector2::new(2016.0, 1512.0);
        let moved = homography::transfer(&h, &centre).unwrap();
        assert!(
            (centre.x - moved.x - shift).abs() < 0.02,
            "{degrees} {moved:?}"
        );
        assert!((moved.y - centre.y).abs() < 1e-9);
        let angle = rotation_angle(&turned(degrees, 0.0)).to_degrees();
        assert!((angle - degrees).abs() < 1e-9);
    }
}

/// Relative rotation of ScanNet's sample pair scene0711_00 1680 / 1995 (Dai et al. 2017, pose list of
/// the SuperGlue repository): 38.476 degrees.
#[test]
fn scannet_rotation_angle() {
    let r = Matrix3::new(
        0.78593, -0.35128, 0.50884, 0.39215, 0.91944, 0.02904, -0.47805, 0.17672, 0.86037,
    );
    assert!((rotation_angle(&r).to_degrees() - 38.476).abs() < 0.01);
}

/// Both orders of a pair are searched apart, and where two motions explain the picture about equally well they
/// may settle on different ones: nine of ten must agree, and none may be far off.
#[test]
fn swapping_a_pair_inverts_the_motion() {
    let mut noise = Noise(11);
    let mut apart: Vec<f64> = (0..40)
        .map(|_| {
            let mut between = |limit: f64| (noise.uniform() * 2.0 - 1.0) * limit;
            let (right, up, x, z) = (between(20.0), between(5.0), between(0.4), between(0.8));
            let matches = room(&moved([x, 0.05, z], right, up), 250, 0.2, 40);
            let swapped: Vec<PixelMatch> = matches
                .iter()
                .map(|m| PixelMatch {
                    a: m.b,
                    b: m.a,
                    ratio: m.ratio,
                })
                .collect();
            let (there, back) = (measure(&matches), measure(&swapped));
            let angle = (there.rotation.get() - back.rotation.get()).abs();
            angle.max((there.turn_right.get() + back.turn_right.get()).abs())
        })
        .collect();
    apart.sort_by(f64::total_cmp);
    println!("{apart:.2?}");
    assert!(apart[35] < 0.3, "{apart:.2?}");
    assert!(apart[39] < 3.0, "{apart:.2?}");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn the_order_of_matches_does_not_matter(seed in 0u64..1000) {
        let matches = room(&moved([0.2, 0.0, 0.3], 7.0, 1.0), 80, 0.5, 40);
        let mut shuffled = matches.clone();
        let mut noise = Noise(seed);
        for i in (1..shuffled.len()).rev() {
            shuffled.swap(i, (noise.uniform() * (i + 1) as f64) as usize);
        }
        prop_assert_eq!(measure(&matches), measure(&shuffled));
    }

    #[test]
    fn a_homography_of_a_plane_gives_back_its_motion(
        right in -15.0f64..15.0,
        x in -0.5f64..0.5,
        z in -0.5f64..0.5,
    ) {
        let motion = moved([x, 0.1, z], right, 1.0);
        // The plane z = 4 m: H = R + t n' / d (Hartley and Zisserman 2004, result 13.1).
        let h = motion.rotation + motion.translation * Vector3::z().transpose() / 4.0;
        let best = homography::motions(&(h * 1.7))
            .iter()
            .map(|m| {
                rotation_angle(&(m.rotation * motion.rotation.transpose()))
                    + (m.translation - motion.translation / 4.0).norm()
            })
            .fold(f64::INFINITY, f64::min);
        prop_assert!(best < 1e-4, "{best}");
    }
}
