//! Properties of the order findings: no shift of all clocks, no zone and no daylight-saving edge changes them.

use chrono::{DateTime, FixedOffset, NaiveDateTime, TimeDelta, TimeZone, Utc};
use chrono_tz::Tz;
use proptest::prelude::*;

use crate::group::{Compared, Grouped, group};
use crate::ingest::{CaptureTime, Intake, Photo, PhotoId, TimeSource};
use crate::job::JobSheet;
use crate::judge::checks::capture_time_out_of_order::CaptureTimeOutOfOrder;
use crate::judge::checks::file_number_out_of_order::FileNumberOutOfOrder;
use crate::judge::{Check, Evidence};
use crate::phase::Phase;

/// A photo of a made-up job: area, phase, camera, minutes after the job's start.
#[derive(Debug, Clone, Copy)]
struct Shot {
    area: usize,
    phase: Phase,
    camera: usize,
    minute: i64,
}

fn start() -> DateTime<Utc> {
    "2026-06-15T13:00:09Z".parse().unwrap()
}

/// Any shots: many of them out of order.
fn shots() -> impl Strategy<Value = Vec<Shot>> {
    let shot = (0..3usize, 0..3usize, 0..2usize, 0..600i64);
    let shot = shot.prop_map(|(area, phase, camera, minute)| Shot {
        area,
        phase: Phase::ALL[phase],
        camera,
        minute,
    });
    prop::collection::vec(shot, 2..14)
}

/// Shots in order: later phases later, at least a minute apart.
fn orderly() -> impl Strategy<Value = Vec<Shot>> {
    shots().prop_map(|mut shots| {
        shots.sort_by_key(|shot| shot.phase);
        for (at, shot) in (0i64..).zip(&mut shots) {
            shot.minute = at * 23;
        }
        shots
    })
}

/// Every second of the five months around the job lies at some shift; both daylight-saving edges do.
fn shift() -> impl Strategy<Value = i64> {
    prop_oneof![
        -150 * 86_400..150 * 86_400i64,
        // United States and Europe, spring and autumn of 2026, within half a day.
        (-43_200..43_200i64, 0..4usize).prop_map(|(around, edge)| {
            let edge: DateTime<Utc> = [
                "2026-03-08T08:00:00Z",
                "2026-11-01T07:00:00Z",
                "2026-03-29T01:00:00Z",
                "2026-10-25T01:00:00Z",
            ][edge]
                .parse()
                .unwrap();
            (edge - start()).num_seconds() + around
        }),
    ]
}

fn zone() -> impl Strategy<Value = Tz> {
    (0..chrono_tz::TZ_VARIANTS.len()).prop_map(|at| chrono_tz::TZ_VARIANTS[at])
}

fn photo(at: usize, shot: Shot, time: CaptureTime) -> Photo {
    let mut photo = Photo {
        path: format!("{at:02}.jpg"),
        capture_time: Some(time.clone()),
        all_times: vec![time],
        ..Photo::default()
    };
    photo.label.area = Some(format!("Area {}", shot.area));
    photo.label.phase = Some(shot.phase);
    photo.camera.model = Some(format!("Camera {}", shot.camera));
    photo
}

fn exif(civil: NaiveDateTime, offset: Option<FixedOffset>) -> CaptureTime {
    CaptureTime {
        civil,
        offset,
        source: TimeSource::ExifOriginal,
    }
}

fn gps(instant: DateTime<Utc>) -> CaptureTime {
    CaptureTime {
        civil: instant.naive_utc(),
        offset: FixedOffset::east_opt(0),
        source: TimeSource::Gps,
    }
}

/// Photos and measured values of a check's findings.
fn found(
    check: &dyn Check,
    zone: Option<Tz>,
    photos: Vec<Photo>,
) -> Vec<(Vec<PhotoId>, Option<f64>)> {
    let mut sheet = JobSheet::default();
    sheet.site.timezone = zone;
    let intake = Intake {
        photos,
        ..Intake::default()
    };
    let grouped: Grouped = group(&sheet, &intake, Compared::default(), Vec::new());
    let evidence = Evidence {
        sheet: &sheet,
        intake: &intake,
        measures: &[],
        grouped: &grouped,
        owed_shots: None,
        gaps: Vec::new(),
        now: None,
    };
    let rows = check.run(&evidence).into_iter();
    rows.map(|finding| (finding.photos, finding.measured.and_then(|m| m.value)))
        .collect()
}

/// Photos and measured seconds of the order findings.
fn order(zone: Option<Tz>, photos: Vec<Photo>) -> Vec<(Vec<PhotoId>, Option<f64>)> {
    found(&CaptureTimeOutOfOrder, zone, photos)
}

fn instant(shot: Shot, shift: i64) -> DateTime<Utc> {
    start() + TimeDelta::minutes(shot.minute) + TimeDelta::seconds(shift)
}

/// Photos whose times state an offset, each its own.
fn stated(shots: &[Shot], shift: i64, quarters: &[i32]) -> Vec<Photo> {
    let numbered = shots.iter().copied().enumerate();
    numbered
        .map(|(at, shot)| {
            let quarter = quarters.get(at % quarters.len()).copied().unwrap_or(0);
            let offset = FixedOffset::east_opt(quarter * 900).unwrap();
            let civil = instant(shot, shift).with_timezone(&offset).naive_local();
            photo(at, shot, exif(civil, Some(offset)))
        })
        .collect()
}

/// Photos of clocks that show the site's civil time and state no offset.
fn unstated(shots: &[Shot], shift: i64, zone: Tz) -> Vec<Photo> {
    let numbered = shots.iter().copied().enumerate();
    numbered
        .map(|(at, shot)| {
            let civil = zone.from_utc_datetime(&instant(shot, shift).naive_utc());
            photo(at, shot, exif(civil.naive_local(), None))
        })
        .collect()
}

proptest! {
    #[test]
    fn shifts_zones_and_offsets_change_nothing(
        shots in shots(),
        shift in shift(),
        zone in prop::option::of(zone()),
        quarters in prop::collection::vec(-48..=56i32, 1..5),
    ) {
        let plain = order(None, stated(&shots, 0, &[-20]));
        prop_assert_eq!(plain, order(zone, stated(&shots, shift, &quarters)));
    }

    #[test]
    fn wall_clocks_without_a_zone_may_be_shifted(shots in shots(), shift in shift()) {
        let written = |shift| {
            let numbered = shots.iter().copied().enumerate();
            let photos = numbered.map(|(at, shot)| {
                photo(at, shot, exif(instant(shot, shift).naive_utc(), None))
            });
            order(None, photos.collect())
        };
        prop_assert_eq!(written(0), written(shift));
    }

    #[test]
    fn no_edge_makes_an_orderly_job_disorderly(
        shots in orderly(),
        shift in shift(),
        zone in zone(),
    ) {
        prop_assert_eq!(order(Some(zone), unstated(&shots, shift, zone)), vec![]);
    }

    #[test]
    fn a_wrong_but_steady_clock_with_gps_stamps_changes_nothing(
        shots in shots(),
        error in -40 * 86_400..40 * 86_400i64,
    ) {
        let all_stamped = |error: i64| {
            let mut photos = stated(&shots, 0, &[-20]);
            for (photo, shot) in photos.iter_mut().zip(&shots) {
                photo.all_times.push(gps(instant(*shot, 0)));
                if shot.camera == 1 {
                    photo.all_times[0].civil += TimeDelta::seconds(error);
                    photo.capture_time = Some(photo.all_times[0].clone());
                }
            }
            order(None, photos)
        };
        let stamps = shots.iter().filter(|shot| shot.camera == 1).count();
        prop_assume!(stamps >= 3 && error.abs() > 120);
        prop_assert_eq!(all_stamped(0), all_stamped(error));
    }
}

/// Two cameras in both rooms; the clock of the second one is a day slow, and no photo has GPS.
fn two_cameras(slow: i64) -> Vec<Photo> {
    let shot = |area, phase: Phase, camera, minute| Shot {
        area,
        phase,
        camera,
        minute,
    };
    let mut shots = Vec::new();
    for area in 0..2 {
        for camera in 0..2 {
            for n in 0..3 {
                let minute = (area * 10 + camera * 5 + n) as i64;
                shots.push(shot(area, Phase::Before, camera, minute));
                shots.push(shot(area, Phase::After, camera, minute + 300));
            }
        }
    }
    let mut photos = stated(&shots, 0, &[-20]);
    for (photo, shot) in photos.iter_mut().zip(&shots) {
        if shot.camera == 1 {
            photo.all_times[0].civil -= TimeDelta::seconds(slow);
            photo.capture_time = Some(photo.all_times[0].clone());
        }
    }
    photos
}

/// A job without a sheet of which no pair was compared.
fn grouped(photos: Vec<Photo>) -> Grouped {
    let intake = Intake {
        photos,
        ..Intake::default()
    };
    group(
        &JobSheet::default(),
        &intake,
        Compared::default(),
        Vec::new(),
    )
}

#[test]
fn a_wrong_but_steady_clock_is_found_by_order() {
    assert_eq!(order(None, two_cameras(0)), vec![]);
    assert_eq!(order(None, two_cameras(86_400)), vec![], "corrected");
    let grouped = grouped(two_cameras(86_400));
    let clock = &grouped.devices.clocks[1];
    assert!(
        (clock.range_s.0..=clock.range_s.1).contains(&-86_400),
        "{clock:?}"
    );
    assert_eq!(grouped.devices.clocks[0].error_s, 0);
}

#[test]
fn a_phase_is_inferred_from_the_corrected_time() {
    let mut photos = two_cameras(86_400);
    let told: Vec<Option<Phase>> = photos.iter().map(|photo| photo.label.phase).collect();
    let of_second = |photo: &&mut Photo| photo.camera.model.as_deref() == Some("Camera 1");
    for photo in photos.iter_mut().filter(of_second).step_by(3) {
        photo.label.phase = None;
    }
    let grouped = grouped(photos);
    let inferred: Vec<Option<Phase>> = grouped.labels.iter().map(|label| label.phase).collect();
    assert!(grouped.devices.clocks[1].error_s < -43_200);
    assert_eq!(inferred, told);
}

/// Old photos of another camera, all handed in as after photos, are no wrong clock: they stay a finding.
#[test]
fn old_photos_of_another_camera_stay_a_finding() {
    let mut photos = two_cameras(86_400);
    photos.retain(|photo| {
        let second = photo.camera.model.as_deref() == Some("Camera 1");
        second == (photo.label.phase == Some(Phase::After))
    });
    let findings = order(None, photos);
    assert_eq!(findings.len(), 1, "{findings:?}");
    assert_eq!(findings[0].0.len(), 6);
}

/// The photos of [`two_cameras`] as two phones of one model number them, from 4101 and from 812 on.
fn two_phones(slow: i64) -> Vec<Photo> {
    let mut photos = two_cameras(slow);
    let second = |photo: &Photo| photo.camera.model.as_deref() == Some("Camera 1");
    for (phone, first) in [(false, 4101), (true, 812)] {
        let mut own: Vec<&mut Photo> = photos.iter_mut().filter(|p| second(p) == phone).collect();
        own.sort_by_key(|photo| photo.capture_time.as_ref().map(|time| time.civil));
        for (number, photo) in (first..).zip(own) {
            photo.path = format!("IMG_{number:04}.jpg");
        }
    }
    for photo in &mut photos {
        photo.camera.model = Some("Camera".to_owned());
    }
    photos
}

#[test]
fn two_phones_of_one_model_have_a_counter_and_a_clock_each() {
    let devices = |photos: Vec<Photo>| {
        let clocks = grouped(photos).devices.clocks.into_iter();
        let clocks: Vec<_> = clocks
            .map(|clock| (clock.device, clock.photos, clock.error_s))
            .collect();
        clocks
    };
    let named = |name: &str| name.to_owned();
    let (second, first) = (
        named("Camera (IMG_0812 to IMG_0823)"),
        named("Camera (IMG_4101 to IMG_4112)"),
    );
    let apart = [(second, 12, 0), (first, 12, 0)];
    assert_eq!(devices(two_phones(0)), apart);
    assert_eq!(found(&FileNumberOutOfOrder, None, two_phones(0)), vec![]);
    // A photo whose time was changed stands out in the sequence of its own phone.
    let mut photos = two_phones(0);
    let is_changed = |photo: &Photo| photo.path == "IMG_4102.jpg";
    let late = photos.iter().position(is_changed).unwrap();
    photos[late].capture_time.as_mut().unwrap().civil += TimeDelta::minutes(290);
    assert_eq!(devices(photos.clone()), apart);
    let named = found(&FileNumberOutOfOrder, None, photos);
    assert_eq!(named, [(vec![PhotoId(late)], None)]);
}
