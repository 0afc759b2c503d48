//! One file per check; the file name is the check's id with underscores.

pub mod away_from_site;
pub mod capture_time_out_of_order;
pub mod capture_time_outside_window;
pub mod distance_change;
pub mod idle_pattern;
pub mod idle_waiver;
pub mod load_counted_twice;
pub mod load_photos_out_of_order;
pub mod low_detail;
pub mod missing_angle;
pub mod missing_area;
pub mod missing_capture_time;
pub mod missing_phase;
pub mod missing_shot;
pub mod no_visible_change;
pub mod reused_across_jobs;
pub mod reused_within_job;
pub mod unchanged_during;
pub mod unevidenced_hazard;
pub mod unevidenced_load;
pub mod unexpected_area;
pub mod unlabelled_photo;
pub mod unreadable_photo;
pub mod viewpoint_inconclusive;
pub mod viewpoint_shift;
pub mod volume_mismatch;
