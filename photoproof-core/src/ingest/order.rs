//! Which capture times can put photos in order, and how far apart two of them are.

use crate::ingest::capture_time::{CaptureTime, TimeSource};
use crate::ingest::photo::Photo;

/// The time a photo is judged by. File-system times change with every copy and prove nothing.
#[must_use]
pub fn judged_time(photo: &Photo) -> Option<&CaptureTime> {
    photo
        .capture_time
        .as_ref()
        .filter(|time| time.source != TimeSource::FileSystem)
}

/// Seconds from `a` to `b`, negative if `b` is earlier. Instants where both offsets are known, else the
/// two wall clocks: photos of one job are taken at one site.
#[must_use]
pub fn seconds_between(a: &CaptureTime, b: &CaptureTime) -> i64 {
    match (a.instant(), b.instant()) {
        (Some(x), Some(y)) => (y - x).num_seconds(),
        _ => (b.civil - a.civil).num_seconds(),
    }
}
