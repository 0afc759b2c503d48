//! Distances on the earth: geodesics of WGS 84 by the algorithm of Karney (Journal of Geodesy 87, 2013).

use geographiclib_rs::{Geodesic, InverseGeodesic};

/// Length of the geodesic between two places, metres; each place is latitude and longitude, decimal degrees.
#[must_use]
pub fn distance_m((lat_a, lon_a): (f64, f64), (lat_b, lon_b): (f64, f64)) -> f64 {
    Geodesic::wgs84().inverse(lat_a, lon_a, lat_b, lon_b)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn dms(degrees: f64, minutes: f64, seconds: f64) -> f64 {
        degrees.signum() * (degrees.abs() + minutes / 60.0 + seconds / 3600.0)
    }

    /// Geoscience Australia, Flinders Peak to Buninyong: 54 972.271 m on GRS 80, the same on WGS 84
    /// to the millimetre.
    #[test]
    fn published_line_flinders_peak_to_buninyong() {
        let peak = (dms(-37.0, 57.0, 3.72030), dms(144.0, 25.0, 29.52440));
        let buninyong = (dms(-37.0, 39.0, 10.15610), dms(143.0, 55.0, 35.38390));
        let found = distance_m(peak, buninyong);
        assert!((found - 54_972.271).abs() < 0.001, "{found}");
        assert!((distance_m(buninyong, peak) - found).abs() < 1e-6);
    }

    /// GeodSolve manual (Karney), JFK to Singapore: 15 347 628 m.
    #[test]
    fn published_line_of_the_geodsolve_manual() {
        let jfk = (dms(40.0, 38.0, 23.0), dms(-73.0, 46.0, 44.0));
        let singapore = (dms(1.0, 21.0, 33.0), dms(103.0, 59.0, 22.0));
        let found = distance_m(jfk, singapore);
        assert!((found - 15_347_627.66).abs() < 0.01, "{found}");
    }

    /// Vincenty, "Direct and inverse solutions of geodesics on the ellipsoid with application of nested
    /// equations", Survey Review 23 (176), 1975, table II, lines (a) to (e): (a) on Bessel's ellipsoid, the others on
    /// the International one. The lines (from memory) were confirmed by computation to a millimetre.
    #[test]
    fn published_lines_of_vincenty() {
        let bessel = Geodesic::new(6_377_397.155, 1.0 / 299.152_812_8);
        let international = Geodesic::new(6_378_388.0, 1.0 / 297.0);
        type Angle = (f64, f64, f64);
        let lines: [(&Geodesic, Angle, Angle, Angle, f64); 5] = [
            (
                &bessel,
                (55.0, 45.0, 0.0),
                (-33.0, 26.0, 0.0),
                (108.0, 13.0, 0.0),
                14_110_526.170,
            ),
            (
                &international,
                (37.0, 19.0, 54.95367),
                (26.0, 7.0, 42.83946),
                (41.0, 28.0, 35.50729),
                4_085_966.703,
            ),
            (
                &international,
                (35.0, 16.0, 11.24862),
                (67.0, 22.0, 14.77638),
                (137.0, 47.0, 28.31435),
                8_084_823.839,
            ),
            (
                &international,
                (1.0, 0.0, 0.0),
                (-0.0, 59.0, 53.83076),
                (179.0, 17.0, 48.02997),
                19_960_000.000,
            ),
            (
                &international,
                (1.0, 0.0, 0.0),
                (1.0, 1.0, 15.18952),
                (179.0, 46.0, 17.84244),
                19_780_006.558,
            ),
        ];
        for (ellipsoid, from, to, apart, metres) in lines {
            let angle = |(d, m, s): Angle| dms(d, m, s);
            let found: f64 = ellipsoid.inverse(angle(from), 0.0, angle(to), angle(apart));
            assert!((found - metres).abs() < 0.001, "{found} {metres}");
        }
    }

    /// The quarter meridian of WGS 84, 10 001 965.729 m (Karney 2013, section 2; NGA.STND.0036 gives the ellipsoid),
    /// a degree of the equator, a pi/180 with a = 6 378 137 m, across the date line, and a near-antipodal line
    /// (computed with Karney's own program) on which plain iteration does not converge.
    #[test]
    fn quarter_meridian_date_line_and_near_antipodes() {
        for (a, b, metres) in [
            ((0.0, 0.0), (90.0, 0.0), 10_001_965.729_3),
            ((0.0, 179.5), (0.0, -179.5), 111_319.490_8),
            ((0.0, 0.0), (0.5, 179.7), 19_944_127.421),
        ] {
            let found = distance_m(a, b);
            assert!((found - metres).abs() < 0.001, "{found} {metres}");
        }
    }
}
