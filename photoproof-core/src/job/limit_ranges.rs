//! The range in which each limit makes sense, for messages that say so.

/// Key of `[limits]`, smallest and largest sensible value, unit.
pub(super) const RANGES: [(&str, f64, f64, &str); 29] = [
    ("max_rotation_deg", 0.0, 180.0, "degrees"),
    ("min_distance_ratio", 0.01, 1.0, "a ratio"),
    ("max_distance_ratio", 1.0, 100.0, "a ratio"),
    ("min_overlap", 0.0, 1.0, "a share"),
    ("clock_tolerance_s", 0.0, 86_400.0, "seconds"),
    ("max_stamp_difference_s", 0.0, 86_400.0, "seconds"),
    ("max_source_difference_s", 0.0, 86_400.0, "seconds"),
    ("max_clock_error_s", 0.0, 86_400.0, "seconds"),
    ("min_view_work_s", 0.0, 86_400.0, "seconds"),
    ("min_job_work_s", 0.0, 86_400.0, "seconds"),
    ("min_area_walk_s", 0.0, 3_600.0, "seconds"),
    ("min_sharpness", 0.0, 1e6, "no unit"),
    ("min_mean_luma", 0.0, 1.0, "a share"),
    ("max_clipped_share", 0.0, 1.0, "a share"),
    ("max_dark_share", 0.0, 1.0, "a share"),
    ("max_one_colour_share", 0.0, 1.0, "a share"),
    ("min_visible_change", 0.0, 1.0, "a share"),
    ("max_texture_growth", 1.0, 1000.0, "a ratio"),
    ("min_long_side_px", 1.0, 100_000.0, "pixels"),
    ("max_site_distance_m", 50.0, 100_000.0, "metres"),
    ("max_travel_speed_m_s", 1.0, 1_000.0, "metres a second"),
    ("max_same_position_s", 60.0, 604_800.0, "seconds"),
    ("max_direction_difference_deg", 0.0, 180.0, "degrees"),
    ("min_thumbnail_correlation", -1.0, 1.0, "no unit"),
    (
        "max_thumbnail_difference",
        0.0,
        100.0,
        "standard deviations",
    ),
    ("max_cameras", 1.0, 1_000.0, "cameras"),
    ("max_file_number_gap", 0.0, 100_000.0, "numbers"),
    ("min_load_turnaround_s", 0.0, 86_400.0, "seconds"),
    ("max_volume_difference", 0.0, 1.0, "a share"),
];

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Limits;

    #[test]
    fn every_limit_has_a_range_that_holds_its_default() {
        let serde_json::Value::Object(defaults) = serde_json::to_value(Limits::default()).unwrap()
        else {
            panic!("limits are a table");
        };
        for (key, value) in &defaults {
            let range = RANGES.iter().find(|(name, ..)| name == key);
            let (_, low, high, _) = range.unwrap_or_else(|| panic!("no range for {key}"));
            let default = value.as_f64().unwrap();
            assert!((*low..=*high).contains(&default), "{key}");
        }
        for (name, ..) in RANGES {
            assert!(defaults.contains_key(name), "{name} is no limit");
        }
    }
}
