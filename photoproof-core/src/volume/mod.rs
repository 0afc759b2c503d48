//! Debris volume: shapes, loads, programme rules and the tally, in exact decimal arithmetic.
//!
//! Volumes are computed with [`rust_decimal::Decimal`] (28 digits), pi is the stated constant
//! [`PI`], and numbers are rounded once, at the end, half up: 14.45 prints as 14.5, as the worked
//! examples of FEMA, Public Assistance Debris Monitoring Guide (March 2021) do.

mod print;
mod reference;
mod rules;
mod shape;
mod spec;
mod tally;
mod weight;

use rust_decimal::{Decimal, RoundingStrategy};

pub use reference::{
    Building, acre_depth_cubic_yards, contents_cubic_yards, house_cubic_yards,
    mobile_home_cubic_yards, other_building_cubic_yards, stump_cubic_yards,
};
pub use rules::Rules;
pub use shape::{Ends, Shape, Worked};
pub(crate) use spec::measure_keys;
pub use spec::{SHAPES, ShapeSpec};
pub use tally::{HazardLine, LoadLine, LoadState, Repeat, Sameness, Tally, tally};
pub use weight::{Material, Plausibility};

/// Pi to 15 significant digits; the rest is below any rounding here.
pub const PI: Decimal = Decimal::from_parts(0xE76A_2483, 0x0001_1DB9, 0, false, 14);

/// Cubic feet in a cubic yard, exactly.
pub const CUBIC_FEET_PER_CUBIC_YARD: Decimal = Decimal::from_parts(27, 0, 0, false, 0);

/// Cubic inches in a cubic yard, exactly (36 cubed).
pub const CUBIC_INCHES_PER_CUBIC_YARD: Decimal = Decimal::from_parts(46_656, 0, 0, false, 0);

/// Cubic inches in a US liquid gallon, exactly.
pub const CUBIC_INCHES_PER_GALLON: Decimal = Decimal::from_parts(231, 0, 0, false, 0);

/// Rounds half up (away from zero) to `places` decimals.
#[must_use]
pub fn round_half_up(value: Decimal, places: u32) -> Decimal {
    value.round_dp_with_strategy(places, RoundingStrategy::MidpointAwayFromZero)
}

/// `value` rounded half up, with exactly `places` decimals.
#[must_use]
pub fn show(value: Decimal, places: u32) -> String {
    let digits = usize::try_from(places).unwrap_or(0);
    format!("{:.digits$}", round_half_up(value, places))
}
