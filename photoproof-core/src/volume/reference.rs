//! Published reference volumes of whole houses, mobile homes, buildings and stumps.
//!
//! They are estimates of demolition debris and soft upper references, never a measure of a load.

use rust_decimal::{Decimal, dec};

use super::{CUBIC_FEET_PER_CUBIC_YARD, CUBIC_INCHES_PER_CUBIC_YARD};

/// A house as FEMA 325 estimates it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(clippy::exhaustive_structs)] // the formula has these inputs and no others
pub struct Building {
    /// Length, feet.
    pub length_ft: Decimal,
    /// Width, feet.
    pub width_ft: Decimal,
    /// Storeys, at least 1.
    pub storeys: u32,
    /// Vegetative cover multiplier: none 1.0, light 1.1, medium 1.3, heavy 1.5.
    pub cover: Decimal,
}

/// Cubic yards of a destroyed single-family house: L W S 0.20, the vegetative cover multiplier on
/// the first storey only.
///
/// FEMA 325, Debris Management Guide (July 2007), chapter 6; the first-storey rule is FEMA 329,
/// Debris Estimating Field Guide (2010).
#[must_use]
pub fn house_cubic_yards(building: &Building) -> Decimal {
    let storey = building.length_ft * building.width_ft * dec!(0.20);
    let upper = Decimal::from(building.storeys.saturating_sub(1));
    storey * building.cover + storey * upper
}

/// Cubic yards of the personal property of a flooded house, from and to: 25 to 30 without a basement, 45 to
/// 50 with one (FEMA 325, chapter 6). The only published figure for the contents of a whole house: a soft
/// reference, no limit.
#[must_use]
pub fn contents_cubic_yards(has_basement: bool) -> (Decimal, Decimal) {
    let (from, to) = if has_basement { (45, 50) } else { (25, 30) };
    (Decimal::from(from), Decimal::from(to))
}

/// Cubic yards of a mobile home: 290 single-wide, 415 double-wide (FEMA 325, chapter 6).
#[must_use]
pub fn mobile_home_cubic_yards(sections: u32) -> Option<Decimal> {
    match sections {
        1 => Some(dec!(290)),
        2 => Some(dec!(415)),
        _ => None,
    }
}

/// Cubic yards of another building: L W H 0.33 / 27, feet (FEMA 325, chapter 6).
#[must_use]
pub fn other_building_cubic_yards(
    length_ft: Decimal,
    width_ft: Decimal,
    height_ft: Decimal,
) -> Decimal {
    length_ft * width_ft * height_ft * dec!(0.33) / CUBIC_FEET_PER_CUBIC_YARD
}

/// Cubic yards of a stump with its root ball, from the diameter in inches, measured 24 inches above
/// the ground: (D^2 0.7854 24 + (3.6 D)^2 0.7854 31) / 46656 (FEMA 325, appendix G; DAP 9523.11).
#[must_use]
pub fn stump_cubic_yards(diameter_in: Decimal) -> Decimal {
    let disc = |d: Decimal| d * d * dec!(0.7854);
    (disc(diameter_in) * dec!(24) + disc(dec!(3.6) * diameter_in) * dec!(31))
        / CUBIC_INCHES_PER_CUBIC_YARD
}

/// Cubic yards of `acres` covered `depth_ft` deep; an acre is 43560 square feet exactly.
#[must_use]
pub fn acre_depth_cubic_yards(acres: Decimal, depth_ft: Decimal) -> Decimal {
    acres * dec!(43560) * depth_ft / CUBIC_FEET_PER_CUBIC_YARD
}
