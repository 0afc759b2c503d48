//! What the crew should do to repeat a view, in words.

use crate::limits::Limits;
use crate::measure::ViewpointShift;

/// How to move from where photo b was taken to where photo a was taken.
#[must_use]
pub fn advice(_shift: &ViewpointShift, _limits: &Limits) -> Option<String> {
    None
}
