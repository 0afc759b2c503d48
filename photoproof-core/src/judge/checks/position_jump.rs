//! `position-jump`: the positions of one camera are farther apart than anybody travels in the time between.

use std::collections::BTreeSet;

use super::away_from_site::{AwayFromSite, LEAST_RADIUS_M};
use super::capture_time_out_of_order::duration;
use crate::geodesy::distance_m;
use crate::group::Moment;
use crate::ingest::{Gps, PhotoId};
use crate::judge::{Check, CheckMeta, Evidence, Finding, Severity, Status};

static META: CheckMeta = CheckMeta {
    id: "position-jump",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Review,
    summary: "The position of a camera jumps farther between two photos than anybody travels in that time.",
    why: "At least one of the two positions, or of the two times, is not where or when the photo was taken.",
    how_measured: "Geodesic distance on WGS 84 (Karney 2013) between photos of one camera (make and model) that follow each other in time, less the two positions' errors (GPSHPositioningError, at least 50 m each), over the seconds between them. Only distances above 1 km count: a position from a mobile network may be that wrong. Photos that away-from-site names, and copies, are left out.",
    limit: "max_travel_speed_m_s (70 metres a second, 252 km/h; common practice, no source).",
    remedy: "Say where these photos were taken, and whether two phones of one model were used.",
    innocent: &[
        "the phone had no fresh fix and wrote its last position",
        "two phones of one model were used in two places",
        "the phone took its position from a mobile network",
    ],
    blind_spots: "Sees no wrong position less than a kilometre away, and none reached at road speed. Photos without make and model are not compared.",
};

/// The check.
#[derive(Debug)]
pub struct PositionJump;

/// Distances up to this are no jumps, metres.
const LEAST_JUMP_M: f64 = 1_000.0;

impl Check for PositionJump {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        let away = AwayFromSite.run(evidence).into_iter();
        let known: BTreeSet<PhotoId> = away.flat_map(|finding| finding.photos).collect();
        let devices = &evidence.grouped.devices;
        (0..devices.clocks.len())
            .filter_map(|device| {
                let mut shots: Vec<Shot> = devices
                    .photos_of(Some(device))
                    .map(PhotoId)
                    .filter(|id| !known.contains(id) && !evidence.is_copied(*id))
                    .filter_map(|id| {
                        Some(Shot {
                            id,
                            moment: *evidence.moment(id)?,
                            gps: evidence.photo(id).gps?,
                        })
                    })
                    .collect();
                shots.sort_by_key(|shot| (shot.moment.civil, shot.id));
                let name = devices.clocks.get(device)?.device.as_str();
                finding(evidence, name, &shots)
            })
            .collect()
    }
}

#[derive(Debug, Clone, Copy)]
struct Shot {
    id: PhotoId,
    moment: Moment,
    gps: Gps,
}

#[derive(Debug, Clone, Copy)]
struct Jump {
    photos: [PhotoId; 2],
    metres: f64,
    seconds: i64,
}

impl Jump {
    fn between(a: &Shot, b: &Shot) -> Self {
        let apart = distance_m((a.gps.lat, a.gps.lon), (b.gps.lat, b.gps.lon));
        let error = |gps: &Gps| gps.error_m.unwrap_or(0.0).max(LEAST_RADIUS_M);
        Self {
            photos: [a.id, b.id],
            metres: apart - error(&a.gps) - error(&b.gps),
            seconds: a.moment.seconds_until(&b.moment).abs().max(1),
        }
    }

    fn speed(&self) -> f64 {
        self.metres / self.seconds as f64
    }
}

fn finding(evidence: &Evidence<'_>, device: &str, shots: &[Shot]) -> Option<Finding> {
    let limit = evidence.limits().max_travel_speed_m_s;
    let jumps: Vec<Jump> = shots
        .windows(2)
        .filter_map(|pair| match pair {
            [a, b] => Some(Jump::between(a, b)),
            _ => None,
        })
        .filter(|jump| jump.metres > LEAST_JUMP_M && jump.speed() > limit)
        .collect();
    let fastest = jumps
        .iter()
        .max_by(|a, b| a.speed().total_cmp(&b.speed()))?;
    let mut photos: Vec<PhotoId> = Vec::new();
    for id in jumps.iter().flat_map(|jump| jump.photos) {
        if !photos.contains(&id) {
            photos.push(id);
        }
    }
    let times = if jumps.len() == 1 {
        String::new()
    } else {
        format!("jumps {} times, most: ", jumps.len())
    };
    let message = format!(
        "the position of the {device} {times}moves {:.1} km in {}",
        fastest.metres / 1000.0,
        duration(fastest.seconds)
    );
    Some(
        META.finding(message)
            .photos(photos)
            .subject(device)
            .measured(fastest.speed(), limit, "metres a second"),
    )
}
