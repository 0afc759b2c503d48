//! Open readings of a stamp decided by other evidence, or left open.

use std::collections::BTreeMap;

use chrono::{NaiveDate, NaiveDateTime};

use super::{DateOrder, Stamp};
use crate::ingest::{CaptureTime, Photo, TimeSource};

/// Zones lie at most this far apart, so the same instant may be shown as the neighbouring day.
const DAYS_APART: i64 = 1;

/// Photos of a job that are this many days outside the span of its other photos do not belong to it.
const DAYS_AROUND_JOB: i64 = 3;

/// Puts the stamps of a job's photos among their times. Open readings are decided by, in this order, the
/// photo's own other times, the order that other stamps of the same camera prove, and the days on which the
/// rest of the job was photographed.
pub(crate) fn resolve(photos: &mut [Photo]) {
    for photo in photos.iter_mut() {
        let own = days(photo);
        narrow(photo, |_, date| {
            own.iter().any(|day| apart(*day, date) <= DAYS_APART)
        });
    }
    let orders = proven_orders(photos);
    for photo in photos.iter_mut() {
        if let Some(order) = orders.get(&camera(photo)).copied().flatten() {
            narrow(photo, |read, _| read == order);
        }
    }
    let known: Vec<NaiveDate> = photos.iter().flat_map(days_known).collect();
    let (first, last) = (known.iter().min().copied(), known.iter().max().copied());
    for photo in photos.iter_mut() {
        if let (Some(first), Some(last)) = (first, last) {
            narrow(photo, |_, date| {
                (date - first).num_days() >= -DAYS_AROUND_JOB
                    && (date - last).num_days() <= DAYS_AROUND_JOB
            });
        }
        enter(photo);
    }
}

/// Keeps the one reading that `fits`, if exactly one does.
fn narrow(photo: &mut Photo, fits: impl Fn(DateOrder, NaiveDate) -> bool) {
    let Some(stamp) = photo.stamp.as_mut().filter(|stamp| stamp.dates.len() > 1) else {
        return;
    };
    let fitting: Vec<(DateOrder, NaiveDate)> = stamp
        .dates
        .iter()
        .copied()
        .filter(|(order, date)| fits(*order, *date))
        .collect();
    if fitting.len() == 1 {
        stamp.dates = fitting;
    }
}

fn apart(a: NaiveDate, b: NaiveDate) -> i64 {
    (a - b).num_days().abs()
}

/// Days that the photo's other sources state.
fn days(photo: &Photo) -> Vec<NaiveDate> {
    photo
        .all_times
        .iter()
        .filter(|time| {
            !matches!(
                time.source,
                TimeSource::Stamp | TimeSource::FileSystem | TimeSource::ExifModified
            )
        })
        .map(|time| time.civil.date())
        .collect()
}

fn days_known(photo: &Photo) -> Vec<NaiveDate> {
    let mut days = days(photo);
    days.extend(photo.stamp.as_ref().and_then(Stamp::date));
    days
}

/// Camera and shape of the text: the same settings write the same order.
fn camera(photo: &Photo) -> (String, String) {
    let camera = &photo.camera;
    let name = format!(
        "{} {}",
        camera.make.as_deref().unwrap_or_default(),
        camera.model.as_deref().unwrap_or_default()
    );
    let shape = photo.stamp.as_ref().map(|stamp| {
        let shape = stamp
            .text
            .chars()
            .map(|c| if c.is_ascii_digit() { '0' } else { c });
        shape.take(10).collect()
    });
    (name, shape.unwrap_or_default())
}

/// The order of day and month that a camera's stamps prove; `None` where they contradict each other.
fn proven_orders(photos: &[Photo]) -> BTreeMap<(String, String), Option<DateOrder>> {
    let mut orders = BTreeMap::new();
    for photo in photos {
        let Some([(order, _)]) = photo.stamp.as_ref().map(|stamp| &stamp.dates[..]) else {
            continue;
        };
        let known = orders.entry(camera(photo)).or_insert(Some(*order));
        if *known != Some(*order) {
            *known = None;
        }
    }
    orders
}

/// Lists the stamp among the photo's times, or says why not.
fn enter(photo: &mut Photo) {
    let Some(stamp) = &photo.stamp else { return };
    match (&stamp.dates[..], stamp.civil()) {
        ([], _) => photo.problems.push(
            "there is a date stamp in the picture, and it cannot be read for sure".to_owned(),
        ),
        ([_], Some(civil)) => enter_time(photo, civil),
        ([_], None) => {}
        (dates, _) => {
            let dates: Vec<String> = dates.iter().map(|(_, date)| date.to_string()).collect();
            photo.problems.push(format!(
                "the date stamp \"{}\" can mean {}",
                stamp.text,
                dates.join(" or ")
            ));
        }
    }
}

fn enter_time(photo: &mut Photo, civil: NaiveDateTime) {
    photo.all_times.push(CaptureTime {
        civil,
        offset: None,
        source: TimeSource::Stamp,
    });
    photo.all_times.sort_by_key(|time| time.source);
    photo.choose_time();
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ingest::stamp::layout::meaning;

    fn photo(text: &str, exif: Option<&str>) -> Photo {
        let meaning = meaning(text);
        let mut photo = Photo {
            stamp: Some(Stamp {
                text: text.to_owned(),
                confidence: 0.99,
                dates: meaning.dates,
                time: meaning.time.map(|(time, _)| time),
                has_seconds: false,
            }),
            ..Photo::default()
        };
        photo.all_times.extend(exif.map(|time| CaptureTime {
            civil: time.parse().unwrap(),
            offset: None,
            source: TimeSource::ExifOriginal,
        }));
        photo.choose_time();
        photo
    }

    fn stated(photos: &[Photo]) -> Vec<Option<String>> {
        photos
            .iter()
            .map(|photo| photo.stamp.as_ref().and_then(Stamp::to_text))
            .collect()
    }

    #[test]
    fn the_own_exif_time_decides() {
        let mut photos = [photo("03/04/26 14:15", Some("2026-03-04T14:15:09"))];
        resolve(&mut photos);
        assert_eq!(stated(&photos), [Some("2026-03-04T14:15:00".to_owned())]);
        assert_eq!(photos[0].all_times.len(), 2);
        assert_eq!(
            photos[0].capture_time.as_ref().unwrap().source,
            TimeSource::ExifOriginal
        );
    }

    #[test]
    fn another_stamp_of_the_camera_decides() {
        let mut photos = [
            photo("03/04/2026 14:15", None),
            photo("03/25/2026 14:15", None),
        ];
        resolve(&mut photos);
        assert_eq!(stated(&photos)[0].as_deref(), Some("2026-03-04T14:15:00"));
        assert_eq!(
            photos[0].capture_time.as_ref().unwrap().source,
            TimeSource::Stamp
        );
    }

    #[test]
    fn the_days_of_the_job_decide() {
        let mut photos = [
            photo("03/04/2026 14:15", None),
            photo("2026-04-02 10:00", None),
        ];
        resolve(&mut photos);
        assert_eq!(stated(&photos)[0].as_deref(), Some("2026-04-03T14:15:00"));
    }

    #[test]
    fn without_evidence_it_stays_open_and_is_said() {
        let mut photos = [photo("03/04/2026 14:15", None)];
        resolve(&mut photos);
        assert_eq!(stated(&photos), [None]);
        assert!(photos[0].all_times.is_empty() && photos[0].capture_time.is_none());
        assert!(photos[0].problems[0].contains("2026-03-04 or 2026-04-03"));
    }

    #[test]
    fn a_day_alone_makes_no_time() {
        let mut photos = [photo("2026-03-02", None)];
        resolve(&mut photos);
        assert_eq!(stated(&photos)[0].as_deref(), Some("2026-03-02"));
        assert!(photos[0].all_times.is_empty());
    }
}
