//! Every limit the judge compares a measured number with, its unit, default and origin.
//!
//! No limit lives anywhere else. The job sheet's `[limits]` table may change each one by the field
//! name used here, and the report prints the values used.

use serde::{Deserialize, Serialize};

/// Limits of one run. Field names are the keys of `[limits]` in a job sheet.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
#[non_exhaustive]
pub struct Limits {
    /// Largest camera rotation between two photos of one view, degrees (0..=180).
    /// Default 10: hand-held repeats measured on rendered houses stay below 8 degrees; no published
    /// figure exists for this trade.
    pub max_rotation_deg: f64,
    /// Smallest distance ratio of a repeat (camera distance of the later over the earlier photo).
    /// Default 0.8. A careful surveyor re-occupies a station within 1 % of distance (Geology 2(9),
    /// 1974); hand-held indoor repeats spread to 15 %.
    pub min_distance_ratio: f64,
    /// Largest distance ratio of a repeat. Default 1.25, the inverse of the smallest.
    pub max_distance_ratio: f64,
    /// Smallest share of the earlier frame that the later one must show, 0..=1. Default 0.6.
    /// USDA PNW-GTR-526 (Hall 2002) rejects a repeat displaced by about 20 % of the frame height.
    pub min_overlap: f64,
    /// Tolerance when two capture times are put in order, seconds. Default 0.
    pub clock_tolerance_s: i64,
    /// Visible stamp and Exif may differ by at most this many seconds. Default 120.
    pub max_stamp_difference_s: i64,
    /// Two times of one photo (Exif against GPS, change, file name) may differ by this many seconds.
    /// Default 1800: a GPS fix may be minutes old (common practice, no source).
    pub max_source_difference_s: i64,
    /// A device clock that is wrong by more than this many seconds is said to be wrong. Default 120.
    pub max_clock_error_s: i64,
    /// Before and after of one view that are less than this many seconds apart ask for a person.
    /// Default 600: clearing or cleaning one view takes longer (common practice, no source).
    pub min_view_work_s: i64,
    /// A job whose first before and last after are less than this many seconds apart asks for a person.
    /// Default 1800 (common practice, no source); 0 switches it off.
    pub min_job_work_s: i64,
    /// A camera needs at least this many seconds from one area to the next. Default 5 (common practice, no
    /// source); 0 switches it off.
    pub min_area_walk_s: i64,
    /// Smallest sharpness (see `measure::quality`) that can prove anything: edge widths across the
    /// long side. Default 220: rendered rooms stay above 380 (JPEG 40 included), the same rooms
    /// blurred until an outlet's outline is gone stay below 200 (`examples/quality_report`).
    pub min_sharpness: f64,
    /// Smallest mean luma, 0..=1, that can prove anything. Default 0.06: a room photo about six
    /// stops under-exposed; the darkest frame of a real bracket in which the room cannot be seen
    /// has 0.04, the next one 0.15.
    pub min_mean_luma: f64,
    /// Largest share of clipped highlights, 0..=1. Default 0.5: three stops of over-exposure clip
    /// two thirds of a room photo, a bright window in a good one at most a fifth.
    pub max_clipped_share: f64,
    /// Largest share of pixels at or near black, 0..=1. Default 0.6: photos of rooms stay below 0.01; of a
    /// real bracket the frame in which the room cannot be seen has 0.70, the next one 0.20.
    pub max_dark_share: f64,
    /// Largest share of pixels of one colour (within 16 levels of the median), 0..=1. Default 0.97: photos
    /// of rooms stay below 0.62, an evenly covered lens comes close to 1.
    pub max_one_colour_share: f64,
    /// Two photos of one view differ visibly if at least this share of the common part changed, 0..=1.
    /// Default 0.018: two exposures of one unchanged view of rendered rooms stay below 0.017, another light
    /// included; changes of more than 5 % of the frame reach 0.026 (`examples/change_report`).
    pub min_visible_change: f64,
    /// Texture of what changed in the lower part of an after photo against that of its before photo, ratio, beyond which
    /// a person looks. Default 1.35: before and after of rendered rooms measure 1.05 at most
    /// (`examples/change_report`).
    pub max_texture_growth: f64,
    /// Smallest long side of a photo, pixels. Default 640.
    pub min_long_side_px: u32,
    /// Distance of a photo's GPS position from the site, metres, beyond which a person looks.
    /// Default 100; never below 50: phone GPS cannot separate neighbours (Merry and Bettinger 2019).
    pub max_site_distance_m: f64,
    /// Between two photos of one camera a position may move at most this fast, metres a second. Default 70
    /// (252 km/h): faster than any road vehicle of the trade (common practice, no source).
    pub max_travel_speed_m_s: f64,
    /// Exactly the same position in at least 9 photos of one camera over more than this many seconds is said.
    /// Default 7200: a phone keeps a position for minutes, not for hours (common practice, no source).
    pub max_same_position_s: i64,
    /// Compass directions of two photos may differ from the measured turn between them by this much, degrees,
    /// 0..=180. Default 60: indoors, near steel, phone compasses err by tens of degrees (common practice, no source).
    pub max_direction_difference_deg: f64,
    /// Least correlation of a photo with the thumbnail in its own file, -1..=1. Default 0.93: of 30 public pictures
    /// with their own thumbnails the least has 0.97, 0.98 for nine in ten after strong changes of tone
    /// (`tests/edit_traces.rs`).
    pub min_thumbnail_correlation: f64,
    /// Largest difference of a photo from its own thumbnail in any of 48 parts of the frame, standard deviations of the
    /// thumbnail. Default 0.7: the same pictures have at most 0.27, after changes of tone nine in ten at most 0.47.
    pub max_thumbnail_difference: f64,
    /// More cameras than this in one job are said. Default 3 (common practice, no source).
    pub max_cameras: u32,
    /// More file numbers of one camera than this missing within an hour are said. Default 30: retakes and private
    /// photos leave smaller gaps (common practice, no source).
    pub max_file_number_gap: u32,
    /// Two photos of one view of a full bed, taken less than this many seconds apart, show one load.
    /// Default 900: dumping and filling a bed again takes longer (common practice, no source).
    pub min_load_turnaround_s: i64,
    /// Claimed and documented debris volume may differ by this share, 0..=1. Default 0.1.
    pub max_volume_difference: f64,
}

impl Default for Limits {
    fn default() -> Self {
        Self {
            max_rotation_deg: 10.0,
            min_distance_ratio: 0.8,
            max_distance_ratio: 1.25,
            min_overlap: 0.6,
            clock_tolerance_s: 0,
            max_stamp_difference_s: 120,
            max_source_difference_s: 1800,
            max_clock_error_s: 120,
            min_view_work_s: 600,
            min_job_work_s: 1800,
            min_area_walk_s: 5,
            min_sharpness: 220.0,
            min_mean_luma: 0.06,
            max_clipped_share: 0.5,
            max_dark_share: 0.6,
            max_one_colour_share: 0.97,
            min_visible_change: 0.018,
            max_texture_growth: 1.35,
            min_long_side_px: 640,
            max_site_distance_m: 100.0,
            max_travel_speed_m_s: 70.0,
            max_same_position_s: 7200,
            max_direction_difference_deg: 60.0,
            min_thumbnail_correlation: 0.93,
            max_thumbnail_difference: 0.7,
            max_cameras: 3,
            max_file_number_gap: 30,
            min_load_turnaround_s: 900,
            max_volume_difference: 0.1,
        }
    }
}
