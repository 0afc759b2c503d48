//! The timeline: photos by device over the civil time at the site, with the work window and gaps.

use std::collections::BTreeMap;

use chrono::{DateTime, NaiveDateTime, TimeDelta};
use serde::Serialize;

use super::evidence::taken;
use crate::phase::Phase;
use crate::report::v1::{Job, Photo, Report, Time};
use crate::report::words::{count, inert, number};

const LEFT: f64 = 190.0;
const WIDTH: f64 = 960.0;
const TOP: f64 = 34.0;
const ROW: f64 = 46.0;
/// Shortest pause named as a gap, hours.
const GAP_HOURS: f64 = 2.0;
/// Gaps named in words.
const GAPS_NAMED: usize = 4;

/// The chart, ready to draw.
#[derive(Debug, Serialize)]
pub(super) struct Timeline {
    width: f64,
    height: f64,
    left: f64,
    top: f64,
    rows: Vec<Device>,
    ticks: Vec<(String, String)>,
    window: Option<(String, String)>,
    gaps: Vec<String>,
    corrected: Vec<String>,
    without_time: Option<String>,
    alt: String,
}

#[derive(Debug, Serialize)]
struct Device {
    name: String,
    y: f64,
    marks: Vec<Mark>,
}

#[derive(Debug, Serialize)]
struct Mark {
    x: String,
    phase: &'static str,
    title: String,
}

/// The time that the report's stages placed at the site; reports of earlier versions have none.
fn at_site(photo: &Photo, job: &Job) -> Option<NaiveDateTime> {
    match photo.site_time.as_deref() {
        Some(time) => local(time),
        None => civil(photo.capture_time.as_ref()?, job),
    }
}

/// Clocks whose times were corrected, in words.
fn corrected(report: &Report) -> Vec<String> {
    let devices = report.timeline.devices.iter();
    devices
        .filter(|device| device.clock.error_s != 0)
        .map(|device| {
            let name = device
                .device
                .as_deref()
                .map_or("camera not named".into(), inert);
            let minutes = device.clock.error_s.unsigned_abs() as f64 / 60.0;
            let side = if device.clock.error_s > 0 {
                "fast"
            } else {
                "slow"
            };
            format!("{name}: {} minutes {side}", number(minutes, 1))
        })
        .collect()
}

/// The civil time at the site where offset and zone are known, else the time as the camera wrote it.
fn civil(time: &Time, job: &Job) -> Option<NaiveDateTime> {
    if let Ok(instant) = DateTime::parse_from_rfc3339(&time.value) {
        let zone = job
            .timezone
            .as_deref()
            .and_then(|zone| zone.parse::<chrono_tz::Tz>().ok());
        return Some(match zone {
            Some(zone) => instant.with_timezone(&zone).naive_local(),
            None => instant.naive_local(),
        });
    }
    local(&time.value)
}

fn local(value: &str) -> Option<NaiveDateTime> {
    [
        "%Y-%m-%dT%H:%M:%S%.f",
        "%Y-%m-%d %H:%M:%S%.f",
        "%Y-%m-%dT%H:%M",
    ]
    .iter()
    .find_map(|form| NaiveDateTime::parse_from_str(value, form).ok())
}

fn hours(delta: TimeDelta) -> f64 {
    delta.as_seconds_f64() / 3600.0
}

/// A time axis.
struct Axis {
    start: NaiveDateTime,
    hours: f64,
}

impl Axis {
    fn new(start: NaiveDateTime, end: NaiveDateTime) -> Self {
        let span = hours(end - start).max(1.0);
        let margin = TimeDelta::minutes((span * 60.0 * 0.03).min(1e8) as i64);
        let start = start.checked_sub_signed(margin).unwrap_or(start);
        Self {
            start,
            hours: span * 1.06,
        }
    }

    fn x(&self, time: NaiveDateTime) -> f64 {
        let share = (hours(time - self.start) / self.hours).clamp(0.0, 1.0);
        LEFT + share * (WIDTH - LEFT - 12.0)
    }

    /// About six ticks at whole steps.
    fn ticks(&self) -> Vec<(String, String)> {
        const STEPS: [f64; 12] = [
            0.25, 0.5, 1.0, 2.0, 3.0, 6.0, 12.0, 24.0, 48.0, 168.0, 720.0, 8760.0,
        ];
        let wanted = self.hours / 6.0;
        let step = STEPS
            .into_iter()
            .find(|step| *step >= wanted)
            .unwrap_or(wanted);
        let midnight = self.start.date().and_time(chrono::NaiveTime::MIN);
        let first = (hours(self.start - midnight) / step).ceil() * step;
        let form = if step < 24.0 {
            "%m-%d %H:%M"
        } else {
            "%Y-%m-%d"
        };
        (0..10)
            .map(|index| first + f64::from(index) * step)
            .filter_map(|at| midnight.checked_add_signed(TimeDelta::seconds((at * 3600.0) as i64)))
            .filter(|time| hours(*time - self.start) <= self.hours)
            .map(|time| {
                (
                    format!("{:.1}", self.x(time)),
                    time.format(form).to_string(),
                )
            })
            .collect()
    }
}

pub(super) fn chart(report: &Report) -> Option<Timeline> {
    let job = &report.job;
    let timed: Vec<(NaiveDateTime, &Photo)> = report
        .photos
        .iter()
        .filter_map(|photo| Some((at_site(photo, job)?, photo)))
        .collect();
    let window = job
        .window_start
        .as_deref()
        .and_then(local)
        .zip(job.window_end.as_deref().and_then(local))
        .filter(|(start, end)| start <= end);
    let moments = timed.iter().map(|(time, _)| *time);
    let all = moments.chain(window.into_iter().flat_map(|(start, end)| [start, end]));
    let (start, end) = (all.clone().min()?, all.max()?);
    let axis = Axis::new(start, end);
    let rows = devices(&timed, &axis);
    let untimed = report.photos.len() - timed.len();
    let alt = format!(
        "{} on {}, from {} to {}",
        count(timed.len(), "photo"),
        count(rows.len(), "device"),
        start.format("%Y-%m-%d %H:%M"),
        end.format("%Y-%m-%d %H:%M")
    );
    Some(Timeline {
        width: WIDTH,
        height: TOP + ROW * rows.len().max(1) as f64 + 28.0,
        left: LEFT,
        top: TOP,
        ticks: axis.ticks(),
        window: window.map(|(start, end)| {
            let (from, to) = (axis.x(start), axis.x(end));
            (format!("{from:.1}"), format!("{:.1}", to - from))
        }),
        gaps: gaps(&timed),
        corrected: corrected(report),
        without_time: (untimed > 0).then(|| count(untimed, "photo")),
        rows,
        alt,
    })
}

fn devices(timed: &[(NaiveDateTime, &Photo)], axis: &Axis) -> Vec<Device> {
    let mut by_device: BTreeMap<String, Vec<Mark>> = BTreeMap::new();
    for (time, photo) in timed {
        let named = [&photo.camera.make, &photo.camera.model];
        let named: Vec<String> = named
            .into_iter()
            .flatten()
            .map(|text| inert(text))
            .collect();
        let device = if named.is_empty() {
            "camera not named".into()
        } else {
            named.join(" ")
        };
        let area = photo.area.as_deref().map_or("area not known".into(), inert);
        by_device.entry(device).or_default().push(Mark {
            x: format!("{:.1}", axis.x(*time)),
            phase: photo.phase.map_or("unknown", Phase::name),
            title: format!("{area}, {}: {}", taken(photo), inert(&photo.path)),
        });
    }
    let numbered = by_device.into_iter().enumerate();
    numbered
        .map(|(row, (name, marks))| Device {
            name: shorten(&name),
            y: TOP + ROW * (row as f64 + 0.5),
            marks,
        })
        .collect()
}

fn shorten(name: &str) -> String {
    const ROOM: usize = 24;
    if name.chars().count() <= ROOM {
        return name.to_owned();
    }
    let kept: String = name.chars().take(ROOM - 1).collect();
    format!("{kept}\u{2026}")
}

fn gaps(timed: &[(NaiveDateTime, &Photo)]) -> Vec<String> {
    let mut times: Vec<NaiveDateTime> = timed.iter().map(|(time, _)| *time).collect();
    times.sort_unstable();
    let mut gaps: Vec<(f64, NaiveDateTime, NaiveDateTime)> = times
        .windows(2)
        .filter_map(|pair| match pair {
            [from, to] => Some((hours(*to - *from), *from, *to)),
            _ => None,
        })
        .filter(|(length, ..)| *length >= GAP_HOURS)
        .collect();
    gaps.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    gaps.truncate(GAPS_NAMED);
    gaps.sort_by_key(|gap| gap.1);
    let stamp = |time: NaiveDateTime| time.format("%Y-%m-%d %H:%M").to_string();
    gaps.into_iter()
        .map(|(length, from, to)| {
            format!(
                "{} hours without a photo: {} to {}",
                number(length, 1),
                stamp(from),
                stamp(to)
            )
        })
        .collect()
}
