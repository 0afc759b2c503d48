//! Programme rules that reduce a load, off unless a profile or the job sheet switches them on.

use rust_decimal::Decimal;

use crate::job::Reader;

/// Reductions of a programme. All off by default: a plain claim is plain cubic yards.
///
/// The published shares are 0.85 without a solid tailgate and 0.5 for hand loading (FEMA, Public
/// Assistance Debris Monitoring Guide, March 2021; hand loading also FEMA policy 9523.12, 2006).
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
#[non_exhaustive]
pub struct Rules {
    /// Share of the capacity that counts for a bed without a solid tailgate, 0..=1.
    pub no_tailgate_share: Option<Decimal>,
    /// Share of the observed load that counts when loaded by hand, 0..=1.
    pub hand_loaded_share: Option<Decimal>,
    /// Decimals to which a load is rounded half up before it is added. Default 2.
    pub decimals: Option<u32>,
}

impl Rules {
    /// Keys of a `[volume]` table.
    pub(crate) const KEYS: [&'static str; 3] =
        ["no_tailgate_share", "hand_loaded_share", "decimals"];

    /// Reads a `[volume]` table.
    pub(crate) fn from_table(table: &Reader<'_>) -> Self {
        Self {
            no_tailgate_share: share(table, "no_tailgate_share"),
            hand_loaded_share: share(table, "hand_loaded_share"),
            decimals: table
                .integer("decimals", 0..=6)
                .and_then(|n| u32::try_from(n).ok()),
        }
    }

    /// These rules, with those of `other` where these are silent.
    #[must_use]
    pub fn or(self, other: Self) -> Self {
        Self {
            no_tailgate_share: self.no_tailgate_share.or(other.no_tailgate_share),
            hand_loaded_share: self.hand_loaded_share.or(other.hand_loaded_share),
            decimals: self.decimals.or(other.decimals),
        }
    }
}

fn share(table: &Reader<'_>, key: &str) -> Option<Decimal> {
    let found = table.decimal(key)?;
    if found.value > Decimal::ZERO && found.value <= Decimal::ONE {
        return Some(found.value);
    }
    table.mistake(
        &found.span,
        format!(
            "`{key}` is {}, but is a share above 0 and at most 1, for instance 0.85",
            found.value
        ),
    );
    None
}
