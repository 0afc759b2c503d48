//! Capture time: a civil time with, if known, an offset and a source. No zone is ever invented.

use chrono::{DateTime, FixedOffset, NaiveDateTime};
use serde::Serialize;

/// Where a time comes from, most trusted first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum TimeSource {
    /// Exif DateTimeOriginal (0x9003).
    ExifOriginal,
    /// Exif DateTimeDigitized (0x9004).
    ExifDigitized,
    /// Exif GPSDateStamp and GPSTimeStamp, UTC.
    Gps,
    /// The date stamp visible in the picture.
    Stamp,
    /// XMP or another container's own creation time.
    Container,
    /// A time written in the file name.
    FileName,
    /// Exif DateTime (0x0132): when the file was last changed.
    ExifModified,
    /// The file system's modification time. Never used for order or window.
    FileSystem,
}

/// One time a file offers.
#[derive(Debug, Clone, PartialEq)]
pub struct CaptureTime {
    /// Civil (wall clock) time as written.
    pub civil: NaiveDateTime,
    /// Offset from UTC if the file states it.
    pub offset: Option<FixedOffset>,
    /// Where the time comes from.
    pub source: TimeSource,
}

impl CaptureTime {
    /// The instant, if the offset is known.
    #[must_use]
    pub fn instant(&self) -> Option<DateTime<FixedOffset>> {
        self.offset
            .and_then(|offset| self.civil.and_local_timezone(offset).single())
    }

    /// RFC 3339 with offset if known, else local date and time without one
    /// (RFC 3339 section 4.4: an unknown local offset is never written as Z).
    #[must_use]
    pub fn to_text(&self) -> String {
        let mut text = self.civil.format("%Y-%m-%dT%H:%M:%S%.f").to_string();
        if let Some(offset) = self.offset {
            if offset.local_minus_utc() == 0 {
                text.push('Z');
            } else {
                text.push_str(&offset.to_string());
            }
        }
        text
    }
}
