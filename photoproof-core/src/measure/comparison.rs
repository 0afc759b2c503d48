//! The comparisons of two photos in one place, so that answers may be kept and looked up.

use crate::measure::{Change, CopyMeasure, PhotoMeasures, Viewpoint, ViewpointShift, copy};

/// Who compares two photos. An answer depends on the arguments alone.
pub trait Comparison: Sync {
    /// How camera b stood and pointed against camera a, and where both show the place otherwise than a repeat would.
    fn viewpoint(&self, a: &PhotoMeasures, b: &PhotoMeasures) -> Viewpoint {
        Viewpoint::between_photos([&a.features, &b.features], [&a.small, &b.small])
    }

    /// Whether b was made from a, or a from b, with b laid as one of `turns`: indices into
    /// [`Turn::ALL`](crate::measure::feature::Turn::ALL).
    fn copy(&self, a: &PhotoMeasures, b: &PhotoMeasures, turns: &[usize]) -> Option<CopyMeasure> {
        copy::verify(a, b, turns)
    }

    /// What changed between two photos aligned by `shift`.
    fn change(
        &self,
        a: &PhotoMeasures,
        b: &PhotoMeasures,
        shift: &ViewpointShift,
    ) -> Option<Change> {
        Change::between(&a.small, &b.small, shift)
    }
}

/// Compares afresh, every time.
#[derive(Debug, Clone, Copy, Default)]
pub struct Afresh;

impl Comparison for Afresh {}
