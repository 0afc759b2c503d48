//! The work window: civil times at the site, checked against its zone.

use chrono::{LocalResult, NaiveDate, NaiveDateTime, TimeZone};
use toml::de::DeValue;
use toml::value::{Datetime, Offset};

use super::table::{At, Reader};
use super::{JobSheet, Window};

const EXAMPLE: &str = "window = { start = 2026-03-02T07:00:00, end = 2026-03-04T19:00:00 }";

/// Reads `window` of `[job]`.
pub(super) fn window(job: &Reader<'_>, sheet: &mut JobSheet) {
    let Some(table) = job.table("window", &["start", "end"]) else {
        return;
    };
    let start = end_point(&table, "start", sheet);
    let end = end_point(&table, "end", sheet);
    let (Some(start), Some(end)) = (start, end) else {
        return;
    };
    if end.value < start.value {
        table.mistake(
            &end.span,
            format!(
                "the window ends ({}) before it starts ({}); swap them or correct the date",
                end.value, start.value
            ),
        );
        return;
    }
    sheet.window = Some(Window {
        start: start.value,
        end: end.value,
    });
}

fn end_point(table: &Reader<'_>, key: &str, sheet: &mut JobSheet) -> Option<At<NaiveDateTime>> {
    let Some(raw) = table.raw(key) else {
        table.missing(key, EXAMPLE);
        return None;
    };
    let span = raw.span();
    let DeValue::Datetime(when) = raw.get_ref() else {
        table.mistake(
            &span,
            format!(
                "`{key}` of the window must be a date and time without quotes, for instance 2026-03-02T07:00:00, not {}",
                super::table::article(raw.get_ref().type_str())
            ),
        );
        return None;
    };
    let Some(civil) = civil(when) else {
        let missing = if when.date.is_none() { "date" } else { "time" };
        table.mistake(
            &span,
            format!(
                "`{key}` of the window has no {missing}; write both, for instance 2026-03-02T07:00:00"
            ),
        );
        return None;
    };
    let zone = sheet.site.timezone;
    let civil = match (when.offset, zone) {
        (None, None) => civil,
        (None, Some(zone)) => {
            let exists = existing(civil, zone, &mut sheet.notes);
            if let Err(message) = &exists {
                table.mistake(&span, message.as_str());
            }
            exists.ok()?
        }
        (Some(offset), Some(zone)) => to_zone(civil, offset, zone)?,
        (Some(_), None) => {
            table.mistake(
                &span,
                format!(
                    "`{key}` of the window has a UTC offset but the site has no timezone; drop the offset or set timezone in [site]"
                ),
            );
            return None;
        }
    };
    Some(At { value: civil, span })
}

/// A civil time that exists in `zone`; one that exists twice is noted.
fn existing(
    civil: NaiveDateTime,
    zone: chrono_tz::Tz,
    notes: &mut Vec<String>,
) -> Result<NaiveDateTime, String> {
    match zone.from_local_datetime(&civil) {
        LocalResult::Single(_) => {}
        LocalResult::Ambiguous(first, second) => notes.push(format!(
            "{civil} exists twice in {zone} because clocks were set back ({} and {}); the window covers both",
            first.format("%:z"),
            second.format("%:z")
        )),
        LocalResult::None => {
            return Err(format!(
                "{civil} does not exist in {zone}: clocks were set forward over it; write a time before or after the gap"
            ));
        }
    }
    Ok(civil)
}

fn civil(when: &Datetime) -> Option<NaiveDateTime> {
    let date = when.date?;
    let time = when.time?;
    // A leap second (RFC 3339 allows 60) counts as the last whole second.
    let second = u32::from(time.second.unwrap_or(0)).min(59);
    NaiveDate::from_ymd_opt(
        i32::from(date.year),
        u32::from(date.month),
        u32::from(date.day),
    )?
    .and_hms_opt(u32::from(time.hour), u32::from(time.minute), second)
}

fn to_zone(civil: NaiveDateTime, offset: Offset, zone: chrono_tz::Tz) -> Option<NaiveDateTime> {
    let minutes = match offset {
        Offset::Z => 0,
        Offset::Custom { minutes } => i64::from(minutes),
    };
    let utc = civil.checked_sub_signed(chrono::TimeDelta::try_minutes(minutes)?)?;
    Some(zone.from_utc_datetime(&utc).naive_local())
}
