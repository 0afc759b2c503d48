//! The plan: GPS positions around the site, north up, without a map.

use serde::Serialize;

use crate::phase::Phase;
use crate::report::v1::Report;
use crate::report::words::{count, inert, number};

/// Side of the drawing, units; the middle is the site.
const SIDE: f64 = 460.0;
/// Room between drawing and border, units.
const MARGIN: f64 = 34.0;
/// Metres in a degree of latitude, mean of the WGS 84 meridian (40 007 863 m / 360).
const METRES_PER_DEGREE: f64 = 111_132.9;

/// The plan, ready to draw.
#[derive(Debug, Serialize)]
pub(super) struct Plan {
    side: f64,
    centre: f64,
    radius: Option<String>,
    radius_m: String,
    has_site: bool,
    marks: Vec<Mark>,
    bar: (String, String),
    far: Vec<String>,
    without: Option<String>,
    alt: String,
}

#[derive(Debug, Serialize)]
struct Mark {
    x: String,
    y: String,
    phase: &'static str,
    title: String,
    outside: bool,
}

/// A photo's position relative to the centre, metres.
struct Position {
    east: f64,
    north: f64,
    phase: &'static str,
    area: String,
    path: String,
}

impl Position {
    fn distance(&self) -> f64 {
        self.east.hypot(self.north)
    }
}

pub(super) fn chart(report: &Report) -> Option<Plan> {
    let site = report.job.latitude.zip(report.job.longitude);
    let positions = positions(report, site);
    if positions.is_empty() {
        return None;
    }
    let limit = report.limits.max_site_distance_m;
    // The drawing reaches a little beyond the limit; positions farther out stand on the border.
    let farthest = positions.iter().map(Position::distance).fold(0.0, f64::max);
    let reach = match site {
        Some(_) => farthest.clamp(limit * 1.15, limit * 3.0),
        None => farthest.max(20.0) * 1.15,
    };
    let scale = (SIDE / 2.0 - MARGIN) / reach;
    let missing = report.photos.len() - positions.len();
    let far: Vec<String> = positions
        .iter()
        .filter(|position| site.is_some() && position.distance() > limit)
        .map(|p| {
            format!(
                "{} ({}), {} m from the site",
                p.path,
                p.area,
                number(p.distance(), 0)
            )
        })
        .collect();
    let bar = bar(reach);
    let about = if site.is_some() {
        "the site"
    } else {
        "their middle"
    };
    Some(Plan {
        side: SIDE,
        centre: SIDE / 2.0,
        radius: site.map(|_| format!("{:.1}", limit * scale)),
        radius_m: number(limit, 0),
        has_site: site.is_some(),
        alt: format!(
            "{} around {about}, {} farther than {} m",
            count(positions.len(), "position"),
            far.len(),
            number(limit, 0)
        ),
        marks: positions
            .iter()
            .map(|position| mark(position, reach, scale))
            .collect(),
        bar: (format!("{:.1}", bar * scale), number(bar, 0)),
        far,
        without: (missing > 0).then(|| count(missing, "photo")),
    })
}

/// Equirectangular projection about the site, or about the mean position.
fn positions(report: &Report, site: Option<(f64, f64)>) -> Vec<Position> {
    let placed: Vec<_> = report
        .photos
        .iter()
        .filter_map(|photo| photo.gps.map(|gps| (photo, gps)))
        .collect();
    let mean = |of: &dyn Fn(f64, f64) -> f64| {
        placed
            .iter()
            .map(|(_, gps)| of(gps.lat, gps.lon))
            .sum::<f64>()
            / placed.len().max(1) as f64
    };
    let centre = site.unwrap_or_else(|| (mean(&|lat, _| lat), mean(&|_, lon| lon)));
    placed
        .iter()
        .map(|(photo, gps)| Position {
            east: (gps.lon - centre.1) * METRES_PER_DEGREE * centre.0.to_radians().cos(),
            north: (gps.lat - centre.0) * METRES_PER_DEGREE,
            phase: photo.phase.map_or("unknown", Phase::name),
            area: photo.area.as_deref().map_or("area not known".into(), inert),
            path: inert(&photo.path),
        })
        .filter(|position| position.distance().is_finite())
        .collect()
}

fn mark(position: &Position, reach: f64, scale: f64) -> Mark {
    let distance = position.distance();
    let outside = distance > reach;
    let pull = if outside {
        (reach * 1.06) / distance
    } else {
        1.0
    };
    Mark {
        x: format!("{:.1}", SIDE / 2.0 + position.east * pull * scale),
        y: format!("{:.1}", SIDE / 2.0 - position.north * pull * scale),
        phase: position.phase,
        title: format!(
            "{}, {} m: {}",
            position.area,
            number(distance, 0),
            position.path
        ),
        outside,
    }
}

/// A round length of about a third of the reach, metres.
fn bar(reach: f64) -> f64 {
    let wanted = reach / 3.0;
    let power = 10_f64.powf(wanted.log10().floor());
    let steps = [1.0, 2.0, 5.0].into_iter().map(|step| step * power);
    steps.filter(|step| *step <= wanted).fold(power, f64::max)
}
