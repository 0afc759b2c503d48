//! `photos-at-two-sites`: the photos of one job lie in places far apart, and no job sheet says where the site is.

use std::collections::BTreeMap;

use super::away_from_site::LEAST_RADIUS_M;
use crate::geodesy::distance_m;
use crate::ingest::PhotoId;
use crate::judge::{Check, CheckMeta, Evidence, Finding, Severity, Status};

static META: CheckMeta = CheckMeta {
    id: "photos-at-two-sites",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Review,
    summary: "The photos of one job lie at two or more places far apart.",
    why: "One job is the work at one site; photos of another place belong to another job, or to a dump.",
    how_measured: "Positions are joined where their geodesic distance on WGS 84 (Karney 2013) is at most twice the limit; a place counts if at least three photos with two different positions lie there. Positions whose own error is above the limit, and photos of loads, are left out. Only where the job sheet gives no position; else away-from-site looks.",
    limit: "max_site_distance_m (100 m), never below 50 m.",
    remedy: "Give the site's position on the job sheet, and sort out the photos of the other place.",
    innocent: &[
        "debris was photographed where it was dumped",
        "photos of the way to the site, or of two buildings of one order, are in the folder",
        "two orders were uploaded into one folder",
    ],
    blind_spots: "Does not separate neighbouring houses, and does not say which place is the site.",
};

/// The check.
#[derive(Debug)]
pub struct PhotosAtTwoSites;

/// Photos that make a place.
const PLACE_PHOTOS: usize = 3;

/// Cells of the grid that gathers near positions, in a degree: 11 m from south to north.
const CELLS: f64 = 10_000.0;

/// Most cells that are compared with each other.
const MOST_CELLS: usize = 1_000;

impl Check for PhotosAtTwoSites {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        if evidence.sheet.site.position().is_some() {
            return Vec::new();
        }
        let limit = evidence.limits().max_site_distance_m.max(LEAST_RADIUS_M);
        let mut places: Vec<Place> = places(cells(evidence, limit), 2.0 * limit);
        places.retain(Place::counts);
        places.sort_by_key(|place| (std::cmp::Reverse(place.photos.len()), place.photos.clone()));
        let [main, others @ ..] = places.as_slice() else {
            return Vec::new();
        };
        let Some(apart) = others
            .iter()
            .map(|other| main.distance_m(other))
            .reduce(f64::max)
        else {
            return Vec::new();
        };
        let counts: Vec<String> = places
            .iter()
            .map(|place| place.photos.len().to_string())
            .collect();
        let message = format!(
            "the photos lie at {} places up to {apart:.0} m apart ({} photos)",
            places.len(),
            counts.join(", ")
        );
        vec![
            META.finding(message)
                .photos(others.iter().flat_map(|place| place.photos.iter().copied()))
                .measured(apart, 2.0 * limit, "metres"),
        ]
    }
}

/// Positions near each other and their photos.
#[derive(Debug, Clone, Default)]
struct Place {
    /// One position of each cell.
    positions: Vec<(f64, f64)>,
    photos: Vec<PhotoId>,
    /// Whether two photos state different positions.
    varied: bool,
}

impl Place {
    fn counts(&self) -> bool {
        self.photos.len() >= PLACE_PHOTOS && self.varied
    }

    /// Least distance of two positions.
    fn distance_m(&self, other: &Self) -> f64 {
        let pairs = self
            .positions
            .iter()
            .flat_map(|&a| other.positions.iter().map(move |&b| distance_m(a, b)));
        pairs.fold(f64::INFINITY, f64::min)
    }

    fn join(&mut self, other: Self) {
        self.varied |= other.varied || !self.positions.is_empty();
        self.positions.extend(other.positions);
        self.photos.extend(other.photos);
        self.photos.sort_unstable();
    }
}

/// Photos by cell of the grid.
fn cells(evidence: &Evidence<'_>, limit: f64) -> Vec<Place> {
    let mut cells: BTreeMap<(i64, i64), Place> = BTreeMap::new();
    for id in evidence.photo_ids() {
        let Some(gps) = evidence.photo(id).gps else {
            continue;
        };
        let vague = gps.error_m.is_some_and(|error| error > limit);
        if vague || evidence.grouped.debris_photos.contains(&id) {
            continue;
        }
        let key = ((gps.lat * CELLS) as i64, (gps.lon * CELLS) as i64);
        let cell = cells.entry(key).or_default();
        match cell.positions.first() {
            Some(&first) => cell.varied |= first != (gps.lat, gps.lon),
            None => cell.positions.push((gps.lat, gps.lon)),
        }
        cell.photos.push(id);
    }
    cells.into_values().take(MOST_CELLS).collect()
}

/// Joins what is at most `reach` metres apart.
fn places(cells: Vec<Place>, reach: f64) -> Vec<Place> {
    let mut places: Vec<Place> = Vec::new();
    for cell in cells {
        let (near, far): (Vec<Place>, Vec<Place>) = places
            .into_iter()
            .partition(|place| place.distance_m(&cell) <= reach);
        let mut joined = cell;
        near.into_iter().for_each(|place| joined.join(place));
        places = far;
        places.push(joined);
    }
    places
}
