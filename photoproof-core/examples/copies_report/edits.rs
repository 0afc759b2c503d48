//! Edits a dishonest or careless hand makes, and honest second exposures of one view.

use image::{Rgb, RgbImage, imageops};

/// Seeded pseudo-random numbers.
pub(crate) struct Draw(pub(crate) u64);

impl Draw {
    pub(crate) fn unit(&mut self) -> f32 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        let mut x = self.0;
        x ^= x >> 33;
        x = x.wrapping_mul(0xff51_afd7_ed55_8ccd);
        x ^= x >> 33;
        (x >> 40) as f32 / (1u64 << 24) as f32
    }
    pub(crate) fn between(&mut self, low: f32, high: f32) -> f32 {
        low + (high - low) * self.unit()
    }
    fn gauss(&mut self) -> f32 {
        (0..6).map(|_| self.unit()).sum::<f32>() * 1.414 - 4.243
    }
}

/// The bytes of a JPEG.
pub(crate) type Jpeg = Vec<u8>;

pub(crate) fn jpeg(picture: &RgbImage, quality: u8) -> Jpeg {
    let mut bytes = Vec::new();
    image::codecs::jpeg::JpegEncoder::new_with_quality(&mut bytes, quality)
        .encode_image(picture)
        .unwrap();
    bytes
}

pub(crate) fn decoded(file: &[u8]) -> RgbImage {
    image::load_from_memory(file).unwrap().to_rgb8()
}

fn mapped(picture: &RgbImage, map: impl Fn(usize, f32) -> f32) -> RgbImage {
    let mut out = picture.clone();
    for pixel in out.pixels_mut() {
        for (c, v) in pixel.0.iter_mut().enumerate() {
            *v = (255.0 * map(c, f32::from(*v) / 255.0)).clamp(0.0, 255.0) as u8;
        }
    }
    out
}

fn sample(picture: &RgbImage, x: f32, y: f32) -> Option<[f32; 3]> {
    let (x, y) = (x - 0.5, y - 0.5);
    let (w, h) = (picture.width() as f32, picture.height() as f32);
    if x < -0.5 || y < -0.5 || x > w - 0.5 || y > h - 0.5 {
        return None;
    }
    let (x, y) = (x.clamp(0.0, w - 1.001), y.clamp(0.0, h - 1.001));
    let (i, j) = (x as u32, y as u32);
    let (fx, fy) = (x - i as f32, y - j as f32);
    let mut out = [0.0; 3];
    for (c, o) in out.iter_mut().enumerate() {
        let p = |dx, dy| f32::from(picture.get_pixel(i + dx, j + dy).0[c]);
        *o = (p(0, 0) * (1.0 - fx) + p(1, 0) * fx) * (1.0 - fy)
            + (p(0, 1) * (1.0 - fx) + p(1, 1) * fx) * fy;
    }
    Some(out)
}

pub(crate) fn crop(picture: &RgbImage, share: f32, draw: &mut Draw) -> RgbImage {
    // Side shares with the wanted area, a little off the original aspect.
    let aspect = draw.between(0.88, 1.14);
    let (sw, sh) = (
        (share.sqrt() * aspect).min(1.0),
        (share.sqrt() / aspect).min(1.0),
    );
    let (w, h) = (
        (picture.width() as f32 * sw) as u32,
        (picture.height() as f32 * sh) as u32,
    );
    let x = (draw.unit() * (picture.width() - w) as f32) as u32;
    let y = (draw.unit() * (picture.height() - h) as f32) as u32;
    imageops::crop_imm(picture, x, y, w, h).to_image()
}

fn turned(picture: &RgbImage, draw: &mut Draw) -> RgbImage {
    let sign = if draw.unit() < 0.5 { -1.0 } else { 1.0 };
    let angle = draw.between(2.0, 5.0).to_radians() * sign;
    let (w, h) = (picture.width() as f32, picture.height() as f32);
    // Largest inner rectangle of the same aspect without empty corners, a little smaller.
    let k = 0.99 / (angle.cos() + angle.abs().sin() * (w / h).max(h / w));
    let (nw, nh) = ((w * k) as u32, (h * k) as u32);
    RgbImage::from_fn(nw, nh, |x, y| {
        let (dx, dy) = (
            x as f32 + 0.5 - nw as f32 / 2.0,
            y as f32 + 0.5 - nh as f32 / 2.0,
        );
        let (s, c) = angle.sin_cos();
        Rgb(sample(
            picture,
            w / 2.0 + c * dx - s * dy,
            h / 2.0 + s * dx + c * dy,
        )
        .unwrap_or([0.0; 3])
        .map(|v| v as u8))
    })
}

/// A photo of the picture on a screen: perspective, bezel, screen pixels (moire), blur, glow, noise.
fn screen(picture: &RgbImage, draw: &mut Draw) -> RgbImage {
    let (w, h) = (1280.0f32, 960.0f32);
    let jitter = 0.07;
    let inset = draw.between(0.03, 0.10);
    let mut corner = |x: f32, y: f32| {
        [
            w * (x + draw.between(-jitter, jitter) * 0.6),
            h * (y + draw.between(-jitter, jitter) * 0.6),
        ]
    };
    let quad = [
        corner(inset, inset),
        corner(1.0 - inset, inset),
        corner(1.0 - inset, 1.0 - inset),
        corner(inset, 1.0 - inset),
    ];
    let pitch = draw.between(2.2, 3.4);
    let glow = [draw.between(0.0, w), draw.between(0.0, h)];
    let gain = draw.between(0.75, 1.15);
    let tint = [draw.between(0.9, 1.05), 1.0, draw.between(0.95, 1.15)];
    let map = square_to_quad(quad);
    let inverse = invert(map);
    let mut out = RgbImage::from_fn(w as u32, h as u32, |x, y| {
        let (fx, fy) = (x as f32 + 0.5, y as f32 + 0.5);
        let d = inverse[6] * fx + inverse[7] * fy + inverse[8];
        let u = (inverse[0] * fx + inverse[1] * fy + inverse[2]) / d;
        let v = (inverse[3] * fx + inverse[4] * fy + inverse[5]) / d;
        if !(0.0..=1.0).contains(&u) || !(0.0..=1.0).contains(&v) {
            let bezel = (-0.03..=1.03).contains(&u) && (-0.04..=1.04).contains(&v);
            return Rgb(if bezel { [18, 18, 20] } else { [120, 112, 104] });
        }
        let colour = sample(
            picture,
            u * picture.width() as f32,
            v * picture.height() as f32,
        )
        .unwrap_or([0.0; 3]);
        let (pu, pv) = (u * w / pitch, v * h / pitch);
        let grid =
            1.0 + 0.06 * ((pu * std::f32::consts::TAU).sin() + (pv * std::f32::consts::TAU).sin());
        let light = 22.0 * (-((fx - glow[0]).hypot(fy - glow[1]) / 300.0).powi(2)).exp();
        let mut c = [0u8; 3];
        for i in 0..3 {
            c[i] = (colour[i] * gain * tint[i] * grid + light).clamp(0.0, 255.0) as u8;
        }
        Rgb(c)
    });
    out = imageops::fast_blur(&out, 1.2);
    noisy(&out, 3.0, draw)
}

fn square_to_quad(q: [[f32; 2]; 4]) -> [f32; 9] {
    let (dx1, dx2, dx3) = (
        q[1][0] - q[2][0],
        q[3][0] - q[2][0],
        q[0][0] - q[1][0] + q[2][0] - q[3][0],
    );
    let (dy1, dy2, dy3) = (
        q[1][1] - q[2][1],
        q[3][1] - q[2][1],
        q[0][1] - q[1][1] + q[2][1] - q[3][1],
    );
    let det = dx1 * dy2 - dx2 * dy1;
    let g = (dx3 * dy2 - dx2 * dy3) / det;
    let h = (dx1 * dy3 - dx3 * dy1) / det;
    [
        q[1][0] - q[0][0] + g * q[1][0],
        q[3][0] - q[0][0] + h * q[3][0],
        q[0][0],
        q[1][1] - q[0][1] + g * q[1][1],
        q[3][1] - q[0][1] + h * q[3][1],
        q[0][1],
        g,
        h,
        1.0,
    ]
}

fn invert(m: [f32; 9]) -> [f32; 9] {
    [
        m[4] * m[8] - m[5] * m[7],
        m[2] * m[7] - m[1] * m[8],
        m[1] * m[5] - m[2] * m[4],
        m[5] * m[6] - m[3] * m[8],
        m[0] * m[8] - m[2] * m[6],
        m[2] * m[3] - m[0] * m[5],
        m[3] * m[7] - m[4] * m[6],
        m[1] * m[6] - m[0] * m[7],
        m[0] * m[4] - m[1] * m[3],
    ]
}

pub(crate) fn noisy(picture: &RgbImage, sigma: f32, draw: &mut Draw) -> RgbImage {
    let mut out = picture.clone();
    for pixel in out.pixels_mut() {
        let shared = draw.gauss() * sigma;
        for v in &mut pixel.0 {
            *v = (f32::from(*v) + shared + draw.gauss() * sigma * 0.4).clamp(0.0, 255.0) as u8;
        }
    }
    out
}

/// The same date stamp on every photo, bottom right.
fn stamp(picture: &RgbImage) -> RgbImage {
    let mut out = picture.clone();
    let (w, h) = out.dimensions();
    let cell = w / 64;
    for i in 0..16u32 {
        for (k, on) in [
            (0, true),
            (1, i % 3 != 1),
            (2, i % 2 == 0),
            (3, true),
            (4, i % 5 < 3),
        ] {
            if on && i % 6 != 5 {
                let (x0, y0) = (w - (18 - i) * cell, h - 3 * cell + k * cell / 3);
                for y in y0..y0 + cell / 5 + 1 {
                    for x in x0..x0 + cell * 2 / 3 {
                        out.put_pixel(x.min(w - 1), y.min(h - 1), Rgb([255, 170, 40]));
                    }
                }
            }
        }
    }
    out
}

/// The same half-transparent logo, a fifth of the width, top left or centre.
fn logo(picture: &RgbImage, centre: bool) -> RgbImage {
    let mut out = picture.clone();
    let (w, h) = (out.width() as f32, out.height() as f32);
    let size = w * 0.22;
    let (ox, oy) = if centre {
        (w * 0.39, h * 0.36)
    } else {
        (w * 0.03, h * 0.03)
    };
    for (x, y, pixel) in out.enumerate_pixels_mut() {
        let (u, v) = ((x as f32 - ox) / size, (y as f32 - oy) / size);
        if !(0.0..1.0).contains(&u) || !(0.0..1.0).contains(&v) {
            continue;
        }
        let r = (u - 0.5).hypot(v - 0.5);
        let ink = (0.36..0.48).contains(&r)
            || (v - 0.5).abs() < 0.3 && ((u * 13.0) as i32 % 3 == 1) && r < 0.34;
        let strength = if ink { 0.8 } else { 0.25 };
        for (value, target) in pixel.0.iter_mut().zip([20.0, 60.0, 160.0]) {
            *value = (f32::from(*value) * (1.0 - strength) + target * strength) as u8;
        }
    }
    out
}

fn border(picture: &RgbImage, draw: &mut Draw) -> RgbImage {
    let (w, h) = picture.dimensions();
    let b = (w as f32 * draw.between(0.04, 0.10)) as u32;
    let colour = if draw.unit() < 0.5 {
        Rgb([255; 3])
    } else {
        Rgb([0; 3])
    };
    let mut out = RgbImage::from_pixel(w + 2 * b, h + 2 * b, colour);
    imageops::replace(&mut out, picture, i64::from(b), i64::from(b));
    out
}

fn resized(picture: &RgbImage, share: f32) -> RgbImage {
    imageops::resize(
        picture,
        (picture.width() as f32 * share) as u32,
        (picture.height() as f32 * share) as u32,
        imageops::FilterType::Triangle,
    )
}

/// A picture inside another picture: half its size on a plain page with lines.
fn collage(picture: &RgbImage, draw: &mut Draw) -> RgbImage {
    let small = resized(picture, 0.6);
    let mut page = RgbImage::from_fn(1200, 1000, |_, y| {
        if y % 40 < 3 {
            Rgb([150; 3])
        } else {
            Rgb([240; 3])
        }
    });
    let x = draw.between(0.0, (1200 - small.width().min(1200)) as f32) as i64;
    let y = draw.between(0.0, (1000 - small.height().min(1000)) as f32) as i64;
    imageops::replace(&mut page, &small, x, y);
    page
}

type Edit = fn(&RgbImage, &mut Draw) -> Jpeg;

/// Kind, wanted share found, and the edit. Each result is encoded as JPEG 85 unless it says otherwise.
pub(crate) const EDITS: &[(&str, f64, Edit)] = &[
    ("jpeg 90", 0.995, |p, _| jpeg(p, 90)),
    ("jpeg 60", 0.995, |p, _| jpeg(p, 60)),
    ("jpeg 30", 0.995, |p, _| jpeg(p, 30)),
    ("resize 25 %", 0.995, |p, _| jpeg(&resized(p, 0.25), 85)),
    ("darker, contrast", 0.995, |p, _| {
        jpeg(&mapped(p, |_, v| (v.powf(1.4) - 0.4) * 1.2 + 0.4), 85)
    }),
    ("brighter", 0.995, |p, _| {
        jpeg(&mapped(p, |_, v| v.powf(0.65) * 1.08), 85)
    }),
    ("white balance", 0.995, |p, _| {
        jpeg(&mapped(p, |c, v| v * [1.2, 1.0, 0.78][c]), 85)
    }),
    ("date stamp", 0.995, |p, _| jpeg(&stamp(p), 85)),
    ("logo, corner", 0.995, |p, _| jpeg(&logo(p, false), 85)),
    ("logo, centre", 0.995, |p, _| jpeg(&logo(p, true), 85)),
    ("border", 0.995, |p, d| jpeg(&border(p, d), 85)),
    ("mirrored", 0.99, |p, _| {
        jpeg(&imageops::flip_horizontal(p), 85)
    }),
    ("turned 90", 0.99, |p, _| jpeg(&imageops::rotate90(p), 85)),
    ("turned 180", 0.99, |p, _| jpeg(&imageops::rotate180(p), 85)),
    ("turned 270, mirrored", 0.99, |p, _| {
        jpeg(&imageops::flip_horizontal(&imageops::rotate270(p)), 85)
    }),
    ("cropped to 70 %", 0.98, |p, d| jpeg(&crop(p, 0.7, d), 85)),
    ("cropped to 50 %", 0.95, |p, d| jpeg(&crop(p, 0.5, d), 85)),
    ("turned 2-5 deg, cropped", 0.95, |p, d| {
        jpeg(&turned(p, d), 85)
    }),
    ("screen photo", 0.80, |p, d| jpeg(&screen(p, d), 85)),
    ("page with picture", 0.80, |p, d| jpeg(&collage(p, d), 85)),
    ("mirrored, crop 70, stamp", 0.80, |p, d| {
        jpeg(&stamp(&crop(&imageops::flip_horizontal(p), 0.7, d)), 70)
    }),
];

/// Two exposures of one view from one picture: noise of the original smoothed away, then each side gets
/// its own noise, and the second its own small motion in front of a slanted depth, exposure and focus.
pub(crate) fn exposures(
    picture: &RgbImage,
    depth: &dyn Fn(f32, f32) -> f32,
    hand_held: bool,
    draw: &mut Draw,
) -> [Jpeg; 2] {
    let smooth = imageops::fast_blur(picture, 1.0);
    let noise = draw.between(2.0, 4.0);
    let first = jpeg(&noisy(&smooth, noise, draw), 90);
    let (w, h) = smooth.dimensions();
    let moved = if hand_held {
        // Camera moved 8 to 25 mm, turned up to a degree; focal length about 0.78 of the width.
        let focal = 0.78 * w as f32;
        let heading = draw.between(0.0, std::f32::consts::TAU);
        let step = draw.between(0.008, 0.025);
        let (tx, ty) = (step * heading.cos(), step * heading.sin());
        let roll = draw.between(-0.01, 0.01);
        let (px, py) = (draw.between(-12.0, 12.0), draw.between(-12.0, 12.0));
        RgbImage::from_fn(w, h, |x, y| {
            let (fx, fy) = (x as f32 + 0.5, y as f32 + 0.5);
            let z = depth(fx / w as f32, fy / h as f32);
            let (dx, dy) = (fx - w as f32 / 2.0, fy - h as f32 / 2.0);
            let sx = fx - roll * dy + px + focal * tx / z;
            let sy = fy + roll * dx + py + focal * ty / z;
            let (sx, sy) = (sx.clamp(0.0, w as f32), sy.clamp(0.0, h as f32));
            Rgb(sample(&smooth, sx, sy).unwrap_or([0.0; 3]).map(|v| v as u8))
        })
    } else {
        smooth
    };
    let gain = draw.between(0.94, 1.06);
    let second = jpeg(&noisy(&mapped(&moved, |_, v| v * gain), noise, draw), 90);
    [first, second]
}
