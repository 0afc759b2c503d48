//! Dates and times as text: the Exif forms of CIPA DC-008 (Exif 2.32, 4.6.5), ISO 8601 as XMP writes
//! it, and nothing else. Blank and zero dates are never dates, and nothing is completed by guessing.

use chrono::{FixedOffset, NaiveDate, NaiveDateTime, NaiveTime};

/// What a date field says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum DateField {
    /// Absent, blank or zero: the standard's ways to say "unknown".
    Unknown,
    /// A civil time.
    Civil(NaiveDateTime),
    /// A date whose time of day is unknown.
    DayOnly(NaiveDate),
    /// Text that is not a date in the standard's form.
    Malformed,
}

/// Reads `YYYY:MM:DD HH:MM:SS` as stored in DateTime, DateTimeOriginal and DateTimeDigitized.
///
/// Unknown forms: empty, all NUL, blanks, blanks between colons, zeros. Closing NULs and blanks are
/// dropped. Anything else, such as other separators, month 13, hour 24 or trailing text, is
/// [`DateField::Malformed`].
pub(crate) fn exif_date(bytes: &[u8]) -> DateField {
    let text = trim(bytes);
    if text
        .iter()
        .all(|byte| matches!(byte, b' ' | b':' | b'0' | 0))
    {
        return DateField::Unknown;
    }
    let (Some(day), Some(time)) = (text.get(..10), text.get(10..)) else {
        return DateField::Malformed;
    };
    let Some(day) = exif_day(day) else {
        return DateField::Malformed;
    };
    if time.iter().all(|byte| matches!(byte, b' ' | b':')) {
        return DateField::DayOnly(day);
    }
    match time.strip_prefix(b" ").and_then(exif_clock) {
        Some(time) => DateField::Civil(day.and_time(time)),
        None => DateField::Malformed,
    }
}

/// Reads `YYYY:MM:DD`.
pub(crate) fn exif_day(text: &[u8]) -> Option<NaiveDate> {
    let [year, month, day] = fields(text, b':', [4, 2, 2])?;
    let day = NaiveDate::from_ymd_opt(i32::try_from(year).ok()?, month, day)?;
    (year > 0).then_some(day)
}

/// Reads `HH:MM:SS`, 24 h.
fn exif_clock(text: &[u8]) -> Option<NaiveTime> {
    let [hour, minute, second] = fields(text, b':', [2, 2, 2])?;
    NaiveTime::from_hms_opt(hour, minute, second)
}

/// Reads numbers of fixed width between single separators.
fn fields(text: &[u8], separator: u8, widths: [usize; 3]) -> Option<[u32; 3]> {
    let mut parts = text.split(|&byte| byte == separator);
    let mut values = [0; 3];
    for (value, width) in values.iter_mut().zip(widths) {
        let part = parts.next()?;
        *value = if part.len() == width {
            digits(part)?
        } else {
            return None;
        };
    }
    parts.next().is_none().then_some(values)
}

/// Reads decimal digits only; no sign, no blank.
pub(crate) fn digits(text: &[u8]) -> Option<u32> {
    if text.is_empty() || text.len() > 9 || !text.iter().all(u8::is_ascii_digit) {
        return None;
    }
    Some(
        text.iter()
            .fold(0, |value, digit| value * 10 + u32::from(digit - b'0')),
    )
}

/// Nanoseconds of SubSecTime: the digits after the decimal point ("5" = .5 s, "05" = .05 s). `None`
/// if blank or not digits.
pub(crate) fn sub_second(bytes: &[u8]) -> Option<u32> {
    let text = trim(bytes);
    if text.is_empty() || !text.iter().all(u8::is_ascii_digit) {
        return None;
    }
    let nine = text.iter().copied().chain(std::iter::repeat(b'0')).take(9);
    Some(nine.fold(0, |value, digit| value * 10 + u32::from(digit - b'0')))
}

/// What an offset field says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum OffsetField {
    /// Absent or blank.
    Unknown,
    /// Offset from UTC.
    Known(FixedOffset),
    /// Text that is not an offset.
    Malformed,
}

/// Reads `+HH:MM` or `-HH:MM` (OffsetTime and its siblings), and `Z`. `-00:00` means that the offset
/// is unknown (RFC 3339, 4.3).
pub(crate) fn exif_offset(bytes: &[u8]) -> OffsetField {
    let text = trim(bytes);
    if text.iter().all(|byte| matches!(byte, b' ' | b':' | 0)) || text == b"-00:00" {
        return OffsetField::Unknown;
    }
    offset(text).map_or(OffsetField::Malformed, OffsetField::Known)
}

/// An offset within -12:00 ..= +14:00, the range in civil use.
fn offset(text: &[u8]) -> Option<FixedOffset> {
    if text == b"Z" {
        return FixedOffset::east_opt(0);
    }
    let (sign, rest) = match text.split_first()? {
        (b'+', rest) => (1, rest),
        (b'-', rest) => (-1, rest),
        _ => return None,
    };
    let (hours, minutes) = match rest {
        [a, b, b':', c, d] => (digits(&[*a, *b])?, digits(&[*c, *d])?),
        _ => return None,
    };
    let seconds = sign * i32::try_from(hours * 3600 + minutes * 60).ok()?;
    let in_use = minutes < 60 && (-12 * 3600..=14 * 3600).contains(&seconds);
    if in_use {
        FixedOffset::east_opt(seconds)
    } else {
        None
    }
}

/// Reads a date and time in ISO 8601 as XMP profiles it (`2026-03-02T14:15:02.5-06:00`; XMP part 1,
/// 8.2.1.4), seconds optional; the Exif form is accepted too. A day alone gives nothing.
pub(crate) fn iso_time(text: &str) -> Option<(NaiveDateTime, Option<FixedOffset>)> {
    let text = text.trim();
    if !text.is_ascii() || text.len() > 40 {
        return None;
    }
    let bytes = text.as_bytes();
    let day = bytes.get(..10)?;
    let separator = *day.get(4)?;
    if !matches!(separator, b'-' | b':') {
        return None;
    }
    let [year, month, day] = fields(day, separator, [4, 2, 2])?;
    let day = NaiveDate::from_ymd_opt(i32::try_from(year).ok()?, month, day)?;
    let rest = bytes.get(10..)?;
    let rest = rest
        .strip_prefix(b"T")
        .or_else(|| rest.strip_prefix(b" "))?;
    let zone_at = rest
        .iter()
        .position(|byte| matches!(byte, b'Z' | b'+' | b'-'));
    let (clock, zone) = rest.split_at(zone_at.unwrap_or(rest.len()));
    let zone = match zone {
        b"" | b"-00:00" => None,
        zone => Some(offset(zone)?),
    };
    let civil = day.and_time(iso_clock(clock)?);
    (year > 0).then_some((civil, zone))
}

fn iso_clock(text: &[u8]) -> Option<NaiveTime> {
    let hour = digits(text.get(..2)?)?;
    let minute = digits(text.get(3..5)?)?;
    if text.get(2) != Some(&b':') {
        return None;
    }
    let (second, nanos) = match text.get(5..)? {
        [] => (0, 0),
        [b':', a, b] => (digits(&[*a, *b])?, 0),
        [b':', a, b, b'.', fraction @ ..] => (digits(&[*a, *b])?, sub_second(fraction)?),
        _ => return None,
    };
    NaiveTime::from_hms_nano_opt(hour, minute, second, nanos)
}

/// Drops closing NULs and blanks, and opening blanks.
fn trim(bytes: &[u8]) -> &[u8] {
    let end = bytes
        .iter()
        .rposition(|byte| !matches!(byte, 0 | b' ' | b'\n' | b'\r'));
    let kept = bytes.get(..end.map_or(0, |at| at + 1)).unwrap_or_default();
    let start = kept.iter().position(|byte| *byte != b' ').unwrap_or(0);
    kept.get(start..).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn civil(text: &str) -> NaiveDateTime {
        NaiveDateTime::parse_from_str(text, "%Y-%m-%dT%H:%M:%S%.f").unwrap()
    }

    // Forms of the unknown date: CIPA DC-008 (Exif 2.32), DateTimeOriginal; the zero form is common
    // practice, no source.
    #[test]
    fn unknown_dates_are_never_dates() {
        let forms: [&[u8]; 9] = [
            b"",
            b"\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0",
            b"                   \0",
            b"    :  :     :  :  \0",
            b"    :  :     :  :  ",
            b"0000:00:00 00:00:00\0",
            b"0000:00:00 00:00:00",
            b"\0",
            b"    :  :  ",
        ];
        for form in forms {
            assert_eq!(exif_date(form), DateField::Unknown, "{form:?}");
        }
    }

    #[test]
    fn malformed_dates_do_not_pass() {
        let forms: [&[u8]; 16] = [
            b"2024:13:01 10:00:00\0",
            b"2024:04:31 10:00:00\0",
            b"2023:02:29 10:00:00\0",
            b"2024:06:01 24:00:00\0",
            b"2024:06:01 10:60:00\0",
            b"2024:06:01 10:00:61\0",
            b"2024-06-01 10:00:00\0",
            b"2024:06:01T10:00:00\0",
            b"2024:06:01 10:00:00 x\0",
            b"2024:06:01 10:00\0",
            b"0000:06:01 10:00:00",
            b"2024:00:01 10:00:00",
            b"garbage",
            b"\xff\xff\xff\xff\xff\xff\xff\xff\xff\xff\xff\xff",
            b"2024:06:01 1a:00:00",
            b"+024:06:01 10:00:00",
        ];
        for form in forms {
            assert_eq!(exif_date(form), DateField::Malformed, "{form:?}");
        }
    }

    #[test]
    fn the_standard_form_is_read() {
        let expected = DateField::Civil(civil("2024-06-30T21:15:07"));
        for form in [
            &b"2024:06:30 21:15:07\0"[..],
            b"2024:06:30 21:15:07",
            b"2024:06:30 21:15:07 \0",
        ] {
            assert_eq!(exif_date(form), expected);
        }
        let leap_day = DateField::Civil(civil("2024-02-29T00:00:00"));
        assert_eq!(exif_date(b"2024:02:29 00:00:00\0"), leap_day);
        let day = NaiveDate::from_ymd_opt(2024, 6, 30).unwrap();
        assert_eq!(exif_date(b"2024:06:30   :  :  \0"), DateField::DayOnly(day));
        assert_eq!(exif_date(b"2024:06:30"), DateField::DayOnly(day));
    }

    #[test]
    fn sub_seconds_are_digits_after_the_point() {
        assert_eq!(sub_second(b"5"), Some(500_000_000));
        assert_eq!(sub_second(b"05\0"), Some(50_000_000));
        assert_eq!(sub_second(b"130 "), Some(130_000_000));
        assert_eq!(sub_second(b"1234567891"), Some(123_456_789));
        for bad in [&b""[..], b"  ", b"1x", b"-1"] {
            assert_eq!(sub_second(bad), None);
        }
    }

    #[test]
    fn offsets() {
        let west = FixedOffset::west_opt(7 * 3600).unwrap();
        assert_eq!(exif_offset(b"-07:00\0"), OffsetField::Known(west));
        let nepal = FixedOffset::east_opt(5 * 3600 + 45 * 60).unwrap();
        assert_eq!(exif_offset(b"+05:45"), OffsetField::Known(nepal));
        for blank in [&b"   :  \0"[..], b"", b"      ", b"-00:00"] {
            assert_eq!(exif_offset(blank), OffsetField::Unknown);
        }
        for bad in [
            &b"+15:00"[..],
            b"+0700",
            b"07:00",
            b"+07:60",
            b"-13:00",
            b"+1:00",
            b"CST",
        ] {
            assert_eq!(exif_offset(bad), OffsetField::Malformed, "{bad:?}");
        }
    }

    // RFC 3339, section 5.8 examples.
    #[test]
    fn iso_forms() {
        let zone = |hours| FixedOffset::east_opt(hours * 3600);
        let cases = [
            ("1985-04-12T23:20:50.52Z", "1985-04-12T23:20:50.52", zone(0)),
            ("1996-12-19T16:39:57-08:00", "1996-12-19T16:39:57", zone(-8)),
            ("2026-03-02T14:15", "2026-03-02T14:15:00", None),
            ("2026:03:02 14:15:02", "2026-03-02T14:15:02", None),
        ];
        for (text, expected, offset) in cases {
            assert_eq!(iso_time(text), Some((civil(expected), offset)), "{text}");
        }
        for bad in [
            "2026-03-02",
            "2026-13-02T00:00",
            "0000-00-00T00:00:00",
            "x",
            "2026-03-02T1",
        ] {
            assert_eq!(iso_time(bad), None, "{bad}");
        }
    }
}
