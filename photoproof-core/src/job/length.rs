//! Lengths: numbers in the load's unit, or texts such as `7' 6"`.

use std::str::FromStr;

use rust_decimal::Decimal;

/// Unit of a load's measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Units {
    /// Feet; texts may add inches.
    #[default]
    Feet,
    /// Metres; texts may be centimetres.
    Metric,
}

impl Units {
    /// Names a job sheet may use.
    pub(crate) const NAMES: [&'static str; 2] = ["feet", "metric"];

    /// The unit of a job sheet's `units` value.
    pub(crate) fn from_name(name: &str) -> Option<Self> {
        match name {
            "feet" => Some(Units::Feet),
            "metric" => Some(Units::Metric),
            _ => None,
        }
    }

    /// `ft` or `m`.
    #[must_use]
    pub fn symbol(self) -> &'static str {
        match self {
            Units::Feet => "ft",
            Units::Metric => "m",
        }
    }
}

/// Reads a length text in `units`; the error says what is wrong and what to write.
///
/// Feet: `7' 6"`, `7 ft 6 in`, `7' 6 1/2"`, `90 in`, `7.5`. Metric: `2.3 m`, `230 cm`, `2.3`.
pub(crate) fn parse(text: &str, units: Units) -> Result<Decimal, String> {
    let plain = text
        .to_lowercase()
        .replace("''", "\"")
        .replace(['\u{2019}', '\u{2032}'], "'")
        .replace(['\u{201d}', '\u{2033}'], "\"");
    let tokens = tokens(&plain).ok_or_else(|| unreadable(text, units))?;
    let mut total = Decimal::ZERO;
    let mut last_rank = 0;
    for (number, unit) in tokens {
        let (factor, rank) = match (units, unit.as_str()) {
            (Units::Feet, "'" | "ft" | "foot" | "feet") => (Decimal::ONE, 1),
            (Units::Feet, "\"" | "in" | "inch" | "inches") => (Decimal::from(12), 2),
            (Units::Metric, "m" | "metre" | "metres" | "meter" | "meters") => (Decimal::ONE, 1),
            (Units::Metric, "cm") => (Decimal::from(100), 2),
            (_, "") if last_rank == 0 => (Decimal::ONE, 3),
            _ => return Err(unreadable(text, units)),
        };
        if rank <= last_rank {
            return Err(unreadable(text, units));
        }
        last_rank = rank;
        let part = number
            .checked_div(factor)
            .ok_or_else(|| unreadable(text, units))?;
        total = total
            .checked_add(part)
            .ok_or_else(|| unreadable(text, units))?;
    }
    if last_rank == 0 {
        return Err(unreadable(text, units));
    }
    Ok(total)
}

fn unreadable(text: &str, units: Units) -> String {
    match units {
        Units::Feet => format!(
            "`{text}` is no length in feet; write 7.5, \"7' 6\\\"\" or \"7 ft 6 in\", or set units = \"metric\" for metres"
        ),
        Units::Metric => format!(
            "`{text}` is no length in metres; write 2.3, \"2.3 m\" or \"230 cm\", or set units = \"feet\""
        ),
    }
}

/// Splits into numbers with their unit words; `6 1/2 in` becomes (6.5, in).
fn tokens(text: &str) -> Option<Vec<(Decimal, String)>> {
    let mut found: Vec<(Decimal, String)> = Vec::new();
    let mut rest = text.trim();
    while !rest.is_empty() {
        let (mut number, mut after) = leading_number(rest)?;
        let next = after.trim_start();
        if let Some((numerator, tail)) = leading_number(next).filter(|(_, t)| t.starts_with('/')) {
            let (fraction, tail) = fraction(numerator, tail)?;
            number = number.checked_add(fraction)?;
            after = tail;
        } else if after.starts_with('/') {
            (number, after) = fraction(number, after)?;
        }
        let after = after.trim_start();
        let unit_end = after
            .find(|c: char| c.is_ascii_digit() || c.is_whitespace() || c == '-')
            .unwrap_or(after.len());
        let (unit, tail) = after.split_at(unit_end);
        found.push((number, unit.trim_end_matches('.').to_owned()));
        rest = tail.trim_start().trim_start_matches('-').trim_start();
        if found.len() > 2 {
            return None;
        }
    }
    Some(found)
}

fn leading_number(text: &str) -> Option<(Decimal, &str)> {
    let end = text
        .find(|c: char| !(c.is_ascii_digit() || c == '.'))
        .unwrap_or(text.len());
    let (digits, rest) = text.split_at(end);
    Some((Decimal::from_str(digits).ok()?, rest))
}

fn fraction(numerator: Decimal, tail: &str) -> Option<(Decimal, &str)> {
    let (denominator, rest) = leading_number(tail.strip_prefix('/')?)?;
    Some((numerator.checked_div(denominator)?, rest))
}

#[cfg(test)]
mod tests {
    use super::*;
    use rust_decimal::dec;

    #[test]
    fn feet_and_inches_in_the_usual_spellings() {
        for text in [
            "7' 6\"",
            "7'6\"",
            "7 ft 6 in",
            "7ft 6in.",
            "7'-6\"",
            "90 in",
            "90\"",
            "7.5",
            "7.5 ft",
            "7\u{2032} 6\u{2033}",
            "7' 6''",
        ] {
            assert_eq!(parse(text, Units::Feet), Ok(dec!(7.5)), "{text}");
        }
        assert_eq!(parse("7' 4 1/2\"", Units::Feet), Ok(dec!(7.375)));
        assert_eq!(
            parse("1/2\"", Units::Feet).map(|d| d.round_dp(6)),
            Ok(dec!(0.041667))
        );
    }

    #[test]
    fn metres_and_centimetres() {
        for text in ["2.3 m", "2.3", "230 cm", "2 m 30 cm"] {
            assert_eq!(parse(text, Units::Metric), Ok(dec!(2.3)), "{text}");
        }
    }

    #[test]
    fn other_texts_are_refused_not_guessed() {
        for text in [
            "", "wide", "16 m", "7' 6", "6\" 7'", "-3", "1/0\"", "7 7 7", "16 yd", "1e3", "7'' 8''",
        ] {
            assert!(parse(text, Units::Feet).is_err(), "{text}");
        }
        assert!(parse("7' 6\"", Units::Metric).is_err());
    }
}
