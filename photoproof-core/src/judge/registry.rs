//! The checks, in report order.

use crate::judge::checks::{
    after_more_cluttered, alternating_devices, away_from_site, bars_at_edges, camera_new_to_vendor,
    capture_time_in_future, capture_time_out_of_order, capture_time_outside_window,
    capture_times_disagree, changed_after_capture, clock_never_set, compression_differs,
    dark_frame, daylight_mismatch, device_clock_wrong, direction_disagrees, distance_change,
    editing_software, file_number_gap, file_number_out_of_order, idle_pattern, idle_waiver,
    job_finished_too_soon, load_counted_twice, load_photos_out_of_order, low_detail, many_cameras,
    metadata_stripped, missing_angle, missing_area, missing_capture_time, missing_phase,
    missing_position, missing_shot, missing_stamp, moire_pattern, newer_part, no_visible_change,
    photos_at_two_sites, position_jump, position_never_set, reused_across_jobs, reused_within_job,
    same_capture_time, same_position, saved_again, signature_broken, size_differs, stamp_disagrees,
    thumbnail_disagrees, unchanged_during, unevidenced_hazard, unevidenced_load, unexpected_area,
    unlabelled_photo, unreadable_photo, view_finished_too_soon, viewpoint_inconclusive,
    viewpoint_shift, volume_mismatch,
};
use crate::judge::{Check, CheckMeta};

/// Every check, in report order.
pub static CHECKS: &[&dyn Check] = &[
    &missing_area::MissingArea,
    &missing_phase::MissingPhase,
    &missing_angle::MissingAngle,
    &missing_shot::MissingShots,
    &viewpoint_shift::ViewpointShifted,
    &distance_change::DistanceChange,
    &viewpoint_inconclusive::ViewpointInconclusive,
    &no_visible_change::NoVisibleChange,
    &unchanged_during::UnchangedDuring,
    &after_more_cluttered::AfterMoreCluttered,
    &capture_time_out_of_order::CaptureTimeOutOfOrder,
    &capture_time_outside_window::CaptureTimeOutsideWindow,
    &missing_capture_time::MissingCaptureTime,
    &missing_stamp::MissingStamp,
    &stamp_disagrees::StampDisagrees,
    &clock_never_set::ClockNeverSet,
    &capture_time_in_future::CaptureTimeInFuture,
    &capture_times_disagree::CaptureTimesDisagree,
    &device_clock_wrong::DeviceClockWrong,
    &same_capture_time::SameCaptureTime,
    &file_number_out_of_order::FileNumberOutOfOrder,
    &file_number_gap::FileNumberGap,
    &view_finished_too_soon::ViewFinishedTooSoon,
    &job_finished_too_soon::JobFinishedTooSoon,
    &alternating_devices::AlternatingDevices,
    &many_cameras::ManyCameras,
    &camera_new_to_vendor::CameraNewToVendor,
    &daylight_mismatch::DaylightMismatch,
    &reused_within_job::ReusedWithinJob,
    &reused_across_jobs::ReusedAcrossJobs,
    &low_detail::LowDetail,
    &bars_at_edges::BarsAtEdges,
    &dark_frame::DarkFrame,
    &moire_pattern::MoirePattern,
    &unreadable_photo::UnreadablePhoto,
    &away_from_site::AwayFromSite,
    &photos_at_two_sites::PhotosAtTwoSites,
    &position_jump::PositionJump,
    &same_position::SamePosition,
    &position_never_set::PositionNeverSet,
    &missing_position::MissingPosition,
    &direction_disagrees::DirectionDisagrees,
    &editing_software::EditingSoftware,
    &changed_after_capture::ChangedAfterCapture,
    &thumbnail_disagrees::ThumbnailDisagrees,
    &size_differs::SizeDiffers,
    &compression_differs::CompressionDiffers,
    &saved_again::SavedAgain,
    &newer_part::NewerPart,
    &signature_broken::SignatureBroken,
    &metadata_stripped::MetadataStripped,
    &volume_mismatch::VolumeMismatch,
    &unevidenced_load::UnevidencedLoad,
    &load_counted_twice::LoadCountedTwice,
    &load_photos_out_of_order::LoadPhotosOutOfOrder,
    &unevidenced_hazard::UnevidencedHazard,
    &unlabelled_photo::UnlabelledPhoto,
    &unexpected_area::UnexpectedArea,
    &idle_pattern::IdlePattern,
    &idle_waiver::IdleWaiver,
];

/// The documentation of a check by id.
#[must_use]
pub fn find(id: &str) -> Option<&'static CheckMeta> {
    CHECKS
        .iter()
        .map(|check| check.meta())
        .find(|meta| meta.id == id)
}

/// Place of a check in report order.
#[must_use]
pub fn position(id: &str) -> usize {
    CHECKS
        .iter()
        .position(|check| check.meta().id == id)
        .unwrap_or(CHECKS.len())
}
