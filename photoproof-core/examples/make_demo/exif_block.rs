//! The Exif block of a demo picture: time with offset, position, camera and focal length.

use std::error::Error;
use std::io::Cursor;

use exif::experimental::Writer;
use exif::{Field, In, Rational, Tag, Value};

use crate::plan::{LATITUDE, LONGITUDE, Shot};

/// APP1 segment with the Exif of one shot.
pub(crate) fn exif(shot: &Shot, index: usize) -> Result<Vec<u8>, Box<dyn Error>> {
    let text = |tag, text: String| field(tag, Value::Ascii(vec![text.into_bytes()]));
    let taken = shot.taken.format("%Y:%m:%d %H:%M:%S").to_string();
    // A few metres of scatter around the site, the same on every run.
    let scatter = |step: usize| ((index * step) % 17) as f64 * 2e-6 - 16e-6;
    let fields = [
        text(Tag::Make, "Larkspur".to_owned()),
        text(Tag::Model, "Fieldphone 2".to_owned()),
        text(Tag::DateTime, taken.clone()),
        text(Tag::DateTimeOriginal, taken.clone()),
        text(Tag::DateTimeDigitized, taken),
        text(Tag::OffsetTimeOriginal, "-06:00".to_owned()),
        field(Tag::Orientation, Value::Short(vec![1])),
        field(Tag::FocalLength, Value::Rational(vec![rational(4.25, 100)])),
        field(Tag::FocalLengthIn35mmFilm, Value::Short(vec![shot.focal_35mm])),
        text(Tag::GPSLatitudeRef, "N".to_owned()),
        field(Tag::GPSLatitude, degrees(LATITUDE + scatter(5))),
        text(Tag::GPSLongitudeRef, "W".to_owned()),
        field(Tag::GPSLongitude, degrees(-LONGITUDE + scatter(7))),
        field(Tag::GPSHPositioningError, Value::Rational(vec![rational(6.0, 10)])),
    ];
    let mut writer = Writer::new();
    for field in &fields {
        writer.push_field(field);
    }
    let mut tiff = Cursor::new(Vec::new());
    writer.write(&mut tiff, false)?;
    let tiff = tiff.into_inner();
    let length = u16::try_from(tiff.len() + 8)?;
    let mut segment = vec![0xff, 0xe1];
    segment.extend(length.to_be_bytes());
    segment.extend(b"Exif\0\0");
    segment.extend(tiff);
    Ok(segment)
}

fn field(tag: Tag, value: Value) -> Field {
    Field { tag, ifd_num: In::PRIMARY, value }
}

fn rational(value: f64, denominator: u32) -> Rational {
    Rational { num: (value * f64::from(denominator)).round() as u32, denom: denominator }
}

/// Degrees, minutes and seconds of a positive angle.
fn degrees(angle: f64) -> Value {
    let minutes = angle.fract() * 60.0;
    let seconds = minutes.fract() * 60.0;
    Value::Rational(vec![
        rational(angle.trunc(), 1),
        rational(minutes.trunc(), 1),
        rational(seconds, 1000),
    ])
}
