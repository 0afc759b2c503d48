//! Shapes of loads and piles, their volumes, and the boxes around them.

use rust_decimal::Decimal;

use super::{CUBIC_FEET_PER_CUBIC_YARD, CUBIC_INCHES_PER_CUBIC_YARD, CUBIC_INCHES_PER_GALLON, PI};
use crate::job::Units;

/// Cubic metres in a cubic yard, exactly (0.9144 cubed).
const CUBIC_METRES_PER_CUBIC_YARD: Decimal =
    Decimal::from_parts(0x0305_4E00, 0x0000_00B2, 0, false, 12);

/// A shape with its measures, in feet or metres; gallons and cubic yards where stated.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
#[allow(missing_docs)] // the measures are named after themselves
pub enum Shape {
    /// Truck bed, trailer, container: L W H (FEMA 329, Debris Estimating Field Guide, 2010, p. 6).
    Box {
        length: Decimal,
        width: Decimal,
        height: Decimal,
    },
    /// Round pile: pi D^2 H / 12 (University of Regina, volume of a cone).
    Cone { diameter: Decimal, height: Decimal },
    /// Half of a cone against a wall: pi D^2 H / 24.
    HalfCone { diameter: Decimal, height: Decimal },
    /// Long pile of triangular section: W H L / 2, and with half-cone ends pi W^2 H / 12 more.
    /// `length` is the crest, without the ends.
    Ridge {
        length: Decimal,
        width: Decimal,
        height: Decimal,
        ends: Ends,
    },
    /// Round pile with a flat top: pi H (D^2 + D d + d^2) / 12.
    Frustum {
        bottom_diameter: Decimal,
        top_diameter: Decimal,
        height: Decimal,
    },
    /// Rectangular pile that runs to a point: L W H / 3.
    Pyramid {
        length: Decimal,
        width: Decimal,
        height: Decimal,
    },
    /// Rectangular pile that runs to an edge: L W H / 2.
    Prism {
        length: Decimal,
        width: Decimal,
        height: Decimal,
    },
    /// Drum: pi D^2 H / 4.
    Cylinder { diameter: Decimal, height: Decimal },
    /// Drum, bag or container of a stated size in US liquid gallons (231 cubic inches).
    Gallons { gallons: Decimal },
    /// Container of a stated size in cubic yards.
    CubicYards { cubic_yards: Decimal },
}

/// Ends of a ridge.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ends {
    /// Half a cone at each end.
    HalfCone,
    /// Cut off square.
    Square,
}

/// A volume with the formula that gave it.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub struct Worked {
    /// Cubic yards, unrounded.
    pub cubic_yards: Decimal,
    /// The formula with its numbers.
    pub working: String,
}

impl Shape {
    /// Whether it is a truck, trailer or container, which comes empty, leaves full and is dumped.
    #[must_use]
    pub fn is_bed(&self) -> bool {
        matches!(self, Shape::Box { .. } | Shape::CubicYards { .. })
    }

    /// Volume of the whole shape, with the formula to check by hand.
    #[must_use]
    pub fn volume(&self, units: Units) -> Worked {
        let (cubic, formula) = match self.stated() {
            Some(worked) => return worked,
            None => self.measured(),
        };
        let unit = units.symbol();
        let cubic_yards = match units {
            Units::Feet => cubic / CUBIC_FEET_PER_CUBIC_YARD,
            Units::Metric => cubic / CUBIC_METRES_PER_CUBIC_YARD,
        };
        let divisor = match units {
            Units::Feet => CUBIC_FEET_PER_CUBIC_YARD,
            Units::Metric => CUBIC_METRES_PER_CUBIC_YARD,
        };
        Worked {
            cubic_yards,
            working: format!(
                "{formula} = {} {unit}3; / {divisor} = {} yd3",
                brief(cubic),
                brief(cubic_yards)
            ),
        }
    }

    /// Volume of the smallest upright box around the shape, cubic yards: no claim can exceed it.
    #[must_use]
    pub fn bounding_box(&self, units: Units) -> Decimal {
        let cubic = match *self {
            Shape::Gallons { .. } | Shape::CubicYards { .. } => {
                return self.volume(units).cubic_yards;
            }
            Shape::Box {
                length,
                width,
                height,
            }
            | Shape::Pyramid {
                length,
                width,
                height,
            }
            | Shape::Prism {
                length,
                width,
                height,
            } => length * width * height,
            Shape::Ridge {
                length,
                width,
                height,
                ends,
            } => {
                let ends = match ends {
                    Ends::HalfCone => width,
                    Ends::Square => Decimal::ZERO,
                };
                (length + ends) * width * height
            }
            Shape::Cone { diameter, height } | Shape::Cylinder { diameter, height } => {
                diameter * diameter * height
            }
            Shape::HalfCone { diameter, height } => diameter * diameter * height / Decimal::TWO,
            Shape::Frustum {
                bottom_diameter,
                height,
                ..
            } => bottom_diameter * bottom_diameter * height,
        };
        match units {
            Units::Feet => cubic / CUBIC_FEET_PER_CUBIC_YARD,
            Units::Metric => cubic / CUBIC_METRES_PER_CUBIC_YARD,
        }
    }

    fn stated(&self) -> Option<Worked> {
        match *self {
            Shape::Gallons { gallons } => {
                let cubic_yards = gallons * CUBIC_INCHES_PER_GALLON / CUBIC_INCHES_PER_CUBIC_YARD;
                Some(Worked {
                    cubic_yards,
                    working: format!(
                        "{gallons} gal x 231 in3 / 46656 = {} yd3",
                        brief(cubic_yards)
                    ),
                })
            }
            Shape::CubicYards { cubic_yards } => Some(Worked {
                cubic_yards,
                working: format!("stated size {} yd3", cubic_yards.normalize()),
            }),
            _ => None,
        }
    }

    /// Cubic units and the formula with its numbers; zero for stated shapes, which have no measures.
    fn measured(&self) -> (Decimal, String) {
        let (two, three, four) = (Decimal::TWO, Decimal::from(3), Decimal::from(4));
        match *self {
            Shape::Box {
                length: l,
                width: w,
                height: h,
            } => (l * w * h, format!("{l} x {w} x {h}")),
            Shape::Pyramid {
                length: l,
                width: w,
                height: h,
            } => (l * w * h / three, format!("{l} x {w} x {h} / 3")),
            Shape::Prism {
                length: l,
                width: w,
                height: h,
            } => (l * w * h / two, format!("{l} x {w} x {h} / 2")),
            Shape::Cone {
                diameter: d,
                height: h,
            } => (
                PI * d * d * h / (three * four),
                format!("pi x {d}^2 x {h} / 12"),
            ),
            Shape::HalfCone {
                diameter: d,
                height: h,
            } => (
                PI * d * d * h / (three * four * two),
                format!("pi x {d}^2 x {h} / 24"),
            ),
            Shape::Cylinder {
                diameter: d,
                height: h,
            } => (PI * d * d * h / four, format!("pi x {d}^2 x {h} / 4")),
            Shape::Frustum {
                bottom_diameter: a,
                top_diameter: b,
                height: h,
            } => (
                PI * h * (a * a + a * b + b * b) / (three * four),
                format!("pi x {h} x ({a}^2 + {a} x {b} + {b}^2) / 12"),
            ),
            Shape::Ridge {
                length: l,
                width: w,
                height: h,
                ends,
            } => match ends {
                Ends::Square => (w * h * l / two, format!("{w} x {h} x {l} / 2")),
                Ends::HalfCone => (
                    w * h * l / two + PI * w * w * h / (three * four),
                    format!("{w} x {h} x {l} / 2 + pi x {w}^2 x {h} / 12"),
                ),
            },
            Shape::Gallons { .. } | Shape::CubicYards { .. } => (Decimal::ZERO, String::new()),
        }
    }
}

/// Up to four decimals, rounded half up, without trailing zeros.
pub(super) fn brief(value: Decimal) -> String {
    super::round_half_up(value, 4).normalize().to_string()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::volume::SHAPES;
    use rust_decimal::dec;

    #[test]
    fn constants_are_what_they_are_called() {
        assert_eq!(PI, dec!(3.14159265358979));
        assert_eq!(CUBIC_METRES_PER_CUBIC_YARD, dec!(0.764554857984));
        // 0.9144 m is a yard by definition (International yard and pound agreement, 1959).
        assert_eq!(
            dec!(0.9144) * dec!(0.9144) * dec!(0.9144),
            CUBIC_METRES_PER_CUBIC_YARD
        );
    }

    #[test]
    fn no_shape_exceeds_its_box() {
        let (a, b, c) = (dec!(12.5), dec!(7.25), dec!(3));
        for spec in SHAPES {
            for form in spec.forms {
                let measures: Vec<Decimal> = [a, b, c].into_iter().take(form.len()).collect();
                let shape = spec.build(form, &measures, None).unwrap();
                for units in [Units::Feet, Units::Metric] {
                    let volume = shape.volume(units).cubic_yards;
                    assert!(volume > Decimal::ZERO);
                    assert!(volume <= shape.bounding_box(units), "{}", spec.name);
                }
            }
        }
    }

    #[test]
    fn the_working_can_be_followed_by_hand() {
        let shape = Shape::Box {
            length: dec!(16.0),
            width: dec!(7.5),
            height: dec!(4.5),
        };
        assert_eq!(
            shape.volume(Units::Feet).working,
            "16.0 x 7.5 x 4.5 = 540 ft3; / 27 = 20 yd3"
        );
    }
}
