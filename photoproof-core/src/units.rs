//! Numbers that must not be mistaken for one another.

use serde::{Deserialize, Serialize};

/// An angle in degrees.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Degrees(f64);

impl Degrees {
    /// Wraps an angle in degrees; not-a-number becomes 0.
    #[must_use]
    pub fn new(value: f64) -> Self {
        Self(if value.is_nan() { 0.0 } else { value })
    }

    /// Converts from radians.
    #[must_use]
    pub fn from_radians(value: f64) -> Self {
        Self::new(value.to_degrees())
    }

    /// The bare number of degrees.
    #[must_use]
    pub fn get(self) -> f64 {
        self.0
    }
}

/// A share, 0 to 1.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Ratio(f64);

impl Ratio {
    /// Clamps `value` into 0..=1; not-a-number becomes 0.
    #[must_use]
    pub fn new(value: f64) -> Self {
        Self(if value.is_nan() {
            0.0
        } else {
            value.clamp(0.0, 1.0)
        })
    }

    /// The bare share.
    #[must_use]
    pub fn get(self) -> f64 {
        self.0
    }
}

/// Camera distance of photo b over that of photo a; 1 = same distance, above 1 = b is farther.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(transparent)]
pub struct DistanceRatio(f64);

impl DistanceRatio {
    /// A positive finite ratio, or `None`.
    #[must_use]
    pub fn new(value: f64) -> Option<Self> {
        (value.is_finite() && value > 0.0).then_some(Self(value))
    }

    /// The bare ratio.
    #[must_use]
    pub fn get(self) -> f64 {
        self.0
    }
}
