//! `device-clock-wrong`: the clock of a camera was wrong by a constant error.

use super::capture_time_out_of_order::duration;
use crate::group::{ClockBasis, DeviceClock};
use crate::ingest::PhotoId;
use crate::judge::{Check, CheckMeta, Evidence, Finding, Severity, Status};

static META: CheckMeta = CheckMeta {
    id: "device-clock-wrong",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Note,
    summary: "The clock of a camera was wrong by a constant error; order and window are judged with the error taken away.",
    why: "The times in the files of this camera are not those at which its photos were taken.",
    how_measured: "Median difference of Exif time and GPS time (UTC) over the camera's photos, at least 3 of them of which 60 % agree; without GPS stamps the constant error that takes away at least 80 % of the contradictions of order with other cameras in shared areas and is bounded from both sides.",
    limit: "max_clock_error_s (120 seconds).",
    remedy: "Set date, time and zone of the camera, or let the phone set them by network.",
    innocent: &[
        "the camera's clock was never adjusted, or stands in another zone",
        "daylight saving was not set",
    ],
    blind_spots: "A camera without GPS stamps whose photos share no area with another camera's, or contradict in one direction only, gets no estimate; nor does one whose clock was changed during the job. Two cameras of one make and model count as one. Without GPS stamps the camera with most photos in the window is taken to be right.",
};

/// The check.
#[derive(Debug)]
pub struct DeviceClockWrong;

impl Check for DeviceClockWrong {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        let clocks = evidence.grouped.devices.clocks.iter().enumerate();
        clocks
            .filter(|(_, clock)| clock.error_s != 0)
            .map(|(index, clock)| finding(evidence, index, clock))
            .collect()
    }
}

fn finding(evidence: &Evidence<'_>, index: usize, clock: &DeviceClock) -> Finding {
    let side = if clock.error_s > 0 { "fast" } else { "slow" };
    let basis = match clock.basis {
        Some(ClockBasis::Gps(stamps)) => format!("measured with {stamps} GPS stamps"),
        Some(ClockBasis::Order(count)) => format!(
            "between {} and {} by the order of photos: it explains {count} contradictions",
            signed(clock.range_s.0),
            signed(clock.range_s.1)
        ),
        None => "not measured".to_owned(),
    };
    let photos = evidence.grouped.devices.photos_of(Some(index));
    META.finding(format!(
        "the clock of the {} was about {} {side} ({basis}); its times are corrected by that",
        clock.device,
        duration(clock.error_s)
    ))
    .photos(photos.map(PhotoId))
    .subject(&clock.device)
    .measured(
        clock.error_s as f64,
        evidence.limits().max_clock_error_s as f64,
        "seconds",
    )
}

fn signed(seconds: i64) -> String {
    let side = if seconds < 0 { "slow" } else { "fast" };
    format!("{} {side}", duration(seconds))
}
