//! Scale tickets against volume: plausibility only, never billing.

use rust_decimal::{Decimal, dec};

/// A material with its published loose density.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub struct Material {
    /// Name in a job sheet.
    pub name: &'static str,
    /// Pounds in a cubic yard.
    pub lb_per_cubic_yard: Decimal,
}

/// Where the densities come from. They were taken from a help page that cites the document.
const SOURCE: &str = "US EPA, Volume-to-Weight Conversion Factors, April 2016";

const fn material(name: &'static str, pounds: u32) -> Material {
    Material {
        name,
        lb_per_cubic_yard: Decimal::from_parts(pounds, 0, 0, false, 0),
    }
}

const MATERIALS: [Material; 12] = [
    material("trash", 138),
    material("mixed-building-materials", 484),
    material("wood", 169),
    material("steel", 225),
    material("concrete", 860),
    material("carpet", 105),
    material("glass", 380),
    material("yard-trimmings", 250),
    material("mixed-paper", 245),
    material("books", 428),
    material("textiles", 150),
    material("cardboard", 106),
];

/// A ticket within this factor of the published density is plausible. Common practice, no source:
/// the published densities are averages of loose material, and compaction alone doubles them.
const PLAUSIBLE_FACTOR: Decimal = dec!(4);

/// A scale ticket compared with the volume.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub struct Plausibility {
    /// Pounds in a cubic yard, as ticket and volume give it, rounded half up to whole pounds.
    pub lb_per_cubic_yard: Decimal,
    /// The published figure it is compared with.
    pub published: Decimal,
    /// Whether the two agree within a factor of four.
    pub plausible: bool,
    /// The comparison in words, with its source.
    pub working: String,
}

impl Material {
    /// The material of a job sheet's `material` value.
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        MATERIALS.into_iter().find(|m| m.name == name)
    }

    /// All names.
    #[must_use]
    pub fn names() -> Vec<&'static str> {
        MATERIALS.iter().map(|m| m.name).collect()
    }

    /// Compares a ticket with a volume; `None` for a volume of zero.
    #[must_use]
    pub fn plausibility(self, pounds: Decimal, cubic_yards: Decimal) -> Option<Plausibility> {
        let density = pounds.checked_div(cubic_yards)?;
        let published = self.lb_per_cubic_yard;
        let plausible =
            density <= published * PLAUSIBLE_FACTOR && density * PLAUSIBLE_FACTOR >= published;
        let density = super::round_half_up(density, 0);
        Some(Plausibility {
            lb_per_cubic_yard: density,
            published,
            plausible,
            working: format!(
                "{} lb on {} yd3 = {density} lb/yd3; {} is about {published} lb/yd3 ({SOURCE}); plausibility only",
                pounds.normalize(),
                super::show(cubic_yards, 2),
                self.name
            ),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn six_tons_for_ten_yards_of_trash_are_not_plausible() {
        // 10 yd3 of loose household trash is about 1380 lb at 138 lb/yd3 (US EPA, April 2016).
        let trash = Material::from_name("trash").unwrap();
        let ten = dec!(10);
        assert!(trash.plausibility(dec!(1380), ten).unwrap().plausible);
        assert!(!trash.plausibility(dec!(12000), ten).unwrap().plausible);
        assert_eq!(trash.plausibility(dec!(1380), Decimal::ZERO), None);
    }
}
