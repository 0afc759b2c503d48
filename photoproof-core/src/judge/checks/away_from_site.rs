//! `away-from-site`: a photo's position is far from the site.

use crate::geodesy::distance_m;
use crate::ingest::PhotoId;
use crate::judge::{Check, CheckMeta, Evidence, Finding, Severity, Status};

static META: CheckMeta = CheckMeta {
    id: "away-from-site",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Review,
    summary: "A photo's position is farther from the site than positions err.",
    why: "It may show another house.",
    how_measured: "Geodesic distance on WGS 84 (Karney 2013) from the Exif GPS position to the site, less the file's own GPSHPositioningError.",
    limit: "site.radius_m of the job sheet, else max_site_distance_m (100 m); never below 50 m, since phones err by 7 to 13 m in towns and more indoors (Merry and Bettinger 2019).",
    remedy: "Check the address; a reviewer compares the house in the photo with the street view.",
    innocent: &[
        "the phone had no fresh fix and wrote its last position",
        "the position of the site on the job sheet is that of the street, not the house",
        "reception indoors or in a basement",
    ],
    blind_spots: "Never separates neighbouring houses. Silent without both positions; 0, 0 is none (position-never-set).",
};

/// Positions never count as away within this radius, metres.
pub(super) const LEAST_RADIUS_M: f64 = 50.0;

/// The check.
#[derive(Debug)]
pub struct AwayFromSite;

impl Check for AwayFromSite {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        let site = &evidence.sheet.site;
        let Some(position) = site.position() else {
            return Vec::new();
        };
        let limit = site
            .radius_m
            .unwrap_or(evidence.limits().max_site_distance_m)
            .max(LEAST_RADIUS_M);
        let away: Vec<(PhotoId, f64)> = evidence
            .photo_ids()
            .filter_map(|id| {
                let gps = evidence.photo(id).gps?;
                let distance =
                    distance_m(position, (gps.lat, gps.lon)) - gps.error_m.unwrap_or(0.0);
                (distance > limit).then_some((id, distance))
            })
            .collect();
        let located = evidence
            .photo_ids()
            .filter(|&id| evidence.photo(id).gps.is_some())
            .count();
        if away.len() > 3 && away.len() * 2 > located {
            // One cause, one finding: another site, or a wrong position on the sheet.
            let message = format!(
                "{} of {located} located photos are away from the site",
                away.len()
            );
            let nearest = away.iter().map(|(_, d)| *d).fold(f64::INFINITY, f64::min);
            return vec![
                META.finding(message)
                    .photos(away.into_iter().map(|(id, _)| id))
                    .measured(nearest, limit, "metres"),
            ];
        }
        away.into_iter()
            .map(|(id, distance)| {
                META.finding(format!(
                    "the photo's position is {distance:.0} m from the site"
                ))
                .area(evidence.area(id))
                .photos([id])
                .measured(distance, limit, "metres")
            })
            .collect()
    }
}
