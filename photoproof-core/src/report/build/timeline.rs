//! The timeline of a job, from its moments and devices.

use crate::group::{ClockBasis, DeviceClock};
use crate::phase::Phase;
use crate::pipeline::JobResult;
use crate::report::v1;

/// A civil time as the report writes it.
pub(super) fn civil(time: chrono::NaiveDateTime) -> String {
    time.format("%Y-%m-%dT%H:%M:%S").to_string()
}

/// Photos by device and phase.
pub(super) fn timeline(result: &JobResult) -> v1::Timeline {
    let (grouped, window) = (&result.grouped, result.sheet.window);
    let clocks = grouped.devices.clocks.iter().enumerate();
    let mut devices: Vec<v1::Device> = clocks
        .map(|(index, clock)| device(result, Some(index), Some(clock)))
        .collect();
    let unnamed = device(result, None, None);
    devices.extend(Some(unnamed).filter(|device| device.photos > 0));
    v1::Timeline {
        timezone: grouped.zone.map(|zone| zone.zone.name().to_owned()),
        timezone_source: grouped.zone.map(|zone| zone.source.name().to_owned()),
        window_start: window.map(|window| civil(window.start)),
        window_end: window.map(|window| civil(window.end)),
        devices,
        without_time: grouped
            .moments
            .iter()
            .filter(|moment| moment.is_none())
            .count(),
    }
}

fn device(result: &JobResult, index: Option<usize>, clock: Option<&DeviceClock>) -> v1::Device {
    let photos: Vec<usize> = result.grouped.devices.photos_of(index).collect();
    let phases = Phase::ALL.into_iter().map(Some).chain([None]);
    v1::Device {
        device: clock.map(|clock| clock.device.clone()),
        photos: photos.len(),
        clock: clock.map(self::clock).unwrap_or_default(),
        phases: phases
            .map(|phase| span(result, &photos, phase))
            .filter(|span| span.photos > 0)
            .collect(),
    }
}

fn clock(clock: &DeviceClock) -> v1::Clock {
    let (basis, evidence) = match clock.basis {
        Some(ClockBasis::Gps(stamps)) => (Some("gps"), stamps),
        Some(ClockBasis::Order(count)) => (Some("order"), count),
        None => (None, 0),
    };
    v1::Clock {
        basis: basis.map(str::to_owned),
        evidence,
        error_s: clock.error_s,
        low_s: clock.range_s.0,
        high_s: clock.range_s.1,
    }
}

fn span(result: &JobResult, photos: &[usize], phase: Option<Phase>) -> v1::PhaseSpan {
    let grouped = &result.grouped;
    let of_phase: Vec<usize> = photos
        .iter()
        .copied()
        .filter(|&at| grouped.labels.get(at).map(|label| label.phase) == Some(phase))
        .collect();
    let times = of_phase
        .iter()
        .filter_map(|&at| Some(grouped.moments.get(at)?.as_ref()?.civil));
    v1::PhaseSpan {
        phase,
        photos: of_phase.len(),
        first: times.clone().min().map(civil),
        last: times.max().map(civil),
    }
}
