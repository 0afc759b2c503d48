//! Device clocks: photos by camera, and how wrong each camera's clock was.
//!
//! A camera with GPS stamps is measured against them. One without is measured by order: where photos of two
//! cameras show one area or view in known phases, each pair bounds the error from one side; a constant error
//! that takes away nearly all contradictions, and is bounded from both sides, is the estimate. An error bounded
//! from one side only is not corrected: old photos of another camera look the same.

use std::collections::{BTreeMap, BTreeSet};

use chrono_tz::Tz;

use super::counter::{self, Phone};
use super::moment::Moment;
use super::zone::instants;
use crate::ingest::order::{camera_time, judged_time};
use crate::ingest::{CaptureTime, Label, LabelSource, Photo, TimeSource};
use crate::job::Window;
use crate::phase::Phase;

/// GPS stamps, and contradictions, from which a clock is estimated.
const ENOUGH: usize = 3;

/// Share of the GPS stamps that must agree with their median.
const STEADY_SHARE: f64 = 0.6;

/// Zones in use are whole quarters of an hour from UTC, 12 hours behind to 14 ahead.
const QUARTER_S: i64 = 900;
const ZONES_S: (i64, i64) = (-12 * 3600, 14 * 3600);

/// The clock of one camera.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DeviceClock {
    /// Make and model; of phones of one model that their file numbers tell apart, with those numbers.
    pub device: String,
    /// Make and model.
    pub model: String,
    /// Photos of it.
    pub photos: usize,
    /// What its error was measured with; `None` if nothing tells it.
    pub basis: Option<ClockBasis>,
    /// Seconds by which it was fast (negative: slow), as far as it is corrected; else 0.
    pub error_s: i64,
    /// Smallest and largest error that the evidence allows.
    pub range_s: (i64, i64),
}

/// What a clock was measured with.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ClockBasis {
    /// This many GPS stamps.
    Gps(usize),
    /// This many contradictions of order that the error takes away.
    Order(usize),
}

/// Cameras of a job, and which camera took which photo.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Devices {
    /// Clocks by name of the camera.
    pub clocks: Vec<DeviceClock>,
    /// Index into `clocks` for each photo; `None` where the file names no camera.
    pub of_photo: Vec<Option<usize>>,
}

impl Devices {
    /// Index of a photo's camera into `clocks`.
    #[must_use]
    pub fn of(&self, photo: usize) -> Option<usize> {
        self.of_photo.get(photo).copied().flatten()
    }

    /// The clock of a photo.
    #[must_use]
    pub fn clock(&self, photo: usize) -> Option<&DeviceClock> {
        self.clocks.get(self.of(photo)?)
    }

    /// The photos of one camera, in order; of no known one for `None`.
    pub fn photos_of(&self, device: Option<usize>) -> impl Iterator<Item = usize> {
        let all = self.of_photo.iter().enumerate();
        all.filter(move |(_, of)| **of == device).map(|(at, _)| at)
    }
}

/// What the estimate looks at.
#[derive(Debug, Clone, Copy)]
pub(super) struct ClockEvidence<'a> {
    pub(super) photos: &'a [Photo],
    pub(super) labels: &'a [Label],
    pub(super) zone: Option<Tz>,
    pub(super) window: Option<Window>,
    /// Errors up to this are none, seconds.
    pub(super) limit_s: i64,
}

/// Make and model of a photo's camera.
#[must_use]
pub fn device_name(photo: &Photo) -> Option<String> {
    let camera = &photo.camera;
    let names = [camera.make.as_deref(), camera.model.as_deref()];
    let name: Vec<&str> = names.into_iter().flatten().collect();
    (!name.is_empty()).then(|| name.join(" "))
}

/// Groups photos by camera and estimates each clock.
pub(super) fn devices(evidence: ClockEvidence<'_>) -> Devices {
    let mut members: BTreeMap<String, Vec<usize>> = BTreeMap::new();
    for (index, photo) in evidence.photos.iter().enumerate() {
        if let Some(name) = device_name(photo) {
            members.entry(name).or_default().push(index);
        }
    }
    let mut devices = Devices {
        clocks: Vec::new(),
        of_photo: vec![None; evidence.photos.len()],
    };
    for (model, photos) in members {
        for phone in counter::phones(evidence.photos, photos) {
            for &photo in &phone.photos {
                if let Some(slot) = devices.of_photo.get_mut(photo) {
                    *slot = Some(devices.clocks.len());
                }
            }
            devices.clocks.push(by_gps(evidence, &model, &phone));
        }
    }
    by_order(evidence, &mut devices);
    devices
}

/// Times of all photos, corrected.
pub(super) fn moments(evidence: ClockEvidence<'_>, devices: &Devices) -> Vec<Option<Moment>> {
    let photos = evidence.photos.iter().enumerate();
    photos
        .map(|(index, photo)| {
            let time = judged_time(photo)?;
            // A GPS time is no time of the camera's clock.
            let clock = devices
                .clock(index)
                .filter(|_| time.source != TimeSource::Gps);
            let error_s = clock.map_or(0, |clock| clock.error_s);
            let mut moment = Moment::new(time, evidence.zone, error_s)?;
            if let Some(clock) = clock.filter(|_| error_s != 0) {
                let (low, high) = clock.range_s;
                moment.slack_s = ((high - error_s).max(0), (error_s - low).max(0));
            }
            Some(moment)
        })
        .collect()
}

fn by_gps(evidence: ClockEvidence<'_>, model: &str, phone: &Phone) -> DeviceClock {
    let photos = &phone.photos;
    let numbers = phone.names.as_ref();
    let mut clock = DeviceClock {
        device: numbers.map_or_else(
            || model.to_owned(),
            |(first, last)| format!("{model} ({first} to {last})"),
        ),
        model: model.to_owned(),
        photos: photos.len(),
        basis: None,
        error_s: 0,
        range_s: (0, 0),
    };
    let of_device = photos.iter().filter_map(|&at| evidence.photos.get(at));
    let stamped: Vec<(&CaptureTime, &CaptureTime)> = of_device.filter_map(gps_and_clock).collect();
    let mut errors: Vec<i64> = stamped
        .iter()
        .filter_map(|(gps, own)| error_of(gps, own, evidence.zone))
        .collect();
    if errors.len() < ENOUGH {
        errors = unknown_zone_errors(&stamped);
    }
    errors.sort_unstable();
    let Some(&median) = errors.get(errors.len() / 2) else {
        return clock;
    };
    let near: Vec<i64> = errors
        .iter()
        .copied()
        .filter(|error| (error - median).abs() <= evidence.limit_s)
        .collect();
    let steady = near.len() as f64 >= STEADY_SHARE * errors.len() as f64;
    if errors.len() < ENOUGH || !steady {
        return clock;
    }
    clock.basis = Some(ClockBasis::Gps(near.len()));
    let ends = near.first().zip(near.last());
    clock.range_s = ends.map_or((median, median), |(low, high)| (*low, *high));
    if median.abs() > evidence.limit_s {
        clock.error_s = median;
        clock.range_s = (median, median);
    }
    clock
}

/// The GPS time and the camera's own time of a photo.
pub(crate) fn gps_and_clock(photo: &Photo) -> Option<(&CaptureTime, &CaptureTime)> {
    Some((photo.time_from(TimeSource::Gps)?, camera_time(photo)?))
}

/// Seconds by which the camera's time is ahead of the GPS time, where offset or zone is known.
pub(crate) fn error_of(gps: &CaptureTime, own: &CaptureTime, zone: Option<Tz>) -> Option<i64> {
    let truth = gps.instant()?.to_utc();
    let (first, last) = match own.instant() {
        Some(instant) => (instant.to_utc(), instant.to_utc()),
        None => instants(own.civil, zone?)?,
    };
    let errors = [(first - truth).num_seconds(), (last - truth).num_seconds()];
    errors.into_iter().min_by_key(|error| error.abs())
}

/// Errors where no offset is known: what is left beyond the zone that fits the median best.
fn unknown_zone_errors(stamped: &[(&CaptureTime, &CaptureTime)]) -> Vec<i64> {
    let mut apart: Vec<i64> = stamped
        .iter()
        .filter(|(_, own)| own.offset.is_none())
        .map(|(gps, own)| (own.civil - gps.civil).num_seconds())
        .collect();
    apart.sort_unstable();
    let Some(&median) = apart.get(apart.len() / 2) else {
        return Vec::new();
    };
    let zone = (median as f64 / QUARTER_S as f64).round() as i64 * QUARTER_S;
    let zone = zone.clamp(ZONES_S.0, ZONES_S.1);
    apart.iter().map(|seconds| seconds - zone).collect()
}

/// A photo that can bound another clock's error.
struct Placed {
    photo: usize,
    area: String,
    phase: Phase,
    moment: Moment,
}

fn by_order(evidence: ClockEvidence<'_>, devices: &mut Devices) {
    let moments = moments(evidence, devices);
    let mut of_device: BTreeMap<usize, Vec<Placed>> = BTreeMap::new();
    for (photo, (moment, label)) in moments.iter().zip(evidence.labels).enumerate() {
        let device = devices.of(photo);
        // A phase that was inferred from times cannot judge them.
        let told = label.phase_source != Some(LabelSource::Inferred);
        let known = (device, moment, label.area.clone(), label.phase);
        if let ((Some(device), Some(moment), Some(area), Some(phase)), true) = (known, told) {
            of_device.entry(device).or_default().push(Placed {
                photo,
                area,
                phase,
                moment: *moment,
            });
        }
    }
    let is_measured = |clocks: &[DeviceClock], device: usize| {
        clocks
            .get(device)
            .is_some_and(|clock| clock.basis.is_some())
    };
    let mut order: Vec<usize> = of_device.keys().copied().collect();
    order.sort_by_key(|device| {
        let photos = of_device.get(device).map_or(&[][..], Vec::as_slice);
        let inside = photos
            .iter()
            .filter(|p| is_inside(p, evidence.window))
            .count();
        let measured = is_measured(&devices.clocks, *device);
        (std::cmp::Reverse((measured, inside, photos.len())), *device)
    });
    let mut placed: Vec<Placed> = Vec::new();
    for device in order {
        let Some(mut photos) = of_device.remove(&device) else {
            continue;
        };
        let found = (!placed.is_empty() && !is_measured(&devices.clocks, device))
            .then(|| Bounds::new(&photos, &placed).estimate(evidence.limit_s))
            .flatten();
        if let (Some(found), Some(clock)) = (found, devices.clocks.get_mut(device)) {
            clock.basis = Some(ClockBasis::Order(found.explained));
            clock.error_s = found.error_s;
            clock.range_s = found.range_s;
            for photo in &mut photos {
                let time = evidence.photos.get(photo.photo).and_then(judged_time);
                let moment = time.and_then(|t| Moment::new(t, evidence.zone, found.error_s));
                photo.moment = moment.unwrap_or(photo.moment);
            }
        }
        placed.extend(photos);
    }
}

fn is_inside(photo: &Placed, window: Option<Window>) -> bool {
    window.is_none_or(|w| (w.start..=w.end).contains(&photo.moment.civil))
}

/// Bounds of a clock's error, each with the photo it comes from: the error is at most an upper and at least a
/// lower one.
#[derive(Default)]
struct Bounds {
    upper: Vec<(i64, usize)>,
    lower: Vec<(i64, usize)>,
}

struct Estimate {
    error_s: i64,
    range_s: (i64, i64),
    explained: usize,
}

impl Bounds {
    fn new(own: &[Placed], others: &[Placed]) -> Self {
        let mut bounds = Self::default();
        for mine in own {
            for other in others.iter().filter(|other| other.area == mine.area) {
                let apart = other.moment.seconds_until(&mine.moment);
                // Between during and after two crews may overlap in one area.
                if other.phase == Phase::Before && mine.phase > Phase::Before {
                    bounds.upper.push((apart, mine.photo));
                } else if mine.phase == Phase::Before && other.phase > Phase::Before {
                    bounds.lower.push((apart, mine.photo));
                }
            }
        }
        bounds.upper.sort_unstable();
        bounds.lower.sort_unstable();
        bounds
    }

    /// Contradictions that are left if the clock was fast by `error`.
    fn violations(&self, error: i64) -> usize {
        let over = self.upper.partition_point(|&(bound, _)| bound < error);
        let under = self.lower.partition_point(|&(bound, _)| bound <= error);
        over + self.lower.len() - under
    }

    fn estimate(&self, limit_s: i64) -> Option<Estimate> {
        let today = self.violations(0);
        let all = self.upper.iter().chain(&self.lower);
        let best = all
            .map(|&(bound, _)| bound)
            .min_by_key(|&error| (self.violations(error), error.abs(), error))?;
        let left = self.violations(best);
        let explained = today.saturating_sub(left);
        let high = self.upper.iter().find(|(bound, _)| *bound >= best)?.0;
        let low = self.lower.iter().rev().find(|(bound, _)| *bound <= best)?.0;
        let distinct = |bounds: &[(i64, usize)]| {
            let photos: BTreeSet<usize> = bounds.iter().map(|&(_, photo)| photo).collect();
            photos.len()
        };
        let both_sides = distinct(&self.upper) >= 2 && distinct(&self.lower) >= 2;
        let error_s = low + (high - low) / 2;
        let clear = explained >= ENOUGH && left * 5 <= today && error_s.abs() > limit_s;
        (both_sides && clear).then_some(Estimate {
            error_s,
            range_s: (low, high),
            explained,
        })
    }
}
