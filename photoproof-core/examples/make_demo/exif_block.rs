//! The Exif block of a made picture: time with offset, position, camera and focal length.

use std::error::Error;
use std::io::Cursor;

use chrono::{NaiveDateTime, Timelike};
use exif::experimental::Writer;
use exif::{Field, In, Rational, Tag, Value};

/// What the block says.
#[derive(Debug, Clone, Default)]
pub(crate) struct Facts {
    /// DateTimeOriginal.
    pub(crate) taken: Option<NaiveDateTime>,
    /// OffsetTimeOriginal, `+HH:MM`.
    pub(crate) offset: Option<String>,
    /// Latitude and longitude, decimal degrees.
    pub(crate) position: Option<(f64, f64)>,
    /// GPSImgDirection, degrees from magnetic north.
    pub(crate) direction: Option<f64>,
    /// FocalLengthIn35mmFilm, millimetres.
    pub(crate) focal_35mm: Option<u16>,
    /// Model, if not the usual one.
    pub(crate) model: Option<String>,
    /// DateTime, if not equal to `taken`.
    pub(crate) modified: Option<NaiveDateTime>,
    /// GPSDateStamp and GPSTimeStamp, UTC.
    pub(crate) gps_time: Option<NaiveDateTime>,
    /// ExposureTime in seconds, FNumber, ISO speed.
    pub(crate) exposure: Option<(f64, f64, u16)>,
}

/// Puts an APP1 segment behind the start-of-image marker of a JPEG (Exif 2.3, section 4.5.4).
pub(crate) fn insert(jpeg: &mut Vec<u8>, facts: &Facts) -> Result<(), Box<dyn Error>> {
    let segment = segment(facts)?;
    jpeg.splice(2..2, segment);
    Ok(())
}

fn segment(facts: &Facts) -> Result<Vec<u8>, Box<dyn Error>> {
    let text = |tag, text: &str| field(tag, Value::Ascii(vec![text.as_bytes().to_vec()]));
    let mut fields = vec![
        text(Tag::Make, "Larkspur"),
        text(Tag::Model, facts.model.as_deref().unwrap_or("Fieldphone 2")),
        field(Tag::Orientation, Value::Short(vec![1])),
    ];
    if let Some(taken) = facts.taken {
        let modified = facts.modified.unwrap_or(taken);
        for (tag, time) in [
            (Tag::DateTime, modified),
            (Tag::DateTimeOriginal, taken),
            (Tag::DateTimeDigitized, taken),
        ] {
            fields.push(text(tag, &time.format("%Y:%m:%d %H:%M:%S").to_string()));
        }
    }
    if let Some(offset) = &facts.offset {
        fields.push(text(Tag::OffsetTimeOriginal, offset));
    }
    if let Some(focal) = facts.focal_35mm {
        fields.push(field(Tag::FocalLengthIn35mmFilm, Value::Short(vec![focal])));
    }
    if let Some((lat, lon)) = facts.position {
        fields.push(text(Tag::GPSLatitudeRef, if lat < 0.0 { "S" } else { "N" }));
        fields.push(field(Tag::GPSLatitude, degrees(lat.abs())));
        fields.push(text(
            Tag::GPSLongitudeRef,
            if lon < 0.0 { "W" } else { "E" },
        ));
        fields.push(field(Tag::GPSLongitude, degrees(lon.abs())));
        fields.push(field(
            Tag::GPSHPositioningError,
            Value::Rational(vec![rational(6.0, 10)]),
        ));
    }
    fields.extend(more(facts));
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

/// Direction, GPS time and exposure settings.
fn more(facts: &Facts) -> Vec<Field> {
    let mut fields = Vec::new();
    if let Some(direction) = facts.direction {
        let magnetic = Value::Ascii(vec![b"M".to_vec()]);
        fields.push(field(Tag::GPSImgDirectionRef, magnetic));
        let value = Value::Rational(vec![rational(direction, 100)]);
        fields.push(field(Tag::GPSImgDirection, value));
    }
    if let Some(time) = facts.gps_time {
        let day = time.format("%Y:%m:%d").to_string().into_bytes();
        fields.push(field(Tag::GPSDateStamp, Value::Ascii(vec![day])));
        let parts = [time.hour(), time.minute(), time.second()];
        let parts = parts.map(|part| rational(f64::from(part), 1));
        fields.push(field(Tag::GPSTimeStamp, Value::Rational(parts.to_vec())));
    }
    if let Some((seconds, f_number, iso)) = facts.exposure {
        let seconds = Value::Rational(vec![rational(seconds, 100_000)]);
        fields.push(field(Tag::ExposureTime, seconds));
        let f_number = Value::Rational(vec![rational(f_number, 10)]);
        fields.push(field(Tag::FNumber, f_number));
        fields.push(field(Tag::PhotographicSensitivity, Value::Short(vec![iso])));
    }
    fields
}

fn field(tag: Tag, value: Value) -> Field {
    Field {
        tag,
        ifd_num: In::PRIMARY,
        value,
    }
}

fn rational(value: f64, denominator: u32) -> Rational {
    Rational {
        num: (value * f64::from(denominator)).round() as u32,
        denom: denominator,
    }
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
