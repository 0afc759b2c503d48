//! Exif tags of one photo. Damaged Exif gives what can be read of it and a problem in words.

use exif::{Context, Exif, Field, In, Tag, Value};

use crate::ingest::container::Format;
use crate::ingest::date_text::{DateField, OffsetField};
use crate::ingest::date_text::{exif_date, exif_day, exif_offset, sub_second};
use crate::ingest::ifd::repaired;
use crate::ingest::options::IngestOptions;
use crate::ingest::traces::{Program, ProgramSource, Traces};
use crate::ingest::{Camera, CaptureTime, Gps, TimeSource, embedded};

/// What the Exif of one photo says.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct ExifFacts {
    /// Orientation, 1..=8.
    pub(crate) orientation: Option<u16>,
    /// Camera tags.
    pub(crate) camera: Camera,
    /// Programs, stated size and coding.
    pub(crate) traces: Traces,
    /// The JPEG thumbnail.
    pub(crate) thumbnail: Option<Vec<u8>>,
    /// ImageUniqueID.
    pub(crate) unique_id: Option<String>,
    /// Position.
    pub(crate) gps: Option<Gps>,
    /// Whether the position is 0, 0.
    pub(crate) gps_zero: bool,
    /// GPSImgDirection, degrees.
    pub(crate) direction_deg: Option<f64>,
    /// Exposure value at ISO 100 of the settings.
    pub(crate) light_ev: Option<f64>,
    /// Times, in no order.
    pub(crate) times: Vec<CaptureTime>,
    /// What is wrong.
    pub(crate) problems: Vec<String>,
}

/// Reads the Exif of a file. `block` is the Exif block found in the container, if any.
pub(crate) fn read(
    format: Format,
    bytes: &[u8],
    block: Option<&[u8]>,
    options: &IngestOptions,
) -> ExifFacts {
    let data = match (format, block) {
        (_, Some(block)) if block.len() > options.max_metadata_bytes => {
            return ExifFacts::problem(format!(
                "Exif of {} bytes is larger than max_metadata_bytes and was not read",
                block.len()
            ));
        }
        (_, Some(block)) => block.to_vec(),
        (Format::Tiff, None) => bytes.to_vec(),
        _ => return ExifFacts::default(),
    };
    let parsed = exif::Reader::new()
        .continue_on_error(true)
        .read_raw(repaired(data));
    let mut problems = Vec::new();
    let parsed = parsed.or_else(|error| {
        error.distill_partial_result(|errors| {
            problems.extend(
                errors
                    .iter()
                    .take(3)
                    .map(|error| format!("damaged Exif: {error}")),
            );
        })
    });
    match parsed {
        Ok(exif) => Tags {
            exif: &exif,
            gps_zero: false,
            problems,
        }
        .facts(),
        Err(exif::Error::NotFound(_)) => ExifFacts::default(),
        Err(error) => ExifFacts::problem(format!("damaged Exif: {error}")),
    }
}

impl ExifFacts {
    fn problem(problem: String) -> Self {
        Self {
            problems: vec![problem],
            ..Self::default()
        }
    }
}

/// Tags that name programs; but for Software they are of Exif 3.0.
const SOFTWARE: [(Tag, ProgramSource); 5] = [
    (Tag::Software, ProgramSource::Software),
    (Tag(Context::Exif, 42041), ProgramSource::CameraFirmware),
    (Tag(Context::Exif, 42042), ProgramSource::RawDeveloping),
    (Tag(Context::Exif, 42043), ProgramSource::ImageEditing),
    (Tag(Context::Exif, 42044), ProgramSource::MetadataEditing),
];

struct Tags<'a> {
    exif: &'a Exif,
    gps_zero: bool,
    problems: Vec<String>,
}

impl Tags<'_> {
    fn facts(mut self) -> ExifFacts {
        let orientation = self.orientation();
        let gps = self.gps();
        let mut times = self.civil_times();
        times.extend(self.gps_time());
        ExifFacts {
            orientation,
            camera: Camera {
                make: self.text(Tag::Make),
                model: self.text(Tag::Model),
                lens: self.text(Tag::LensModel),
                focal_mm: self.positive(Tag::FocalLength),
                focal_35mm: self.positive(Tag::FocalLengthIn35mmFilm),
            },
            traces: self.traces(),
            thumbnail: embedded::thumbnail(self.exif),
            unique_id: self.text(Tag::ImageUniqueID),
            gps,
            gps_zero: self.gps_zero,
            direction_deg: self
                .number(Tag::GPSImgDirection)
                .filter(|d| (0.0..=360.0).contains(d)),
            light_ev: self.light_ev(),
            times,
            problems: self.problems,
        }
    }

    fn traces(&self) -> Traces {
        let named = |&(tag, source): &(Tag, ProgramSource)| {
            let name = self.text(tag)?;
            Some(Program { source, name })
        };
        let side = |tag| self.field(tag)?.value.get_uint(0).filter(|&side| side > 0);
        Traces {
            programs: SOFTWARE.iter().filter_map(named).collect(),
            has_exif: self.exif.fields().len() > 0,
            exif_size: side(Tag::PixelXDimension).zip(side(Tag::PixelYDimension)),
            ..Traces::default()
        }
    }

    fn field(&self, tag: Tag) -> Option<&Field> {
        self.exif.get_field(tag, In::PRIMARY)
    }

    /// Bytes of a text tag: ASCII, and UTF-8 (type 129 of Exif 3.0), which the library hands on unread.
    fn bytes(&self, tag: Tag) -> Option<&[u8]> {
        match &self.field(tag)?.value {
            Value::Ascii(lines) => lines.first().map(Vec::as_slice),
            Value::Undefined(bytes, _) | Value::Byte(bytes) => Some(bytes),
            Value::Unknown(129, count, at) => self.utf8(*count as usize, *at as usize),
            _ => None,
        }
    }

    fn utf8(&self, count: usize, at: usize) -> Option<&[u8]> {
        let buffer = self.exif.buf();
        let start = if count <= 4 {
            at
        } else {
            let raw: [u8; 4] = buffer.get(at..at.checked_add(4)?)?.try_into().ok()?;
            let value = if self.exif.little_endian() {
                u32::from_le_bytes(raw)
            } else {
                u32::from_be_bytes(raw)
            };
            value as usize
        };
        buffer.get(start..start.checked_add(count)?)
    }

    fn text(&self, tag: Tag) -> Option<String> {
        clean_text(self.bytes(tag)?)
    }

    fn number(&self, tag: Tag) -> Option<f64> {
        rational(&self.field(tag)?.value, 0)
    }

    /// A number above zero; zero means unknown.
    fn positive(&self, tag: Tag) -> Option<f64> {
        self.number(tag).filter(|&number| number > 0.0)
    }

    /// log2(N^2 / t) - log2(S / 100) with f-number N, exposure time t in seconds, ISO speed S (Exif 2.32, annex C).
    fn light_ev(&self) -> Option<f64> {
        let f_number = self.positive(Tag::FNumber)?;
        let seconds = self.positive(Tag::ExposureTime)?;
        let speed = self
            .field(Tag::PhotographicSensitivity)?
            .value
            .get_uint(0)?;
        let value = (f_number * f_number / seconds).log2() - (f64::from(speed) / 100.0).log2();
        value.is_finite().then_some(value)
    }

    fn orientation(&mut self) -> Option<u16> {
        let value = self.field(Tag::Orientation)?.value.get_uint(0)?;
        let valid = u16::try_from(value)
            .ok()
            .filter(|value| (1..=8).contains(value));
        if valid.is_none() {
            self.problems.push(format!(
                "Orientation {value} is not 1 to 8 and was not applied"
            ));
        }
        valid
    }

    fn civil_times(&mut self) -> Vec<CaptureTime> {
        let tags = [
            (
                TimeSource::ExifOriginal,
                Tag::DateTimeOriginal,
                Tag::SubSecTimeOriginal,
                Tag::OffsetTimeOriginal,
            ),
            (
                TimeSource::ExifDigitized,
                Tag::DateTimeDigitized,
                Tag::SubSecTimeDigitized,
                Tag::OffsetTimeDigitized,
            ),
            (
                TimeSource::ExifModified,
                Tag::DateTime,
                Tag::SubSecTime,
                Tag::OffsetTime,
            ),
        ];
        let mut times = Vec::new();
        for (source, date, sub_sec, offset) in tags {
            let Some(civil) = self.civil(date) else {
                continue;
            };
            let nanos = self.bytes(sub_sec).and_then(sub_second).unwrap_or(0);
            times.push(CaptureTime {
                civil: civil + chrono::TimeDelta::nanoseconds(i64::from(nanos)),
                offset: self.offset(offset),
                source,
            });
        }
        times
    }

    fn civil(&mut self, tag: Tag) -> Option<chrono::NaiveDateTime> {
        let bytes = self.bytes(tag)?;
        match exif_date(bytes) {
            DateField::Civil(civil) => Some(civil),
            DateField::Unknown => None,
            DateField::DayOnly(day) => {
                self.problems
                    .push(format!("{tag} gives the day {day} without a time"));
                None
            }
            DateField::Malformed => {
                let text = clean_text(bytes).unwrap_or_default();
                self.problems.push(format!(
                    "{tag} \"{text}\" is not a date in the form YYYY:MM:DD HH:MM:SS"
                ));
                None
            }
        }
    }

    fn offset(&mut self, tag: Tag) -> Option<chrono::FixedOffset> {
        match exif_offset(self.bytes(tag)?) {
            OffsetField::Known(offset) => Some(offset),
            OffsetField::Unknown => None,
            OffsetField::Malformed => {
                let text = self.text(tag).unwrap_or_default();
                self.problems.push(format!(
                    "{tag} \"{text}\" is not an offset in the form +HH:MM"
                ));
                None
            }
        }
    }

    fn gps(&mut self) -> Option<Gps> {
        let lat = self.angle(Tag::GPSLatitude, Tag::GPSLatitudeRef, [b'N', b'S']);
        let lon = self.angle(Tag::GPSLongitude, Tag::GPSLongitudeRef, [b'E', b'W']);
        if self.field(Tag::GPSLatitude).is_none() && self.field(Tag::GPSLongitude).is_none() {
            return None;
        }
        let (Some(lat), Some(lon)) = (lat, lon) else {
            self.problems
                .push("GPS position is incomplete and was not used".to_owned());
            return None;
        };
        if !(-90.0..=90.0).contains(&lat) || !(-180.0..=180.0).contains(&lon) {
            self.problems
                .push(format!("GPS position {lat}, {lon} is not on the globe"));
            return None;
        }
        if lat == 0.0 && lon == 0.0 {
            self.gps_zero = true;
            self.problems
                .push("GPS position is 0, 0: a receiver without a fix writes that".to_owned());
            return None;
        }
        let error_m = self
            .number(Tag::GPSHPositioningError)
            .filter(|&error| error >= 0.0);
        Some(Gps { lat, lon, error_m })
    }

    /// Degrees, minutes, seconds as rationals; a zero denominator means unknown.
    fn angle(&self, tag: Tag, reference: Tag, signs: [u8; 2]) -> Option<f64> {
        let value = &self.field(tag)?.value;
        let degrees = rational(value, 0)?;
        let part = |index| {
            if index < count(value) {
                rational(value, index)
            } else {
                Some(0.0)
            }
        };
        let size = degrees + part(1)? / 60.0 + part(2)? / 3600.0;
        let letter = self.bytes(reference)?.first()?.to_ascii_uppercase();
        if letter == signs[0] {
            Some(size)
        } else if letter == signs[1] {
            Some(-size)
        } else {
            None
        }
    }

    /// GPSDateStamp and GPSTimeStamp: UTC.
    fn gps_time(&mut self) -> Option<CaptureTime> {
        let day = exif_day(self.bytes(Tag::GPSDateStamp)?.get(..10)?)?;
        let value = &self.field(Tag::GPSTimeStamp)?.value;
        let [hour, minute, second] = [
            rational(value, 0)?,
            rational(value, 1)?,
            rational(value, 2)?,
        ];
        let seconds = hour * 3600.0 + minute * 60.0 + second;
        if !(0.0..86_400.0).contains(&seconds) {
            self.problems
                .push("GPSTimeStamp is not a time of day".to_owned());
            return None;
        }
        let micros = (seconds * 1e6).round() as i64;
        let civil = day.and_time(chrono::NaiveTime::MIN) + chrono::TimeDelta::microseconds(micros);
        Some(CaptureTime {
            civil,
            offset: chrono::FixedOffset::east_opt(0),
            source: TimeSource::Gps,
        })
    }
}

fn count(value: &Value) -> usize {
    match value {
        Value::Rational(list) => list.len(),
        Value::SRational(list) => list.len(),
        Value::Float(list) => list.len(),
        Value::Double(list) => list.len(),
        Value::Short(list) => list.len(),
        Value::Long(list) => list.len(),
        _ => 0,
    }
}

/// The number at `index`; `None` for a zero denominator or what is not finite.
fn rational(value: &Value, index: usize) -> Option<f64> {
    let number = match value {
        Value::Rational(list) => list
            .get(index)
            .filter(|r| r.denom != 0)
            .map(exif::Rational::to_f64),
        Value::SRational(list) => list
            .get(index)
            .filter(|r| r.denom != 0)
            .map(exif::SRational::to_f64),
        Value::Float(list) => list.get(index).map(|&number| f64::from(number)),
        Value::Double(list) => list.get(index).copied(),
        _ => value.get_uint(index).map(f64::from),
    };
    number.filter(|number| number.is_finite())
}

/// Text of a tag without closing NULs, blanks and control characters, at most 200 characters.
pub(crate) fn clean_text(bytes: &[u8]) -> Option<String> {
    let bytes = bytes.split(|&byte| byte == 0).next().unwrap_or_default();
    let text: String = String::from_utf8_lossy(bytes)
        .chars()
        .filter(|letter| !letter.is_control() && !is_direction_mark(*letter))
        .take(200)
        .collect();
    let text = text.trim();
    (!text.is_empty()).then(|| text.to_owned())
}

/// Marks that reorder text on screen (Unicode Standard Annex 9): a file could use them to pose as
/// another.
pub(crate) fn is_direction_mark(letter: char) -> bool {
    matches!(letter, '\u{061C}' | '\u{200E}' | '\u{200F}' | '\u{202A}'..='\u{202E}' | '\u{2066}'..='\u{2069}')
}
