//! Where the sun stood: the solar position algorithm of Reda and Andreas, NREL/TP-560-34302 (2003, revised 2008).

use chrono::{DateTime, Utc};
use solar_positioning::{Location, SolarPositions, delta_t};

/// Elevation of the sun's centre above the horizon, degrees, without refraction; `None` for places and times
/// that the algorithm does not cover.
#[must_use]
pub fn elevation_deg(time: DateTime<Utc>, lat: f64, lon: f64) -> Option<f64> {
    let location = Location {
        latitude: lat,
        longitude: lon,
    };
    let delta = delta_t::estimate_from_date_like(&time).ok()?;
    let position = SolarPositions::new().at(&time, location, 0.0, delta, None);
    Some(position.ok()?.elevation_angle())
}

#[cfg(test)]
mod tests {
    use super::*;
    use solar_positioning::RefractionCorrection;

    // NREL/TP-560-34302, table A5.1: zenith 50.11162, azimuth 194.34024 degrees.
    #[test]
    fn the_published_example() {
        let time: DateTime<Utc> = "2003-10-17T19:30:30Z".parse().unwrap();
        let location = Location {
            latitude: 39.742_476,
            longitude: -105.178_6,
        };
        let air = RefractionCorrection::new(820.0, 11.0).unwrap();
        let position = SolarPositions::new()
            .at(&time, location, 1830.14, 67.0, Some(air))
            .unwrap();
        let zenith = 90.0 - position.elevation_angle();
        assert!((zenith - 50.111_62).abs() < 1e-4, "{zenith}");
        assert!((position.azimuth() - 194.340_24).abs() < 1e-4);
        // Without refraction, computed with the same algorithm: zenith 50.127954.
        let plain = elevation_deg(time, location.latitude, location.longitude).unwrap();
        assert!((90.0 - plain - 50.127_954).abs() < 2e-3, "{plain}");
    }

    // Computed with another implementation of the algorithm (no published source).
    #[test]
    fn summer_noon_and_winter_dusk() {
        let at = |text: &str, lat, lon| elevation_deg(text.parse().unwrap(), lat, lon).unwrap();
        assert!((at("2024-06-21T17:00:00Z", 33.749, -84.388) - 76.539).abs() < 0.02);
        assert!((at("2024-12-21T22:30:00Z", 41.4993, -81.6944) + 5.706).abs() < 0.02);
    }

    #[test]
    fn places_off_the_globe_have_no_sun() {
        let time: DateTime<Utc> = "2024-06-21T17:00:00Z".parse().unwrap();
        assert_eq!(elevation_deg(time, f64::NAN, 0.0), None);
        assert_eq!(elevation_deg(time, 91.0, 0.0), None);
    }
}
